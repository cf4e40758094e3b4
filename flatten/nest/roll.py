"""Cloth in stock: rolls and the offcuts kept from earlier jobs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely import Polygon
from shapely.affinity import rotate, translate

from ..arrays import Floats, frozen_floats
from ..errors import InputError
from .outline import sound_polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect:
    """A flaw to keep pieces off: a circle on the roll, mm from its free end and its edge."""

    x_mm: float  # along the roll
    y_mm: float  # across it, from the edge the pieces are laid against
    radius_mm: float

    def __post_init__(self) -> None:
        """Refuse a flaw without a place."""
        if not (math.isfinite(self.x_mm) and math.isfinite(self.y_mm)):
            raise InputError(
                f"Defect at ({self.x_mm}, {self.y_mm}) mm has no place.", "Enter its distances."
            )
        if not 0 < self.radius_mm < 1e5:
            raise InputError(
                f"Defect at ({self.x_mm:g}, {self.y_mm:g}) mm: radius_mm is {self.radius_mm}.",
                "Enter a radius above zero.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """Cloth on a roll: x runs along it (the warp) from its free end, y across it from 0."""

    id: str
    fabric: str  # Fabric.id
    width_mm: float  # selvedge to selvedge
    length_mm: float | None = None  # left on the roll; None: as much as needed
    selvedge_mm: float = 10.0  # not to be used, at either edge; common practice, no source
    price_per_m: float = 0.0
    defects: tuple[Defect, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a roll that holds no cloth."""
        if not 0 < self.width_mm < 1e5:  # also catches NaN
            raise InputError(
                f"Roll '{self.id}': width_mm is {self.width_mm}.", "Enter a width above zero."
            )
        if self.length_mm is not None and not 0 < self.length_mm < 1e7:
            raise InputError(
                f"Roll '{self.id}': length_mm is {self.length_mm}.",
                "Enter a length above zero, or leave it empty for as much as needed.",
            )
        if not 0 <= 2 * self.selvedge_mm < self.width_mm:
            raise InputError(
                f"Roll '{self.id}': selvedges of {self.selvedge_mm} mm leave no cloth.",
                "Enter less than half the roll width.",
            )
        if not 0 <= self.price_per_m < 1e9:
            raise InputError(
                f"Roll '{self.id}': price_per_m is {self.price_per_m}.", "Enter zero or more."
            )

    @property
    def usable_width_mm(self) -> float:
        """Width between the selvedges."""
        return self.width_mm - 2 * self.selvedge_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Offcut:
    """A remnant worth keeping: `outline` (k, 2) mm; `warp_deg` the way its warp runs in it."""

    id: str
    fabric: str  # Fabric.id
    outline: Floats
    warp_deg: float = 0.0

    def __post_init__(self) -> None:
        """Refuse an outline that is not a piece of cloth."""
        outline = frozen_floats(f"Offcut '{self.id}': outline", self.outline, (None, 2))
        object.__setattr__(self, "outline", outline)
        if not math.isfinite(self.warp_deg):
            raise InputError(
                f"Offcut '{self.id}': warp_deg is {self.warp_deg}.", "Enter an angle in degrees."
            )
        sound_polygon(f"Offcut '{self.id}'", outline)

    def laid_straight(self) -> Polygon:
        """Return its shape turned until the warp runs along +x, its box's corner at (0, 0)."""
        turned = rotate(Polygon(self.outline), -self.warp_deg, origin=(0, 0))
        low_x, low_y, _, _ = turned.bounds
        return translate(turned, -low_x, -low_y)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What is on the shelf. Rolls are used in the order they stand here, offcuts before rolls."""

    rolls: tuple[Roll, ...] = ()
    offcuts: tuple[Offcut, ...] = ()

    def __post_init__(self) -> None:
        """Refuse two things under one name."""
        seen: set[str] = set()
        for name in [roll.id for roll in self.rolls] + [offcut.id for offcut in self.offcuts]:
            if name in seen:
                raise InputError(
                    f"The stock has '{name}' twice.", "Give every roll and offcut its own name."
                )
            seen.add(name)

    def of(self, fabric: str) -> Stock:
        """Return the part of the stock that is of one cloth."""
        return Stock(
            rolls=tuple(roll for roll in self.rolls if roll.fabric == fabric),
            offcuts=tuple(offcut for offcut in self.offcuts if offcut.fabric == fabric),
        )
