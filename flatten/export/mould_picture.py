"""The mould on the lay-up sheet: shaded, plies tinted, tack point, 0 degrees, edge names."""

from __future__ import annotations

import numpy as np
from PIL import Image
from reportlab.lib.utils import ImageReader

from ..arrays import Bools, Floats, Ints
from ..surface.edges import Edges
from .canvas import INK, WHITE, Canvas
from .layers import ARROW, TACK
from .layup_facts import MouldPicture
from .render import Picture, render, visible
from .viewpoint import SLACK, viewpoint

PIXELS_PER_MM = 6.0  # 150 dpi: smooth on paper, small in the file
BARE, FIRST, LAST = (0.87, 0.87, 0.85), (0.62, 0.80, 0.80), (0.28, 0.58, 0.63)
OUTLINE = (0.05, 0.27, 0.36)
LABEL_MM = 2.85
NAMED_AT_DEG = (142.0, 56.0, 322.0, 236.0, 160.0, 40.0)  # seen from the middle of the picture


def draw_mould(
    canvas: Canvas, mould: MouldPicture, x: float, y: float, width: float, height: float
) -> None:
    """Draw the mould into the box with its left lower corner at (x, y), mm."""
    edge = 9.0  # for names outside the shape
    room = (width - 2 * edge, height - 2 * edge)
    axes = viewpoint(mould)
    pixels = tuple(max(int(side * PIXELS_PER_MM), 8) for side in room)
    picture = render(mould.vertices, mould.faces, _colours(mould), axes, pixels[0], pixels[1])
    with canvas.placed(x + edge, y + edge):
        _place_image(canvas, picture, room)
        pen = _Pen(canvas, picture, room[0] / pixels[0], float(np.ptp(mould.vertices)) * SLACK)
        _outlines(pen, mould)
        _zero_arrow(pen, mould)
        _tack(pen, mould)
        _edge_names(pen, mould)


class _Pen:
    """Draws lines given on the mould; parts behind it are left out."""

    def __init__(self, canvas: Canvas, picture: Picture, mm: float, slack: float) -> None:
        self.canvas, self.picture, self.mm, self.slack = canvas, picture, mm, slack

    def at(self, points: Floats) -> Floats:
        """Return (k, 2) the places on the paper."""
        seen: Floats = self.picture.view.project(points)[:, :2] * self.mm
        return seen

    def line(self, points: Floats, colour: tuple[float, float, float], width: float) -> None:
        """Draw a polyline on the mould where it is seen."""
        middle = (points[1:] + points[:-1]) / 2
        shown: Bools = visible(self.picture, middle, self.slack)
        seen = self.at(points)
        start = 0
        while start < len(shown):
            if not shown[start]:
                start += 1
                continue
            end = start
            while end < len(shown) and shown[end]:
                end += 1
            self.canvas.line(seen[start : end + 1], colour, width)
            start = end


def _colours(mould: MouldPicture) -> Floats:
    """Return (m, 3): bare mould grey, deeper with every ply over it."""
    count = np.zeros(len(mould.faces))
    for region in mould.regions:
        count[region.faces] += max(region.plies.count(",") + 1, 1)
    share = (count / max(count.max(), 1))[:, None]
    tint = np.array(FIRST) * (1 - share) + np.array(LAST) * share
    colours: Floats = np.where(count[:, None] > 0, tint, np.array(BARE))
    return colours


def _place_image(canvas: Canvas, picture: Picture, room: tuple[float, float]) -> None:
    rgba = np.dstack([picture.rgb, picture.alpha])
    image = Image.fromarray((rgba * 255 + 0.5).astype(np.uint8), "RGBA")
    canvas.pdf.drawImage(ImageReader(image), 0, 0, room[0], room[1], mask="auto")


def _outlines(pen: _Pen, mould: MouldPicture) -> None:
    """Draw the edge of every region and name its plies beside it."""
    names = []
    for number, region in enumerate(mould.regions):
        faces = np.asarray(mould.faces)[region.faces]
        edges = Edges(faces)
        for start, end in edges.vertices[edges.boundary]:
            pen.line(_between(mould.vertices, start, end), OUTLINE, 0.45)
        names.append((region.plies, *_name_point(pen, mould, faces, edges, number)))
    for plies, at, up in names:
        words = f"ply {plies}" if "," not in plies else f"plies {plies}"
        x, y = at[0], at[1] + 4.0 * up
        pen.canvas.line([tuple(at), (x, y)], OUTLINE, 0.25)
        _tag(pen.canvas, x, y + 2.5 * up, words)


def _between(vertices: Floats, start: int, end: int, steps: int = 3) -> Floats:
    share = np.linspace(0, 1, steps + 1)[:, None]
    line: Floats = vertices[start] * (1 - share) + vertices[end] * share
    return line


