"""How the laminate is made: process, resin, pot, what is used up, prices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError
from .bounds import check_choice, check_not_negative, check_number, check_share, check_whole
from .process import PROCESS_IDS, ProcessId

CoatKind = Literal["gel", "surface", "flow"]
COAT_KINDS: tuple[CoatKind, ...] = ("gel", "surface", "flow")
MixBy = Literal["weight", "volume"]
StackOrder = Literal["as_listed", "symmetric", "symmetric_middle_once"]
STACK_ORDERS: tuple[StackOrder, ...] = ("as_listed", "symmetric", "symmetric_middle_once")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coat:
    """A layer of resin without cloth, over the whole part, mixed by weight.

    Defaults: gel coat of 0.5 mm with 2 parts of catalyst; common practice, no source.
    """

    kind: CoatKind = "gel"
    thickness_mm: float = 0.5
    density_g_cm3: float = 1.2
    mix_resin: float = 100.0  # parts by weight
    mix_hardener: float = 2.0
    loss: float = 0.2  # share of the net weight left in brush, roller and cup

    def __post_init__(self) -> None:
        """Refuse what cannot be mixed or brushed on."""
        thing = f"Coat '{self.kind}'"
        check_choice("Coat", "kind", self.kind, COAT_KINDS)
        check_number(thing, "thickness_mm", self.thickness_mm, high=20)
        check_number(thing, "density_g_cm3", self.density_g_cm3, high=25)
        check_ratio(thing, self.mix_resin, self.mix_hardener)
        check_not_negative(thing, "loss", self.loss, high=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Consumed:
    """What is used up beside cloth and resin. Factors multiply the part's area or perimeter.

    `peel_ply`, `breather`: None leaves it to the process (under a bag, yes). Uptake is resin
    held back, grams for each m2 of part. Defaults: common practice, no source.
    """

    peel_ply: bool | None = None
    breather: bool | None = None
    peel_ply_factor: float = 1.15
    film_factor: float = 1.15
    breather_factor: float = 1.2
    flow_mesh_factor: float = 0.9
    bag_factor: float = 1.4
    tape_factor: float = 1.15
    release_coats: int = 4
    release_gsm: float = 10.0  # release agent, for one coat
    peel_ply_uptake_gsm: float = 80.0
    breather_uptake_gsm: float = 80.0
    flow_mesh_uptake_gsm: float = 450.0
    lines_g: float = 100.0  # resin left in infusion lines and trap

    def __post_init__(self) -> None:
        """Refuse factors below nothing."""
        for field in (
            "peel_ply_factor",
            "film_factor",
            "breather_factor",
            "flow_mesh_factor",
            "bag_factor",
            "tape_factor",
        ):
            check_not_negative("Consumables", field, getattr(self, field), high=20)
        for field in (
            "release_gsm",
            "peel_ply_uptake_gsm",
            "breather_uptake_gsm",
            "flow_mesh_uptake_gsm",
            "lines_g",
        ):
            check_not_negative("Consumables", field, getattr(self, field), high=1e5)
        check_whole("Consumables", "release_coats", self.release_coats, low=0, high=50)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothPrice:
    """What a square metre of one cloth costs."""

    fabric: str  # Fabric.id
    per_m2: float

    def __post_init__(self) -> None:
        """Refuse a negative price."""
        check_not_negative(f"Price of cloth '{self.fabric}'", "per_m2", self.per_m2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Prices, all zero until entered, and working speeds (common practice, no source)."""

    currency: str = ""
    cloth: tuple[ClothPrice, ...] = ()
    resin_per_kg: float = 0.0
    coat_per_kg: float = 0.0
    peel_ply_per_m2: float = 0.0
    film_per_m2: float = 0.0
    breather_per_m2: float = 0.0
    flow_mesh_per_m2: float = 0.0
    bag_per_m2: float = 0.0
    tape_per_m: float = 0.0
    release_per_kg: float = 0.0
    labour_per_hour: float = 0.0
    cut_m_per_min: float = 1.0  # along the outline, by hand
    lay_min_per_m2: float = 10.0  # placing and smoothing, beside wetting
    lay_min_per_piece: float = 3.0
    mix_min_per_batch: float = 4.0
    release_min_per_m2: float = 4.0  # for each coat
    bag_min_per_m: float = 8.0  # along the perimeter

    def __post_init__(self) -> None:
        """Refuse negative prices and speeds of zero."""
        for field in self.__slots__:
            if field not in ("currency", "cloth", "cut_m_per_min"):
                check_not_negative("Rates", field, getattr(self, field))
        check_number("Rates", "cut_m_per_min", self.cut_m_per_min)
        if len(self.currency) > 8:
            raise InputError(
                f"Rates: currency is '{self.currency[:60]}'.", "Enter up to 8 characters."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class LaminateSettings:
    """Process and resin. Shares, g/cm3, grams, minutes, degrees Celsius.

    Fibre fraction: by volume, or by mass, or neither (the process's own); never both. The mixing
    ratio is by weight unless `mix_by` says volume, and then both liquid densities are needed.
    Defaults: open hand lay-up, laminating epoxy 1.15 g/cm3; common practice, no source.
    """

    process: ProcessId = "hand"
    fibre_volume_fraction: float | None = None  # None: the process's own
    fibre_mass_fraction: float | None = None
    mat_fibre_volume_fraction: float | None = None  # of chopped mat
    void_fraction: float = 0.0
    resin_density_g_cm3: float = 1.15  # cured
    mix_by: MixBy = "weight"
    mix_resin: float = 100.0  # parts, by what mix_by says
    mix_hardener: float = 30.0
    liquid_resin_density_g_cm3: float | None = None
    hardener_density_g_cm3: float | None = None
    brush_loss: float = 0.12  # share of the resin left in brush and cup
    small_loss: float = 0.2  # of a small job; more is left there, as brush and cup do not shrink
    small_job_g: float = 100.0  # what counts as one
    pot_limit_g: float = 250.0
    pot_life_min: float = 30.0  # as the data sheet gives it
    pot_life_at_c: float = 23.0  # the data sheet's temperature
    shop_c: float = 23.0  # the temperature it is used at
    spread_g_per_min: float = 20.0  # what one person wets out
    scale_step_g: float = 0.1  # what the scale shows
    stack_order: StackOrder = "as_listed"  # or the list and then its mirror image
    stack_times: int = 1  # the list is laid so often, before it is mirrored
    drop_off_ratio: float = 20.0  # length of a drop-off for each mm of height
    coats: tuple[Coat, ...] = ()
    consumed: Consumed = Consumed()
    rates: Rates = Rates()

    def __post_init__(self) -> None:
        """Refuse what cannot be mixed."""
        thing = "Laminate"
        check_choice(thing, "process", self.process, PROCESS_IDS)
        check_choice(thing, "mix_by", self.mix_by, ("weight", "volume"))
        check_choice(thing, "stack_order", self.stack_order, STACK_ORDERS)
        check_whole(thing, "stack_times", self.stack_times, high=200)
        self._check_fractions()
        check_ratio(thing, self.mix_resin, self.mix_hardener)
        check_number(
            thing, "resin_density_g_cm3", self.resin_density_g_cm3, high=25, hint="Enter g/cm3."
        )
        for field in ("liquid_resin_density_g_cm3", "hardener_density_g_cm3"):
            if getattr(self, field) is not None:
                check_number(thing, field, getattr(self, field), high=25, hint="Enter g/cm3.")
        if self.mix_by == "volume" and None in (
            self.liquid_resin_density_g_cm3,
            self.hardener_density_g_cm3,
        ):
            raise InputError(
                "Laminate: mix_by is volume, but a liquid density is missing.",
                "Enter liquid_resin_density_g_cm3 and hardener_density_g_cm3, or the ratio by "
                "weight.",
            )
        for field in ("pot_limit_g", "pot_life_min", "spread_g_per_min", "scale_step_g"):
            check_number(thing, field, getattr(self, field), high=1e6)
        for field in ("pot_life_at_c", "shop_c"):
            check_number(
                thing, field, getattr(self, field), low=-10, high=60, hint="Enter -10 to 60 °C."
            )
        for field in ("brush_loss", "small_loss"):
            check_not_negative(thing, field, getattr(self, field), high=5)
        check_not_negative(thing, "small_job_g", self.small_job_g, high=1e6)
        check_not_negative(thing, "drop_off_ratio", self.drop_off_ratio, high=1000)

    def _check_fractions(self) -> None:
        for field in ("fibre_volume_fraction", "fibre_mass_fraction", "mat_fibre_volume_fraction"):
            if getattr(self, field) is not None:
                check_share("Laminate", field, getattr(self, field))
        if self.fibre_volume_fraction is not None and self.fibre_mass_fraction is not None:
            raise InputError(
                "Laminate: fibre_volume_fraction and fibre_mass_fraction are both given.",
                "Enter one of them; the other follows.",
            )
        check_number(
            "Laminate",
            "void_fraction",
            self.void_fraction,
            high=0.5,
            open_ends=False,
            hint="Enter the share of voids, 0 to 0.5.",
        )


def check_ratio(thing: str, resin: float, hardener: float) -> None:
    """Refuse a mixing ratio in which a part is missing."""
    for field, value in (("mix_resin", resin), ("mix_hardener", hardener)):
        check_number(
            f"{thing}, mixing ratio {resin}:{hardener}",
            field,
            value,
            high=1e6,
            hint="Enter both parts above zero, as the data sheet gives them, e.g. 100:30.",
        )
