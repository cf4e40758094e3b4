"""Are the outlines on the paper templates where the plan of the sheets puts them, in true size?

The pages are read back from the PDF's own drawing operators, which knows nothing of the writer.
"""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Iterator, Sequence

import numpy as np

from .arrays import Bools, Floats
from .export.layers import ARROW, CUT, NET
from .export.paper import FOOTER_MM
from .export.tiles import Group, Tile, TilePlan
from .nest.geometry import laid
from .pattern.pattern import Pattern
from .units import MM_PER_INCH
from .verify_lines import ReadLine
from .verify_places import FileLines, Meant, failed, meant

POINT_MM = MM_PER_INCH / 72
OBJECT = re.compile(rb"(\d+) 0 obj\s(.*?)\sendobj", re.DOTALL)
STREAM = re.compile(rb"stream\r?\n(.*?)endstream", re.DOTALL)
WORDS = re.compile(rb"\((?:\\.|[^\\()])*\)|<[0-9A-Fa-f]*>")
# Kinds of lines by what they look like: colour and width, as nothing else on a sheet.
KINDS = {
    (*(round(part, 3) for part in kind.rgb), kind.width_mm): kind.name for kind in (CUT, NET, ARROW)
}
ALIKE_SHARE = 1e-3  # pieces whose areas differ by less may be printed once
TIP_MM = 1.0  # a tip that reaches so far over the edge has no sheet of its own
WINDOW_MM = 0.05  # what lies so near the edge of a sheet may be cut off by rounding


def check_paper(content: bytes, plan: TilePlan, patterns: Sequence[Pattern]) -> None:
    """Compare every sheet with the part of the patterns it is to show; alike ones share paper.

    Raises
    ------
    SolveError : naming the sheet and the piece
    """
    areas = [one.pattern.cut.area for group in plan.groups for one in group.placed]
    for pattern in patterns:
        if not np.isclose(areas, pattern.cut.area, rtol=ALIKE_SHARE).any():
            raise failed("templates.pdf", f"no sheet shows '{pattern.id}'")
    pages = list(_pages(content))
    sheets = pages[len(pages) - plan.sheets :]  # the map comes first
    if len(sheets) < plan.sheets:
        raise failed("templates.pdf", f"it holds {len(pages)} pages, {plan.sheets} were meant")
    rest = iter(sheets)
    for group in plan.groups:
        pieces = [
            meant(one.pattern, laid(one.x_mm, one.y_mm, one.turn_deg)) for one in group.placed
        ]
        _check_all_is_shown(group, pieces)
        for tile in group.tiles:
            lines = (_on_plan(line, plan, tile) for line in _lines(next(rest)))
            name = f"templates.pdf, sheet {group.name_of(tile)}"
            _check_sheet(FileLines(name, lines), pieces, tile, group.tile_mm)


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
    for piece in pieces:
        seen = Meant(
            name=piece.name,
            rings=tuple(
                tuple(_dense(ring, tile, size_mm) for ring in some) for some in piece.rings
            ),
            arrow=None
            if piece.arrow is None or not _in_window(piece.arrow, tile, size_mm).all()
            else piece.arrow,
        )
        fault = file.fault(seen, middles=False)
        if fault:
            raise failed(file.name, fault)
    file.check_nothing_else(pieces)


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


def _on_plan(line: ReadLine, plan: TilePlan, tile: Tile) -> ReadLine:
    """Return a line of a page where the plan of all sheets has it."""
    page = plan.page
    scale = np.array([page.scale_x, page.scale_y])
    corner = np.array([page.margin_mm, page.margin_mm + FOOTER_MM / page.scale_y])
    points = (line.points[:, :2] - corner) * scale + [tile.x_mm, tile.y_mm]
    rows = np.column_stack([points, np.zeros(len(points))])
    return ReadLine(layer=line.layer, closed=line.closed, points=rows)


def _pages(content: bytes) -> Iterator[bytes]:
    """Yield the operators of each page. Source: the PDF reference, 3.6.2: /Kids, /Contents."""
    objects = {int(number): body for number, body in OBJECT.findall(content)}
    tree = next(body for body in objects.values() if b"/Type /Pages" in body)
    for number in re.findall(rb"(\d+) 0 R", re.findall(rb"/Kids \[(.*?)\]", tree, re.DOTALL)[0]):
        of_page = re.findall(rb"/Contents (\d+) 0 R", objects[int(number)])
        packed = STREAM.findall(objects[int(of_page[0])])[0].strip()
        yield zlib.decompress(base64.a85decode(packed.removesuffix(b"~>")))


def _lines(operators: bytes) -> Iterator[ReadLine]:
    """Yield the cut, net and arrow lines of a page, in mm on the paper."""
    matrix, width = np.eye(3), 1.0
    colour: tuple[float, ...] = (0.0, 0.0, 0.0)
    kept: list[tuple[Floats, tuple[float, ...], float]] = []
    given: list[float] = []
    path: list[tuple[list[list[float]], bool]] = []
    for word in WORDS.sub(b"0", operators).split():
        try:
            given.append(float(word))
            continue
        except ValueError:
            pass
        if word == b"q":
            kept.append((matrix, colour, width))
        elif word == b"Q":
            matrix, colour, width = kept.pop()
        elif word == b"cm":
            a, b, c, d, e, f = given[-6:]
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif word == b"RG":
            colour = tuple(round(part, 3) for part in given[-3:])
        elif word == b"w":
            width = given[-1]
        elif word == b"m":
            path.append(([given[-2:]], False))
        elif word == b"l":
            path[-1][0].append(given[-2:])
        elif word == b"h":
            path[-1] = (path[-1][0], True)
        elif word in (b"S", b"s", b"n", b"f", b"f*", b"B", b"B*"):
            layer = KINDS.get((*colour, width))
            if word in (b"S", b"s", b"B", b"B*") and layer:
                yield from (_on_page(points, closed, layer, matrix) for points, closed in path)
            path = []
        given = []


def _on_page(points: list[list[float]], closed: bool, layer: str, matrix: Floats) -> ReadLine:
    rows = np.column_stack([points, np.ones(len(points))]) @ matrix * POINT_MM
    rows[:, 2] = 0
    return ReadLine(layer=layer, closed=closed, points=rows)
