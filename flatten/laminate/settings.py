"""How the laminate is made: process, resin, pot and prices."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class LaminateSettings:
    """Process and resin. Fractions, g/cm3, grams, minutes.

    Defaults: open hand lay-up, laminating epoxy 1.15 g/cm3; common practice, no source.
    """

    process: str = "hand"  # hand, bagged, infusion, mat
    fibre_volume_fraction: float | None = None  # None: the process's own
    resin_density_g_cm3: float = 1.15
    mix_resin: float = 100.0  # parts by weight
    mix_hardener: float = 30.0
    brush_loss: float = 0.12  # share of the net resin left in brush and cup
    pot_limit_g: float = 250.0
    pot_life_min: float = 30.0

    def __post_init__(self) -> None:
        """Refuse what cannot be mixed."""
        fraction = self.fibre_volume_fraction
        if fraction is not None and not 0 < fraction < 1:
            raise InputError(
                f"Laminate: fibre_volume_fraction is {fraction}.", "Enter a share between 0 and 1."
            )
        for field in ("resin_density_g_cm3", "mix_resin", "pot_limit_g", "pot_life_min"):
            if not 0 < getattr(self, field) < 1e6:
                raise InputError(
                    f"Laminate: {field} is {getattr(self, field)}.", "Enter a value above zero."
                )
