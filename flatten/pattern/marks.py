"""Label, warp arrow, tack cross and side mark: inside the piece, never across a cut line."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from ..arrays import Floats
from .pattern import Mark
from .place import box_at, inscribed_circle, long_side_deg, place_box
from .settings import Dressing

# Widths as shares of the capital height, on the generous side for a plain sans serif; common
# practice, no source.
GLYPH_WIDTH, LINE_PITCH = 0.85, 1.7
CLEAR_MM = 3.0  # from a mark to any cut line or other mark
SMALLEST_TEXT_MM = 2.5  # below this nobody reads it at a bench
SIZES = (1.0, 0.75, 0.5, 0.375)  # of the wanted text height, tried in this order
ARROWS_MM = (150.0, 100.0, 60.0, 40.0, 25.0, 15.0)
ARROW_HEIGHT_MM, TACK_MM = 8.0, 16.0
FOLDED_FROM_MM = 250.0  # along the warp: smaller pieces are laid down at one go


@dataclass(slots=True)
class Room:
    """What is still free inside a piece; marks take their place out of it one by one."""

    free: BaseGeometry
    middle: Floats
    along_deg: float
    taken: list[Polygon] = field(default_factory=list)

    def take(self, box: Polygon) -> None:
        """Keep others off a box."""
        self.taken.append(box)
        self.free = self.free.difference(box.buffer(CLEAR_MM, join_style="mitre"))


def room_in(net: Polygon, cut: Polygon) -> Room:
    """Return the room for marks: inside the net, clear of its line and of every cut line."""
    free = net.buffer(-CLEAR_MM).intersection(cut.buffer(-CLEAR_MM))
    middle, _ = inscribed_circle(cut)
    return Room(free=free, middle=middle, along_deg=long_side_deg(cut))


def text_box_mm(lines: tuple[str, ...], height_mm: float) -> tuple[float, float]:
    """Return width and height of a text, mm."""
    longest = max(len(line) for line in lines)
    height = (LINE_PITCH * (len(lines) - 1) + 1.3) * height_mm
    return GLYPH_WIDTH * height_mm * longest, height


def place_tack(room: Room, cut: Polygon) -> Floats | None:
    """Return the tack point (the origin) if it lies on this piece, and keep texts off it."""
    if not cut.buffer(1e-6).contains(Point(0, 0)):
        return None
    room.take(shapely.box(-TACK_MM / 2, -TACK_MM / 2, TACK_MM / 2, TACK_MM / 2))
    return np.zeros(2)


def place_arrow(room: Room) -> Floats | None:
    """Return tail and head (2, 2) of the warp arrow, along +x; None where none fits."""
    for length in ARROWS_MM:
        at = place_box(room.free, length, ARROW_HEIGHT_MM, near=room.middle)
        if at is not None:
            room.take(box_at(at, length, ARROW_HEIGHT_MM, 0.0))
            half = np.array([length / 2, 0.0])
            return np.array([at - half, at + half])
    return None


def place_fold_back(room: Room, cut: Polygon, dressing: Dressing) -> Mark | None:
    """Return the words on the line across the tack point at which half the cloth is folded back.

    The cloth is laid from the tack point outwards: half of it is folded back along the weft
    while the other half is laid. A piece below `FOLDED_FROM_MM` is laid without.
    """
    x0, y0, x1, y1 = cut.bounds
    if x1 - x0 < FOLDED_FROM_MM:
        return None
    height = 0.75 * dressing.text_mm
    width, tall = text_box_mm(("fold back here",), height)
    near = shapely.box(-tall / 2 - 1.0, y0, tall / 2 + 1.0, y1)
    for side in (y1, y0):
        at = place_box(
            room.free.intersection(near), width, tall, near=np.array([0.0, side / 2]), turn_deg=90.0
        )
        if at is not None:
            room.take(box_at(at, width, tall, 90.0))
            return Mark(
                kind="fold_back", lines=("fold back here",), at=at, height_mm=height, turn_deg=90.0
            )
    return None


def place_text(
    room: Room,
    kind: Literal["label", "side_up"],
    versions: tuple[tuple[str, ...], ...],
    dressing: Dressing,
    *,
    near: Floats | None = None,
) -> Mark | None:
    """Return a text where it fits, the fullest version as large as can be; None: no room."""
    where = room.middle if near is None else near
    turns = dict.fromkeys((0.0, round(room.along_deg, 3), 90.0))
    for lines in versions:
        for share in SIZES:
            height = dressing.text_mm * share
            if height < SMALLEST_TEXT_MM:
                continue
            width, tall = text_box_mm(lines, height)
            for turn in turns:
                at = place_box(room.free, width, tall, near=where, turn_deg=turn)
                if at is not None:
                    room.take(box_at(at, width, tall, turn))
                    return Mark(kind=kind, lines=lines, at=at, height_mm=height, turn_deg=turn)
    return None
