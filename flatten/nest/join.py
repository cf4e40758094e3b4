"""Joining layouts of chunks: each slides towards the one before until the gap is reached."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely import MultiPolygon, Polygon
from shapely.affinity import translate

from .geometry import cos_sin
from .part import Part, Spot
from .shelf import Strip

STEPS = 400  # each as far as is surely free
NEAR_MM = 0.02  # close enough to the gap


def join(
    parts: Sequence[Part], chunks: Sequence[Sequence[Spot]], strip: Strip, gap: float
) -> list[Spot]:
    """Return the chunks' spots one behind the other, each way round that takes less length."""
    joined: list[Spot] = []
    shapes: list[Polygon] = []
    end = 0.0
    for chunk in chunks:
        if not chunk:
            continue
        if not joined:
            joined = list(chunk)
            shapes = [parts[spot.part].at(spot) for spot in joined]
            end = max(shape.bounds[2] for shape in shapes)
            continue
        tail = [shape for shape in shapes if shape.bounds[2] > end - 1000]
        options = []
        for turned in (list(chunk), turned_round(parts, chunk, strip)):
            laid = [parts[spot.part].at(spot) for spot in turned]
            shift = _slide(tail, laid, end + gap, gap)
            options.append((round(max(s.bounds[2] for s in laid) + shift, 3), shift, turned))
        end, shift, turned = min(options, key=lambda option: option[0])
        moved = [Spot(s.part, s.x_mm + shift, s.y_mm, s.angle_deg) for s in turned]
        joined += moved
        shapes = tail + [parts[spot.part].at(spot) for spot in moved]
        end = max(shape.bounds[2] for shape in shapes)
    return joined


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
    front = [shape for shape in laid if shape.bounds[0] < 1000]
    moving = MultiPolygon(front)
    shapely.prepare(fixed)
    shift = start
    for _ in range(STEPS):
        room = translate(moving, shift).distance(fixed) - gap
        if room < NEAR_MM:
            break
        shift -= room - NEAR_MM / 4
    return shift
