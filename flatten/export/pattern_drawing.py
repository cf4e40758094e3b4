"""Patterns and nests as drawings: every piece with its marks, a title and a check square."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely import Polygon

from ..arrays import Floats
from ..errors import InputError
from ..pattern.pattern import Mark, Notch, Pattern
from .arcs import with_arcs
from .drawing import Drawing, Line, Text, rotation, together
from .layers import ARROW, CHECK, CUT, LAYERS, NET, NOTCH, TACK, TEXT

BETWEEN_MM = 25.0  # pieces in the pattern drawing: far enough that notch tabs never meet
LINE_STEP = 1.7  # base line to base line, in capital heights
NUMBER_MM = 4.0  # height of a notch number
TACK_MM = 8.0  # radius of the tack cross
CHECK_MM = 100.0


def patterns_drawing(patterns: Sequence[Pattern], *, arcs: bool = False) -> Drawing:
    """Return all pieces side by side, none overlapping, over a title and a 100 mm check square.

    Parameters
    ----------
    arcs : replace chords on one circle by arcs; the outline stays within 0.002 mm

    Raises
    ------
    InputError : no pattern
    """
    if not patterns:
        raise InputError("There is no pattern to draw.", "Flatten a ply first.")
    pieces = [pattern_drawing(pattern, arcs=arcs) for pattern in patterns]
    placed = _in_rows(pieces)
    title = _title_block(patterns)
    _, _, _, top = title.bounds()
    raised = [piece.moved(0, top + 2 * BETWEEN_MM) for piece in placed]
    return together(f"{patterns[0].part}: patterns", [title, *raised])


def pattern_drawing(pattern: Pattern, *, arcs: bool = False) -> Drawing:
    """Return one piece where it lies in its own coordinates, warp along +x."""
    lines = [*_rings(pattern.cut, CUT.name, pattern.id), *_rings(pattern.net, NET.name, pattern.id)]
    if arcs:
        lines = [with_arcs(line) for line in lines]
    texts: list[Text] = []
    for notch in pattern.notches:
        lines += _notch_lines(notch, pattern.id)
        texts.append(_notch_number(notch, pattern.id))
    for mark in pattern.marks:
        texts += mark_texts(mark, pattern.id)
        lines += mark_lines(mark, pattern.id)
    if pattern.arrow is not None:
        lines += arrow_lines(pattern.arrow, pattern.id)
    if pattern.tack is not None:
        lines += tack_lines(pattern.tack, pattern.id)
    return Drawing(
        title=f"{pattern.part}: {pattern.title}",
        layers=LAYERS,
        lines=tuple(lines),
        texts=tuple(texts),
        pieces=((pattern.id, pattern.title),),
    )


def check_square(at: Floats, *, note: bool = True) -> Drawing:
    """Return a 100 mm square with its left lower corner at `at`, its sides named."""
    size, ticks = CHECK_MM, np.arange(10, 100, 10.0)
    square = np.array([[0, 0], [size, 0], [size, size], [0, size]]) + at
    lines = [Line(layer=CHECK.name, points=square, closed=True)]
    for tick in ticks:
        length = 4.0 if tick == 50 else 2.0
        lines += [
            Line(layer=CHECK.name, points=np.array([[tick, 0], [tick, length]]) + at),
            Line(layer=CHECK.name, points=np.array([[0, tick], [length, tick]]) + at),
        ]
    middle = at + size / 2
    texts = [
        Text(layer=CHECK.name, text="100 mm", at=middle - [0, 40], height_mm=4),
        Text(layer=CHECK.name, text="100 mm", at=middle - [40, 0], height_mm=4, turn_deg=90),
    ]
    if note:
        texts += [
            Text(layer=CHECK.name, text="check square", at=middle + [0, 5], height_mm=5),
            Text(layer=CHECK.name, text="all lengths in mm", at=middle - [0, 5], height_mm=4),
        ]
    return Drawing(title="", layers=LAYERS, lines=tuple(lines), texts=tuple(texts))


def mark_texts(mark: Mark, piece: str) -> list[Text]:
    """Return the lines of a mark, one below the other around its middle."""
    down = rotation(mark.turn_deg) @ np.array([0.0, -1.0])
    first = -(len(mark.lines) - 1) / 2
    return [
        Text(
            layer=TEXT.name,
            text=words,
            at=mark.at + down * ((first + i) * LINE_STEP * mark.height_mm),
            height_mm=mark.height_mm,
            turn_deg=mark.turn_deg,
            piece=piece,
        )
        for i, words in enumerate(mark.lines)
    ]


def mark_lines(mark: Mark, piece: str) -> list[Line]:
    """Return what is drawn for a mark besides its words: a ring where a dart ends."""
    if mark.kind != "dart_end":
        return []
    return [_ring(mark.at, mark.height_mm / 2, NOTCH.name, piece)]


def arrow_lines(arrow: Floats, piece: str) -> list[Line]:
    """Return the warp arrow, tail and head (2, 2) mm: shaft, head, and a bar across its tail."""
    tail, head = arrow
    along = (head - tail) / max(float(np.linalg.norm(head - tail)), 1e-9)
    left = np.array([-along[1], along[0]])
    size = min(0.12 * float(np.linalg.norm(head - tail)), 9.0)
    barb = head - along * size
    point = np.array([head, barb + left * size * 0.38, barb - left * size * 0.38])
    return [
        Line(layer=ARROW.name, points=np.array([tail, barb]), piece=piece),
        Line(layer=ARROW.name, points=point, closed=True, piece=piece),
        Line(
            layer=ARROW.name,
            points=np.array([tail + left * size * 0.3, tail - left * size * 0.3]),
            piece=piece,
        ),
    ]


def tack_lines(at: Floats, piece: str) -> list[Line]:
    """Return the tack cross: a ring (two half circles) and a cross through it."""
    reach, ring = TACK_MM, TACK_MM * 0.55
    return [
        _ring(at, ring, TACK.name, piece),
        Line(layer=TACK.name, points=at + [[-reach, 0.0], [reach, 0.0]], piece=piece),
        Line(layer=TACK.name, points=at + [[0.0, -reach], [0.0, reach]], piece=piece),
    ]


def _ring(at: Floats, radius_mm: float, layer: str, piece: str) -> Line:
    """Return a circle as two half arcs."""
    ends = at + [[-radius_mm, 0.0], [radius_mm, 0.0]]
    return Line(layer=layer, points=ends, bulge=np.ones(2), closed=True, piece=piece)


def _rings(shape: Polygon, layer: str, piece: str) -> list[Line]:
    return [
        Line(layer=layer, points=np.array(ring.coords)[:-1, :2], closed=True, piece=piece)
        for ring in (shape.exterior, *shape.interiors)
    ]


def _notch_lines(notch: Notch, piece: str) -> list[Line]:
    """Return a mark from the cut line inwards; a tab is part of the cut line itself."""
    out, length = notch.outward, notch.length_mm
    if notch.style == "tab":
        return []
    ends = np.array([notch.at, notch.at - out * length])
    return [Line(layer=NOTCH.name, points=ends, piece=piece)]


def _notch_number(notch: Notch, piece: str) -> Text:
    at = notch.at - notch.outward * ((notch.length_mm if notch.style == "mark" else 0) + NUMBER_MM)
    return Text(
        layer=NOTCH.name, text=str(notch.number), at=at, height_mm=NUMBER_MM * 0.8, piece=piece
    )


def _in_rows(pieces: Sequence[Drawing]) -> list[Drawing]:
    """Return the pieces in rows from the top down, each row as high as its highest."""
    boxes = [piece.bounds() for piece in pieces]
    area = sum((b[2] - b[0] + BETWEEN_MM) * (b[3] - b[1] + BETWEEN_MM) for b in boxes)
    widest = max(max(b[2] - b[0] for b in boxes), 1.4 * float(np.sqrt(area)))
    placed, x, y, row = [], 0.0, 0.0, 0.0
    for piece, (left, bottom, right, top) in zip(pieces, boxes, strict=True):
        if x > 0 and x + right - left > widest:
            x, y, row = 0.0, y - row - BETWEEN_MM, 0.0
        placed.append(piece.moved(x - left, y - top))
        x += right - left + BETWEEN_MM
        row = max(row, top - bottom)
    lowest = row - y
    return [piece.moved(0.0, lowest) for piece in placed]


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _title_block(patterns: Sequence[Pattern]) -> Drawing:
    """Return the check square at the origin and, beside it, what the drawing holds."""
    cloths = dict.fromkeys(pattern.fabric_name for pattern in patterns)
    count = sum(pattern.count for pattern in patterns)
    rows = [
        (patterns[0].part, 12.0),
        (f"{_counted(len(patterns), 'pattern')}, {_counted(count, 'piece')} to cut", 6.0),
        (f"cloth: {', '.join(cloths)}", 6.0),
        ("all lengths in mm, warp along x", 6.0),
        ("seen looking into the mould", 6.0),
    ]
    y, texts = CHECK_MM, []
    for words, height in rows:
        y -= height
        at = np.array([CHECK_MM + BETWEEN_MM, y])
        texts.append(Text(layer=TEXT.name, text=words, at=at, height_mm=height, anchor="left"))
        y -= height * 1.1
    square = check_square(np.zeros(2))
    return replace(square, texts=(*square.texts, *texts))
