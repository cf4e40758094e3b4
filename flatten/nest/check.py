"""Proof of a layout, by code that shares nothing with the search: plain geometry on the outlines.

It knows the pieces as they were ordered, the stock as it was offered and the nest as it will be
cut, and does its own moves; a fault it finds is a fault of the program, never of the user.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

from shapely import LineString, MultiPoint, Point, Polygon, STRtree, box
from shapely.affinity import rotate, scale, translate

from ..cloth.fabric import Fabric
from .layout import Nest, Placement, Sheet
from .piece import NestPiece
from .roll import Defect, Offcut, Stock
from .settings import NestSettings

GAP_SLACK_MM = 0.01  # the library counts in single precision
EDGE_SLACK_MM = 1e-3  # over a margin: a thousandth, as coordinates are written
TURN_SLACK_DEG = 1e-3
COMMON_EDGE_MM = 45.0  # a shorter contact is no common edge


def check_nest(
    nest: Nest,
    pieces: Sequence[NestPiece],
    fabric: Fabric,
    stock: Stock,
    settings: NestSettings,
) -> list[str]:
    """Return what is wrong with the nest, one sentence each; an empty list is a sound nest."""
    known = {piece.id: piece for piece in pieces}
    faults = _wrong_counts(nest, pieces, settings)
    stray = [p for sheet in nest.sheets for p in sheet.placements if p.piece not in known]
    if stray:
        return faults
    for sheet in nest.sheets:
        laid = [_lay(known[place.piece].polygon, place) for place in sheet.placements]
        faults += _wrong_turns(sheet, fabric, settings)
        faults += _outside(sheet, laid, stock)
        faults += _on_defects(sheet, laid, stock)
        faults += _too_close(sheet, laid, settings)
    return faults


def _lay(outline: Polygon, place: Placement) -> Polygon:
    if place.mirrored:
        outline = scale(outline, 1, -1, origin=(0, 0))
    return translate(rotate(outline, place.angle_deg, origin=(0, 0)), place.x_mm, place.y_mm)


def _wrong_counts(nest: Nest, pieces: Sequence[NestPiece], settings: NestSettings) -> list[str]:
    """Every copy of every kit once, and nothing else; mirrored kits mirrored."""
    asked = Counter(
        (piece.id, copy, kit)
        for piece in pieces
        for kit in range(1, settings.kits + settings.mirrored_kits + 1)
        for copy in range(1, piece.count + 1)
    )
    places = [place for sheet in nest.sheets for place in sheet.placements]
    there = Counter((place.piece, place.copy, place.kit) for place in places)
    faults = [f"{_name(key)} is missing." for key in asked - there]
    faults += [f"{_name(key)} is laid once too often." for key in there - asked]
    for place in places:
        if place.other_hand != (place.kit > settings.kits):
            faults.append(f"'{place.piece}' of kit {place.kit} is of the wrong hand.")
        if place.mirrored != (place.other_hand != place.turned_over):
            faults.append(f"'{place.piece}' of kit {place.kit} is mirrored and not marked so.")
    return faults


def _name(key: tuple[str, int, int]) -> str:
    return f"'{key[0]}', copy {key[1]} of kit {key[2]}"


def _wrong_turns(sheet: Sheet, fabric: Fabric, settings: NestSettings) -> list[str]:
    """The cloth's own rule, written out again: half turns; quarter turns where balanced."""
    step = 90 if fabric.balanced else 180
    slack = settings.turn_tolerance_deg + TURN_SLACK_DEG
    free = fabric.kind in ("mat", "film")
    faults = []
    for place in sheet.placements:
        off = min(place.angle_deg % step, -place.angle_deg % step)
        if not free and not off <= slack:
            faults.append(f"'{place.piece}' is turned by {place.angle_deg:g} degrees.")
        if place.turned_over and not (settings.turn_over and _sides_alike(fabric)):
            faults.append(f"'{place.piece}' is turned over.")
    return faults


def _sides_alike(fabric: Fabric) -> bool:
    """No face side, and the fibre directions are their own mirror image about the warp."""
    if fabric.kind in ("mat", "film"):
        return not fabric.has_face
    here = {round(angle % 180, 1) % 180 for angle in fabric.fibre_angles_deg}
    return not fabric.has_face and here == {round(-angle % 180, 1) % 180 for angle in here}


