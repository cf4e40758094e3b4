"""LaidPly: one ply as drape and pattern left it, with all that weighing it needs."""

from __future__ import annotations

from dataclasses import dataclass

from ..arrays import frozen_floats
from ..cloth.fabric import Fabric
from ..errors import InputError
from .bounds import check_number, check_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidPly:
    """A ply with its measured areas. mm and mm2; the areas and the perimeter are of one ply.

    `mould_area_mm2` is the region on the mould without trim, `cut_area_mm2` all its pieces as
    cut, laps and trim included, `perimeter_mm` the length of their cut lines.
    `mean_inverse_cos_shear` is the mean of 1 / cos(shear) over the region. `count` of them are
    laid one on the other. `centroid_mm` is the middle of the region.
    """

    number: int  # in laying order, 1: first on the tool
    ply_id: str
    name: str
    fabric: Fabric
    angle_deg: float
    mould_area_mm2: float
    cut_area_mm2: float
    perimeter_mm: float
    mean_inverse_cos_shear: float = 1.0
    pieces: int = 1
    count: int = 1
    centroid_mm: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        """Refuse what no ply measures."""
        thing = f"Ply {self.number} '{self.name}'"
        if not isinstance(self.fabric, Fabric):
            raise InputError(f"{thing}: fabric is {self.fabric!r:.60}.", "Choose a cloth.")
        for field in ("mould_area_mm2", "cut_area_mm2", "perimeter_mm"):
            check_number(thing, field, getattr(self, field), high=1e13)
        check_number(
            thing,
            "angle_deg",
            self.angle_deg,
            low=-360,
            high=360,
            open_ends=False,
            hint="Enter -360 to 360 degrees, as a number.",
        )
        check_number(
            thing,
            "mean_inverse_cos_shear",
            self.mean_inverse_cos_shear,
            low=1 - 1e-9,
            high=100,
            open_ends=False,
            hint="Enter 1 for unsheared cloth, more for sheared.",
        )
        for field in ("number", "pieces", "count"):
            check_whole(thing, field, getattr(self, field), high=100_000)
        if self.centroid_mm is not None:
            at = frozen_floats(f"centroid of {thing}", self.centroid_mm, (3,))
            object.__setattr__(self, "centroid_mm", tuple(at.tolist()))

    @property
    def area_m2(self) -> float:
        """The area on the mould, of all `count` plies, in square metres."""
        return self.count * self.mould_area_mm2 * 1e-6

    @property
    def cut_area_m2(self) -> float:
        """The area of cloth cut for all `count` plies, in square metres."""
        return self.count * self.cut_area_mm2 * 1e-6