def _name_point(
    pen: _Pen, mould: MouldPicture, faces: Ints, edges: Edges, number: int
) -> tuple[Floats, float]:
    """Return the point of the region's edge that carries its name, and whether it goes up (1).

    Each region takes another one, between the letters of the edges.
    """
    used = np.unique(edges.vertices[edges.boundary]) if edges.boundary.any() else np.unique(faces)
    seen = pen.at(mould.vertices[used])
    angle = np.radians(NAMED_AT_DEG[number % len(NAMED_AT_DEG)])
    towards = seen @ np.array([np.cos(angle), np.sin(angle)])
    point: Floats = seen[int(towards.argmax())]
    return point, float(np.sign(np.sin(angle)))


def _tag(canvas: Canvas, x: float, y: float, words: str) -> None:
    from .fonts import width_mm

    wide = width_mm(words, LABEL_MM, bold=True) + 3.0
    canvas.box(x - wide / 2, y - 2.6, wide, 5.2, line=0.2, colour=OUTLINE, fill=WHITE)
    canvas.text(x, y, words, LABEL_MM, OUTLINE, bold=True, anchor="centre")


def _zero_arrow(pen: _Pen, mould: MouldPicture) -> None:
    """Draw the 0-degree arrow from the tack point, laid on the picture."""
    if mould.tack is None:
        return
    reach = 0.22 * float(np.ptp(mould.vertices, axis=0).max())
    zero = mould.zero if mould.tack_zero is None else mould.tack_zero
    tail, head = pen.at(np.array([mould.tack, mould.tack + zero * reach]))
    along = (head - tail) / max(float(np.linalg.norm(head - tail)), 1e-9)
    left = np.array([-along[1], along[0]])
    barb = head - along * 3.6
    for colour, width in ((WHITE, 1.6), (ARROW.rgb, 0.7)):
        pen.canvas.line([tuple(tail), tuple(barb)], colour, width)
    corners = [tuple(head), tuple(barb + left * 1.5), tuple(barb - left * 1.5)]
    pen.canvas.line(corners, WHITE, 0.5, closed=True, fill=ARROW.rgb)
    at = head + along * 2.0
    _halo(pen.canvas, float(at[0]), float(at[1]), "0°", ARROW.rgb, anchor="left")


def _tack(pen: _Pen, mould: MouldPicture) -> None:
    if mould.tack is None:
        return
    (x, y), r = pen.at(mould.tack[None])[0], 3.0
    for colour, width in ((WHITE, 1.6), (TACK.rgb, 0.7)):
        pen.canvas.line([(x - r, y), (x + r, y)], colour, width)
        pen.canvas.line([(x, y - r), (x, y + r)], colour, width)
    turns = np.linspace(0, 2 * np.pi, 25)[:-1]
    ring = np.column_stack([x + 1.7 * np.cos(turns), y + 1.7 * np.sin(turns)])
    pen.canvas.line(ring, TACK.rgb, 0.6, closed=True)
    _halo(pen.canvas, x - 2.5, y - 6.4, "tack", TACK.rgb, anchor="right")


def _edge_names(pen: _Pen, mould: MouldPicture) -> None:
    """Write each edge's letter just outside the point it is named at."""
    if not mould.edges:
        return
    middle = pen.at(np.array([point for _, point in mould.edges])).mean(axis=0)
    for name, point in mould.edges:
        at = pen.at(np.asarray(point, float)[None])[0]
        away = at - middle
        away = away / max(float(np.linalg.norm(away)), 1e-9)
        x, y = at + away * 5.0
        turns = np.linspace(0, 2 * np.pi, 33)[:-1]
        disc = np.column_stack([x + 3.0 * np.cos(turns), y + 3.0 * np.sin(turns)])
        pen.canvas.line([tuple(at), (x, y)], INK, 0.3)
        pen.canvas.line(disc, INK, 0.3, closed=True, fill=WHITE)
        pen.canvas.text(x, y, name, 2.85, INK, bold=True, anchor="centre")


def _halo(
    canvas: Canvas, x: float, y: float, words: str, colour: tuple[float, float, float], anchor: str
) -> None:
    """Write a word with a white edge, readable on any ground."""
    for dx, dy in ((-0.35, 0), (0.35, 0), (0, -0.35), (0, 0.35), (-0.25, -0.25), (0.25, 0.25)):
        canvas.text(x + dx, y + dy, words, LABEL_MM, WHITE, bold=True, anchor=anchor)  # type: ignore[arg-type]
    canvas.text(x, y, words, LABEL_MM, colour, bold=True, anchor=anchor)  # type: ignore[arg-type]