def _outside(sheet: Sheet, laid: Sequence[Polygon], stock: Stock) -> list[str]:
    """Pieces inside the margins, and no more cloth used than there is."""
    roll = next((roll for roll in stock.rolls if roll.id == sheet.stock_id), None)
    offcut = next((offcut for offcut in stock.offcuts if offcut.id == sheet.stock_id), None)
    faults = []
    if roll is not None and sheet.kind == "roll":
        if roll.length_mm is not None and sheet.used_length_mm > roll.length_mm + EDGE_SLACK_MM:
            faults.append(
                f"Roll '{roll.id}' has {roll.length_mm} mm, {sheet.used_length_mm} mm are used."
            )
        margin = roll.selvedge_mm
        usable: Polygon = box(0, margin, sheet.used_length_mm, roll.width_mm - margin)
    elif offcut is not None and sheet.kind == "offcut":
        usable = _straightened(offcut)
    else:
        return [f"There is no {sheet.kind} '{sheet.stock_id}' in the stock."]
    usable = usable.buffer(EDGE_SLACK_MM, join_style="mitre")
    for place, shape in zip(sheet.placements, laid, strict=True):
        if not usable.covers(shape):
            faults.append(f"'{place.piece}' reaches out of the usable part of '{sheet.stock_id}'.")
    return faults


def _straightened(offcut: Offcut) -> Polygon:
    radians = math.radians(-offcut.warp_deg)
    cosine, sine = math.cos(radians), math.sin(radians)
    corners = [(cosine * x - sine * y, sine * x + cosine * y) for x, y in offcut.outline.tolist()]
    low_x, low_y = min(x for x, _ in corners), min(y for _, y in corners)
    return Polygon([(x - low_x, y - low_y) for x, y in corners])


def _on_defects(sheet: Sheet, laid: Sequence[Polygon], stock: Stock) -> list[str]:
    defects: tuple[Defect, ...] = ()
    for roll in stock.rolls:
        if roll.id == sheet.stock_id:
            defects = roll.defects
    faults = []
    for flaw in defects:
        middle = Point(flaw.x_mm, flaw.y_mm)
        for place, shape in zip(sheet.placements, laid, strict=True):
            if shape.distance(middle) < flaw.radius_mm - GAP_SLACK_MM:
                faults.append(f"'{place.piece}' lies on the defect at x = {flaw.x_mm:g} mm.")
    return faults


def _too_close(sheet: Sheet, laid: Sequence[Polygon], settings: NestSettings) -> list[str]:
    """No overlap, and the gap asked for between any two pieces."""
    least = settings.gap_mm - GAP_SLACK_MM
    tree = STRtree(laid)
    faults = []
    for first, shape in enumerate(laid):
        for second in tree.query(shape.buffer(max(settings.gap_mm, 0.1))):
            other = laid[int(second)]
            if int(second) <= first:
                continue
            names = f"'{sheet.placements[first].piece}' and '{sheet.placements[second].piece}'"
            if shape.buffer(-GAP_SLACK_MM / 2).intersects(other.buffer(-GAP_SLACK_MM / 2)):
                faults.append(f"{names} overlap.")
            elif shape.distance(other) < least and not (
                settings.common_edges and _share_an_edge(shape, other, settings.gap_mm)
            ):
                faults.append(f"{names} are {shape.distance(other):.4f} mm apart.")
    return faults


def _share_an_edge(one: Polygon, other: Polygon, gap: float) -> bool:
    """Whether two pieces are butted along one straight edge, and keep the gap elsewhere."""
    touch = one.boundary.intersection(other.boundary.buffer(GAP_SLACK_MM))
    if touch.is_empty or touch.length < COMMON_EDGE_MM:
        return False
    hull = MultiPoint([point for part in _lines(touch) for point in part.coords]).convex_hull
    around = list(getattr(hull, "exterior", hull).coords)
    start, end = max(((a, b) for a in around for b in around), key=lambda ends: math.dist(*ends))
    edge = LineString([start, end])
    straight = touch.within(edge.buffer(5 * GAP_SLACK_MM)) and touch.length > 0.95 * edge.length
    near = edge.buffer(3 * gap + GAP_SLACK_MM)
    apart = one.difference(near).distance(other.difference(near))
    return bool(straight and apart >= gap - GAP_SLACK_MM)


def _lines(shape: Any) -> list[Any]:
    parts = getattr(shape, "geoms", [shape])
    return [part for part in parts if part.geom_type in ("LineString", "LinearRing")]
