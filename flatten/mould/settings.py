"""What a mould is checked against: pull, layers, cloth, walls and tools, in mm and degrees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..arrays import Floats, unit_vector
from ..errors import InputError

Direction = tuple[float, float, float]

# Values without a source in the literature are common practice for printed moulds.
POSITIVE = ("layer_height_mm", "brush_mm", "roller_mm", "resin_density_g_cm3")
NOT_NEGATIVE = (
    "min_draft_deg",
    "cloth_radius_mm",
    "wall_min_mm",
    "laminate_mm",
    "trim_mm",
    "bead_share",
)
# The tightest inside corner a hand presses cloth into: 3 mm up to 200 g/m2, 5 mm from 400 g/m2 on,
# in proportion between. Common practice, no source.
LIGHT_GSM, HEAVY_GSM = 200.0, 400.0
LIGHT_RADIUS_MM, HEAVY_RADIUS_MM = 3.0, 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MouldSettings:
    """How the mould is printed, released and laid up.

    `pull`: the way the part leaves the mould, or "auto" for the direction that frees most area.
    `build`: upwards on the printer. `cloth_radius_mm`: the inside radius the cloth can be pressed
    into, 0 for that of the heaviest cloth of the job. `laminate_mm`: the laminate's thickness, 0
    when it is not known. `bead_share`: depth of the groove between two beads on an upright wall
    as a share of the layer height (0.2 to 0.5 measured as a rule, 0.5 at most for round beads).
    Defaults are common practice, not data of a material.
    """

    pull: Direction | Literal["auto"] = "auto"
    build: Direction = (0.0, 0.0, 1.0)
    layer_height_mm: float = 0.15
    bead_share: float = 0.35
    overhang_deg: float = 45.0  # faces leaning further from upright than this need support
    min_draft_deg: float = 5.0
    cloth_radius_mm: float = 0.0
    laminate_mm: float = 0.0
    wall_min_mm: float = 3.0
    trim_mm: float = 15.0
    brush_mm: float = 12.0  # narrowest tool that still wets the cloth
    roller_mm: float = 30.0
    deep_ratio: float = 1.0  # depth over opening where hands and eyes no longer follow
    resin_density_g_cm3: float = 1.15
    ray_test: bool = True  # off: no trapped faces, no walls, about five times quicker

    def __post_init__(self) -> None:
        for field in POSITIVE:
            if not 0 < getattr(self, field) < 1e6:
                _refuse(field, getattr(self, field), "Enter a value above zero.")
        for field in NOT_NEGATIVE:
            if not 0 <= getattr(self, field) < 1e6:
                _refuse(field, getattr(self, field), "Enter zero or more.")
        if not self.min_draft_deg <= 60:
            _refuse("min_draft_deg", self.min_draft_deg, "Enter a draft of 0 to 60 degrees.")
        if not self.bead_share <= 0.5:
            _refuse("bead_share", self.bead_share, "Enter 0 to 0.5: a round bead is no deeper.")
        if not 0 < self.overhang_deg < 90:
            _refuse("overhang_deg", self.overhang_deg, "Enter an angle between 0 and 90 degrees.")
        if not self.deep_ratio > 0:
            _refuse("deep_ratio", self.deep_ratio, "Enter a ratio above zero, 1 as a rule.")
        unit_vector("The build direction", self.build)
        if isinstance(self.pull, str):
            if str(self.pull) != "auto":
                _refuse("pull", self.pull, 'Give a direction, or "auto".')
        else:
            unit_vector("The pull", self.pull)

    @property
    def pressable_radius_mm(self) -> float:
        """The inside radius this laminate can be pressed into: the cloth's, or 2 thicknesses.

        A cloth that is not known counts as a light one.
        """
        return max(self.cloth_radius_mm or LIGHT_RADIUS_MM, 2 * self.laminate_mm)

    @property
    def pull_direction(self) -> Floats | None:
        """(3,) unit vector, None when it is to be found."""
        return None if isinstance(self.pull, str) else unit_vector("The pull", self.pull)

    @property
    def build_direction(self) -> Floats:
        """(3,) unit vector."""
        return unit_vector("The build direction", self.build)


def radius_of_cloth_mm(areal_weight_gsm: float) -> float:
    """Return the inside radius a cloth of this weight can be pressed into."""
    heavy = (areal_weight_gsm - LIGHT_GSM) / (HEAVY_GSM - LIGHT_GSM)
    return LIGHT_RADIUS_MM + (HEAVY_RADIUS_MM - LIGHT_RADIUS_MM) * min(max(heavy, 0.0), 1.0)


def _refuse(field: str, value: object, hint: str) -> None:
    raise InputError(f"Mould settings: {field} is {value}.", hint)
