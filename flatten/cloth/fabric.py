"""Fabric: one cloth as data. How it is laid, how far it shears, what it weighs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError

Kind = Literal["weave", "unidirectional", "biaxial", "mat", "film"]
KINDS: tuple[Kind, ...] = ("weave", "unidirectional", "biaxial", "mat", "film")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fabric:
    """A cloth as it comes off the roll.

    `kind` chooses the drape law. Shear limits are angles by which warp and weft close up or
    open; where a stitched cloth shears further one way than the other, `shear_lock_deg` is for
    closing (positive shear) and `shear_lock_opening_deg` for opening. None: the cloth has no
    weave to lock (mat, film). `fibre_angles_deg` are the directions its fibres run in, against
    the roll direction (warp). Cured thickness is computed from the process, never stored.
    """

    id: str
    name: str
    kind: Kind
    areal_weight_gsm: float
    fibre_density_g_cm3: float
    dry_thickness_mm: float
    roll_width_mm: float
    shear_warn_deg: float | None = None
    shear_lock_deg: float | None = None
    shear_lock_opening_deg: float | None = None
    balanced: bool = False  # warp and weft alike: a turn by 90 degrees changes nothing
    has_face: bool = False  # its two sides differ: never turned over
    fibre_angles_deg: tuple[float, ...] = (0.0, 90.0)
    stiffness_across: float = 1.0  # across the fibres, as a share of the stiffness along them
    stiffness_shear: float = 1e-5  # to shear, as a share of the stiffness along the fibres
    stretch_limit_across: float = 0.0  # unidirectional: how far it may spread across its fibres
    lap_mm: float = 25.0  # default lap at a joint; 0: joints are butted
    fibre: str = ""  # carbon, glass, aramid, flax, ...; empty for films
    dry: bool = True  # takes up resin and stays in the part; False for films, peel ply
    source: str = ""  # where these values come from

    def __post_init__(self) -> None:
        """Refuse values no cloth has."""
        if self.kind not in KINDS:
            raise InputError(
                f"Cloth '{self.id}': kind is '{self.kind}'.", f"Use one of {', '.join(KINDS)}."
            )
        for field in ("areal_weight_gsm", "dry_thickness_mm", "roll_width_mm"):
            self._need(field, 0 < getattr(self, field) < 1e6, "Enter a value above zero.")
        self._need("fibre_density_g_cm3", 0.1 < self.fibre_density_g_cm3 < 25, "Enter g/cm3.")
        for field in ("shear_warn_deg", "shear_lock_deg", "shear_lock_opening_deg"):
            value = getattr(self, field)
            if value is not None:
                self._need(field, 0 < value < 90, "Enter an angle between 0 and 90 degrees.")
        if self.shear_warn_deg is not None and self.shear_lock_deg is not None:
            self._need(
                "shear_warn_deg",
                self.shear_warn_deg <= self.shear_lock_deg,
                "Enter no more than the locking angle.",
            )
        if self.kind in ("weave", "biaxial", "unidirectional") and self.shear_lock_deg is None:
            raise InputError(
                f"Cloth '{self.id}': shear_lock_deg is missing.", "Enter its locking angle."
            )
        for field in ("stiffness_across", "stiffness_shear"):
            self._need(field, 0 < getattr(self, field) <= 1e3, "Enter a share above zero.")
        self._need("stretch_limit_across", 0 <= self.stretch_limit_across < 1, "Enter 0 to 1.")
        self._need("lap_mm", 0 <= self.lap_mm < 1e4, "Enter zero or more.")

    @property
    def directional(self) -> bool:
        """Whether it matters how a pattern lies on the roll."""
        return self.kind in ("weave", "biaxial", "unidirectional")

    def lock_deg(self, *, closing: bool) -> float | None:
        """Return the locking angle for shear that closes (positive) or opens the threads."""
        if closing or self.shear_lock_opening_deg is None:
            return self.shear_lock_deg
        return self.shear_lock_opening_deg

    def _need(self, field: str, fine: bool, hint: str) -> None:
        if not fine:  # also for NaN: every comparison above is false then
            raise InputError(f"Cloth '{self.id}': {field} is {getattr(self, field)}.", hint)
