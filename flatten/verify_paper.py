"""Are the outlines on the paper templates where the plan of the sheets puts them, in true size?

The pages are read back from the PDF's own drawing operators, which knows nothing of the writer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely import Polygon

from .arrays import Bools, Floats
from .export.paper import FOOTER_MM
from .export.tiles import Group, Tile, TilePlan
from .nest.geometry import laid
from .pattern.pattern import Pattern
from .verify_lines import ReadLine, ReadText
from .verify_pdf import PdfPages, Seen
from .verify_places import FileLines, Meant, failed, meant

ALIKE_MM = 0.25  # pieces whose outlines differ by less may be printed once: a knife strays further
TIP_MM = 1.0  # a tip that reaches so far over the edge has no sheet of its own
WINDOW_MM = 0.05  # what lies so near the edge of a sheet may be cut off by rounding


def check_paper(content: bytes, plan: TilePlan, patterns: Sequence[Pattern]) -> None:
    """Compare every sheet with the part of the patterns it is to show; alike ones share paper.

    Raises
    ------
    SolveError : naming the sheet and the piece
    """
    printed = [one.pattern.cut for group in plan.groups for one in group.placed]
    for pattern in patterns:
        if not any(_as_large(pattern.cut, other) for other in printed):
            raise failed("templates.pdf", f"no sheet shows '{pattern.id}'")
    pages = PdfPages(content)
    if len(pages) < plan.sheets:
        raise failed("templates.pdf", f"it holds {len(pages)} pages, {plan.sheets} were meant")
    number = len(pages) - plan.sheets  # the map comes first
    for group in plan.groups:
        pieces = [
            meant(one.pattern, laid(one.x_mm, one.y_mm, one.turn_deg)) for one in group.placed
        ]
        _check_all_is_shown(group, pieces)
        for tile in group.tiles:
            read = [_on_plan(one, plan, tile) for one in pages.read(number)]
            number += 1
            lines = [one for one in read if isinstance(one, ReadLine)]
            texts = [one for one in read if isinstance(one, ReadText)]
            name = f"templates.pdf, sheet {group.name_of(tile)}"
            _check_sheet(FileLines(name, lines, texts), pieces, tile, group.tile_mm)


def _as_large(one: Polygon, other: Polygon) -> bool:
    """Tell whether area and both sides agree as they do where outlines differ by `ALIKE_MM`."""
    mine, theirs = (np.subtract(ring.bounds[2:], ring.bounds[:2]) for ring in (one, other))
    return bool(
        abs(one.area - other.area) <= ALIKE_MM * one.length
        and np.allclose(mine, theirs, rtol=0, atol=2 * ALIKE_MM)
    )


def _check_all_is_shown(group: Group, pieces: Sequence[Meant]) -> None:
    for piece in pieces:
        for points in piece.rings[0]:
            shown = np.zeros(len(points), bool)
            for tile in group.tiles:
                shown |= _in_window(points, tile, group.tile_mm, -TIP_MM)
            if not shown.all():
                raise failed("templates.pdf", f"no sheet shows all of '{piece.name}'")


def _check_sheet(
    file: FileLines, pieces: Sequence[Meant], tile: Tile, size_mm: tuple[float, float]
) -> None:
    def shown(points: Floats) -> Bools:
        return _in_window(points, tile, size_mm)

    for piece in pieces:
        seen = replace(
            piece,
            rings=tuple(
                tuple(_dense(ring, tile, size_mm) for ring in some) for some in piece.rings
            ),
        )
        fault = file.fault(seen, middles=False, shown=shown)
        if fault:
            raise failed(file.name, fault)
    file.check_nothing_else(pieces, shown)


def _dense(ring: Floats, tile: Tile, size_mm: tuple[float, float]) -> Floats:
    """Return the corners of a ring, and points between, that a sheet shows."""
    points: Floats = np.concatenate([ring, (ring[:-1] + ring[1:]) / 2])
    return points[_in_window(points, tile, size_mm)]


def _in_window(
    points: Floats, tile: Tile, size_mm: tuple[float, float], edge_mm: float = WINDOW_MM
) -> Bools:
    low = np.array([tile.x_mm, tile.y_mm])
    inside: Bools = ((points > low + edge_mm) & (points < low + size_mm - edge_mm)).all(axis=1)
    return inside


def _on_plan(one: Seen, plan: TilePlan, tile: Tile) -> Seen:
    """Return a line or a text of a page where the plan of all sheets has it."""
    page = plan.page
    scale = np.array([page.scale_x, page.scale_y])
    corner = np.array([page.margin_mm, page.margin_mm + FOOTER_MM / page.scale_y])
    if isinstance(one, ReadText):
        return replace(one, at=(one.at - corner) * scale + [tile.x_mm, tile.y_mm])
    points = (one.points[:, :2] - corner) * scale + [tile.x_mm, tile.y_mm]
    return replace(one, points=np.column_stack([points, np.zeros(len(points))]))
