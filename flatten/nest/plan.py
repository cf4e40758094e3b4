"""Plans: which part lies where, on which roll or offcut; and the nest a plan becomes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shapely import Point, Polygon, box
from shapely.ops import unary_union

from .geometry import cos_sin
from .layout import Placement, Sheet
from .part import Part, Spot, reach
from .roll import Offcut, Roll
from .settings import NestSettings
from .shelf import FIT_MM, Strip, lying_turn, turned_box

WRITTEN = 4  # decimals of a placement in mm: far below the 0.01 mm the check allows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bin:
    """A roll or an offcut as a place to lay parts in."""

    stock_id: str
    kind: Literal["roll", "offcut"]
    width_mm: float  # selvedges counted in
    strip: Strip
    shape: Polygon | None = None  # of an offcut, warp along +x
    selvedge_mm: float = 0.0

    def takes(self, part: Part) -> bool:
        """Return whether the part fits by its bounding box."""
        turn = lying_turn(part, self.strip.height)
        if turn is None:
            return False
        x0, _, x1, _ = turned_box(part, turn)
        return self.strip.length is None or x1 - x0 <= self.strip.length + FIT_MM

    @property
    def region(self) -> Polygon:
        """What may be used of a bin with an end: inside the margins, without the flaws."""
        if self.strip.length is None:
            raise ValueError(f"bin '{self.stock_id}' has no end")
        return self.region_to(self.strip.length)

    def region_to(self, length: float) -> Polygon:
        """Return the same up to a length."""
        whole = self.shape or box(0, self.strip.low_y, length, self.strip.high_y)
        return whole.difference(unary_union(self.strip.blocked)) if self.strip.blocked else whole


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Spots for each bin, in the bins' order; `left` copies of each part found no place."""

    parts: tuple[Part, ...]
    bins: tuple[Bin, ...]
    spots: tuple[tuple[Spot, ...], ...]
    left: tuple[int, ...] = ()

    @property
    def missing(self) -> int:
        """How many pieces found no place."""
        return sum(n * len(part.members) for part, n in zip(self.parts, self.left, strict=False))

    def taken(self, gap: float) -> tuple[int, float, float]:
        """Return what a plan is judged by, less is better: missing, roll area, offcut area."""
        roll = offcut = 0.0
        for bin_, spots in zip(self.bins, self.spots, strict=True):
            if spots and bin_.kind == "roll":
                roll += used_length(self.parts, spots, bin_, gap) * bin_.width_mm
            elif spots:
                offcut += bin_.region.area
        return self.missing, round(roll, 3), round(offcut, 3)


def roll_bin(roll: Roll) -> Bin:
    """Return a roll as a bin; its flaws become no-go zones (no gap is needed around them)."""
    zones = tuple(
        Point(flaw.x_mm, flaw.y_mm).buffer(flaw.radius_mm * 1.01, quad_segs=8)
        for flaw in roll.defects
    )
    strip = Strip(
        low_y=roll.selvedge_mm,
        high_y=roll.width_mm - roll.selvedge_mm,
        length=roll.length_mm,
        blocked=zones,
    )
    return Bin(
        stock_id=roll.id,
        kind="roll",
        width_mm=roll.width_mm,
        strip=strip,
        selvedge_mm=roll.selvedge_mm,
    )


def offcut_bin(offcut: Offcut) -> Bin:
    """Return an offcut as a bin, its warp along +x."""
    shape = offcut.laid_straight()
    _, _, length, width = shape.bounds
    return Bin(
        stock_id=offcut.id,
        kind="offcut",
        width_mm=width,
        strip=Strip(low_y=0.0, high_y=width, length=length),
        shape=shape,
    )


def used_length(parts: Sequence[Part], spots: Sequence[Spot], bin_: Bin, gap: float) -> float:
    """Return where the roll is cut across: a gap past the last piece, at most its end."""
    if not spots:
        return 0.0
    end = reach(parts, spots) + gap
    limit = bin_.strip.length
    return end if limit is None else min(end, limit)


def sheets_of(plan: Plan, counts: dict[str, int], settings: NestSettings) -> tuple[Sheet, ...]:
    """Return the sheets of a plan; copies and kits are numbered along the rolls."""
    numbers: dict[tuple[str, bool], int] = defaultdict(int)
    parts, sheets = plan.parts, []
    for bin_, spots in zip(plan.bins, plan.spots, strict=True):
        if not spots:
            continue
        ordered = sorted(spots, key=lambda s: (*parts[s.part].at(s).bounds[:2], s.part))
        places = tuple(
            place for spot in ordered for place in _places(parts, spot, numbers, counts, settings)
        )
        length = round(used_length(parts, spots, bin_, settings.gap_mm), WRITTEN)
        sheets.append(
            Sheet(
                stock_id=bin_.stock_id,
                kind=bin_.kind,
                outline=_cloth(bin_, length),
                used_length_mm=length if bin_.kind == "roll" else 0.0,
                selvedge_mm=bin_.selvedge_mm,
                placements=places,
            )
        )
    return tuple(sheets)


def _cloth(bin_: Bin, length: float) -> tuple[tuple[float, float], ...]:
    if bin_.shape is not None:
        return tuple((float(x), float(y)) for x, y in bin_.shape.exterior.coords[:-1])
    width = bin_.width_mm
    return ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))


def _places(
    parts: Sequence[Part],
    spot: Spot,
    numbers: dict[tuple[str, bool], int],
    counts: dict[str, int],
    settings: NestSettings,
) -> list[Placement]:
    """Return the placements of a part's members, each with the next free copy number."""
    cosine, sine = cos_sin(spot.angle_deg)
    places = []
    for member in parts[spot.part].members:
        key = (member.piece, member.other_hand)
        kit, copy = divmod(numbers[key], counts[member.piece])
        numbers[key] += 1
        places.append(
            Placement(
                piece=member.piece,
                copy=copy + 1,
                kit=kit + 1 + (settings.kits if member.other_hand else 0),
                x_mm=round(spot.x_mm + cosine * member.x_mm - sine * member.y_mm, WRITTEN),
                y_mm=round(spot.y_mm + sine * member.x_mm + cosine * member.y_mm, WRITTEN),
                angle_deg=round((spot.angle_deg + member.angle_deg) % 360, 6) % 360,
                mirrored=member.mirrored,
                other_hand=member.other_hand,
                turned_over=member.turned_over,
            )
        )
    return places
