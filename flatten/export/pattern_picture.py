"""A pattern as a small picture: its shear in colours, where to work the bias, its marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.errors import GEOSException
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from ..arrays import Floats
from ..pattern.pattern import Pattern, ShearMap
from .canvas import INK, WHITE, Canvas
from .layers import ARROW, NET, NOTCH, TACK

# Steps of shear in degrees and their colours: closing warm, opening cool, near nothing pale.
STEPS = (5.0, 10.0, 20.0, 30.0, 40.0)
CLOSING = ((0.99, 0.93, 0.84), (0.98, 0.85, 0.68), (0.95, 0.72, 0.48), (0.88, 0.53, 0.30),
           (0.74, 0.32, 0.18))  # fmt: skip
OPENING = ((0.88, 0.94, 0.97), (0.75, 0.88, 0.94), (0.56, 0.77, 0.87), (0.36, 0.61, 0.76),
           (0.20, 0.43, 0.62))  # fmt: skip
FLAT = (0.985, 0.985, 0.98)
LOCKED = (0.62, 0.05, 0.10)
BIAS_FROM_DEG = 15.0  # from here on cloth must be worked along its bias to lie down
SMALLEST_ZONE = 0.01  # of the net area
MOST_ZONES = 8
MOST_NUMBERS = 10  # notches; more numbers than that run into each other at this size


@dataclass(frozen=True, slots=True, eq=False)
class BiasZone:
    """Where the cloth is to be worked: a place in the pattern and the way to pull, degrees."""

    at: tuple[float, float]
    pull_deg: float  # +45 where warp and weft close up, -45 where they open
    worst_deg: float


def bias_zones(pattern: Pattern) -> list[BiasZone]:
    """Return the places sheared by 15 degrees and more, the worst first, at most eight.

    Cloth that closes up grows longer along the diagonal between warp and weft: it is worked
    outwards along +45 degrees there, and along -45 where it opens.
    """
    if pattern.shear is None:
        return []
    zones = []
    for sign in (1, -1):
        chosen = sign * pattern.shear.shear_deg >= BIAS_FROM_DEG
        for part in _parts(_union(pattern.shear.triangles[chosen])):
            if part.area < SMALLEST_ZONE * pattern.net.area:
                continue
            centre = polylabel(part, tolerance=max(part.length / 100, 0.5))
            inside = shapely.contains_xy(part, pattern.shear.triangles.mean(axis=1))
            values = np.abs(pattern.shear.shear_deg[inside & chosen])
            worst = float(values.max()) if len(values) else BIAS_FROM_DEG
            zones.append(BiasZone((centre.x, centre.y), 45.0 * sign, worst))
    return sorted(zones, key=lambda zone: (-round(zone.worst_deg, 3), zone.at))[:MOST_ZONES]


def draw_pattern(
    canvas: Canvas,
    pattern: Pattern,
    zones: Sequence[BiasZone],
    at: tuple[float, float],
    size: tuple[float, float],
) -> None:
    """Draw the pattern as large as fits into the box with its left lower corner `at`, mm."""
    (x, y), (width, height) = at, size
    left, bottom, right, top = pattern.cut.bounds
    scale = min(width / (right - left), height / (top - bottom))
    shift_x = x + (width - scale * (right - left)) / 2 - scale * left
    shift_y = y + (height - scale * (top - bottom)) / 2 - scale * bottom
    with canvas.placed(shift_x, shift_y, scale, scale):
        mm = 1 / scale  # a millimetre on the paper
        _area(canvas, pattern.cut, WHITE)
        if pattern.shear is not None:
            _shear(canvas, pattern.shear, mm)
        _ring_lines(canvas, pattern.net, NET.rgb, 0.2 * mm, (1.6 * mm, 0.9 * mm))
        _ring_lines(canvas, pattern.cut, INK, 0.45 * mm)
        _marks(canvas, pattern, mm)
        for zone in zones:
            _bias_mark(canvas, zone, mm)


def draw_shear_key(canvas: Canvas, x: float, y: float, width: float) -> None:
    """Draw the colours and what they mean, 5 mm high, its left lower corner at (x, y)."""
    colours = (*OPENING[::-1], FLAT, *CLOSING)
    names = [f"{step:g}" for step in STEPS[::-1]] + [f"{step:g}" for step in STEPS]
    cell = min(width / len(colours), 9.0)
    for i, colour in enumerate(colours):
        canvas.box(x + i * cell, y, cell, 4.0, line=0.15, colour=(0.6, 0.6, 0.6), fill=colour)
    for i, name in enumerate(names):
        canvas.text(x + (i + 1) * cell, y - 4.2, f"{name}°", 2.8, INK, anchor="middle")


def _union(triangles: Floats) -> BaseGeometry:
    if not len(triangles):
        return MultiPolygon()
    shapes = shapely.polygons(np.concatenate([triangles, triangles[:, :1]], axis=1))
    try:
        whole = shapely.coverage_union_all(shapes)  # the mesh's triangles share their corners
    except GEOSException:  # and still may lie over each other in the flat
        return shapely.union_all(shapely.make_valid(shapes))
    return whole if whole.is_valid else shapely.union_all(shapely.make_valid(shapes))


def _parts(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon)]


def _shear(canvas: Canvas, shear: ShearMap, mm: float) -> None:
    """Fill the net in steps of shear; locked cloth is outlined."""
    level = np.searchsorted(STEPS, np.abs(shear.shear_deg), side="right")
    for number in range(len(STEPS) + 1):
        for sign in (1, -1) if number else (0,):
            chosen = (level == number) & ((np.sign(shear.shear_deg) == sign) | (sign == 0))
            colours = {1: CLOSING, -1: OPENING}.get(sign)
            colour = colours[number - 1] if colours else FLAT
            for part in _parts(_union(shear.triangles[chosen])):
                _area(canvas, part, colour)
    for part in _parts(_union(shear.triangles[shear.locked])):
        _ring_lines(canvas, part, LOCKED, 0.5 * mm)


def _area(canvas: Canvas, shape: Polygon, colour: tuple[float, float, float]) -> None:
    """Fill a polygon, its holes left open."""
    pdf = canvas.pdf
    path = pdf.beginPath()
    for ring in (shape.exterior, *shape.interiors):
        points = np.array(ring.coords)[:, :2]
        path.moveTo(*points[0])
        for point in points[1:-1]:
            path.lineTo(*point)
        path.close()
    pdf.setFillColorRGB(*colour)
    pdf.drawPath(path, stroke=0, fill=1, fillMode=0)


def _ring_lines(
    canvas: Canvas,
    shape: Polygon,
    colour: tuple[float, float, float],
    width: float,
    dash: tuple[float, ...] = (),
) -> None:
    for ring in (shape.exterior, *shape.interiors):
        canvas.line(np.array(ring.coords)[:-1, :2], colour, width, dash=dash, closed=True)


def _marks(canvas: Canvas, pattern: Pattern, mm: float) -> None:
    for notch in pattern.notches:
        inner = notch.at - notch.outward * 2.2 * mm
        canvas.line([tuple(notch.at), tuple(inner)], NOTCH.rgb, 0.5 * mm)
        if len(pattern.notches) <= MOST_NUMBERS:
            at = notch.at - notch.outward * 4.4 * mm
            canvas.text(
                float(at[0]), float(at[1]), str(notch.number), 2.8 * mm, NOTCH.rgb, bold=True,
                anchor="centre",
            )  # fmt: skip
    if pattern.arrow is not None:
        tail, head = pattern.arrow
        along = (head - tail) / max(float(np.linalg.norm(head - tail)), 1e-9)
        left = np.array([-along[1], along[0]])
        barb = head - along * 3.0 * mm
        canvas.line([tuple(tail), tuple(barb)], ARROW.rgb, 0.5 * mm)
        corners = [tuple(head), tuple(barb + left * 1.2 * mm), tuple(barb - left * 1.2 * mm)]
        canvas.line(corners, ARROW.rgb, 0, closed=True, fill=ARROW.rgb)
    if pattern.tack is not None:
        (x, y), r = pattern.tack, 2.2 * mm
        canvas.line([(x - r, y), (x + r, y)], TACK.rgb, 0.6 * mm)
        canvas.line([(x, y - r), (x, y + r)], TACK.rgb, 0.6 * mm)


def _bias_mark(canvas: Canvas, zone: BiasZone, mm: float) -> None:
    """Draw a double arrow along the bias the cloth is worked in."""
    angle = np.radians(zone.pull_deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    left, at, reach = np.array([-along[1], along[0]]), np.array(zone.at), 3.4 * mm
    for colour, width in ((WHITE, 1.3 * mm), (INK, 0.5 * mm)):
        canvas.line([tuple(at - along * reach), tuple(at + along * reach)], colour, width)
        for way in (1, -1):
            tip = at + along * reach * way
            barb = tip - along * way * 1.5 * mm
            canvas.line(
                [tuple(barb + left * 1.1 * mm), tuple(tip), tuple(barb - left * 1.1 * mm)],
                colour, width,
            )  # fmt: skip
