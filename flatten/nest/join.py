"""Joining layouts of chunks: each slides towards the one before until the gap is reached."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely import MultiPolygon, Polygon
from shapely.affinity import translate

from .geometry import cos_sin
from .part import Part, Spot, reach
from .shelf import Strip

STEPS = 400  # each as far as is surely free
NEAR_MM = 0.02  # close enough to the gap
NEAR_END_MM = 1000.0  # of the end: what lies before it is in nobody's way


def join(
    parts: Sequence[Part],
    chunks: Sequence[Sequence[Spot]],
    strip: Strip,
    gap: float,
    zones: Sequence[Polygon] = (),
) -> list[Spot]:
    """Return the chunks' spots one behind the other, each way round that takes less length.

    `zones`: flaws of the strip. Where one lies ahead, the chunk goes next, and that way round,
    of which least cloth lies on flaws; it is left to the caller to lift that.
    """
    joined: list[Spot] = []
    tail: list[Polygon] = []
    end, left = 0.0, [chunk for chunk in chunks if chunk]
    longest = max((reach(parts, chunk) for chunk in left), default=0.0)
    while left:
        ahead = [zone for zone in zones if end < zone.bounds[2] and zone.bounds[0] < end + longest]
        options = []
        for number, chunk in enumerate(left if ahead else left[:1]):
            for turned in (list(chunk), turned_round(parts, chunk, strip)):
                laid = [parts[spot.part].at(spot) for spot in turned]
                shift = _slide(tail, laid, end + gap, gap) if tail else 0.0
                cost = shift + _on_flaws(laid, shift, ahead) / strip.height
                options.append((round(cost, 3), number, shift, turned))
        _, number, shift, turned = min(options, key=lambda option: option[:2])
        del left[number]
        moved = [Spot(s.part, s.x_mm + shift, s.y_mm, s.angle_deg) for s in turned]
        joined += moved
        shapes = [parts[spot.part].at(spot) for spot in moved]
        end = max(end, *(shape.bounds[2] for shape in shapes))
        tail = [shape for shape in tail + shapes if shape.bounds[2] > end - NEAR_END_MM]
    return joined


def _on_flaws(laid: Sequence[Polygon], shift: float, zones: Sequence[Polygon]) -> float:
    """Return the area of the shapes that would lie on flaws."""
    here = [translate(zone, -shift) for zone in zones]
    return float(sum(s.area for s in laid if any(zone.intersects(s) for zone in here)))


def turned_round(parts: Sequence[Part], spots: Sequence[Spot], strip: Strip) -> list[Spot]:
    """Return the layout turned by 180 degrees as a whole, which any cloth allows, from x = 0."""
    shapes = [parts[spot.part].at(spot) for spot in spots]
    end = max(shape.bounds[2] for shape in shapes)
    middle = strip.low_y + strip.high_y
    cosine, sine = cos_sin(180.0)
    return [
        Spot(
            spot.part,
            end + cosine * spot.x_mm - sine * spot.y_mm,
            middle + sine * spot.x_mm + cosine * spot.y_mm,
            (spot.angle_deg + 180) % 360,
        )
        for spot in spots
    ]


def _slide(tail: list[Polygon], laid: list[Polygon], start: float, gap: float) -> float:
    """Return the least shift along x that keeps the gap, reached by sliding from the right."""
    fixed = MultiPolygon(tail)
    front = [shape for shape in laid if shape.bounds[0] < NEAR_END_MM]
    moving = MultiPolygon(front)
    shapely.prepare(fixed)
    shift = start
    for _ in range(STEPS):
        room = translate(moving, shift).distance(fixed) - gap
        if room < NEAR_MM:
            break
        shift -= room - NEAR_MM / 4
    return shift
