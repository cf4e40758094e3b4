"""Nest -> Drawing: every roll and offcut with the pieces where they are cut."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Floats
from ..errors import InputError
from ..nest.layout import Nest, Placement, Sheet
from ..pattern.pattern import Mark, Pattern
from .drawing import Drawing, Line, Text, together
from .layers import DEFECT, LAYERS, ROLL_EDGE, SELVEDGE, TEXT
from .pattern_drawing import (
    CHECK_MM,
    LINE_STEP,
    check_square,
    mark_lines,
    mark_texts,
    pattern_drawing,
)

BETWEEN_MM = 120.0  # one sheet and the next
TITLE_MM = 14.0
SMALLEST_MM = 3.0  # of letters still read on a full-size drawing
OVERHANG_MM = 60.0  # the roll goes on past the cut across it


def roll_drawing(nest: Nest, patterns: Sequence[Pattern], *, arcs: bool = False) -> Drawing:
    """Return the cloth with all pieces laid on it, true size: x along the roll from its free end.

    Sheets stand one above the other, the first at the origin: a cutter set to its corner cuts
    it as it is drawn. Title and check square stand to the left of the free end, off the cloth.

    Raises
    ------
    InputError : the nest holds a piece that is not among the patterns
    """
    by_id = {pattern.id: pattern for pattern in patterns}
    kits = 1 + max((p.kit for sheet in nest.sheets for p in sheet.placements), default=1) - 1
    drawings, bottom = [], 0.0
    for sheet in nest.sheets:
        drawings.append(sheet_drawing(sheet, by_id, kits=kits, arcs=arcs).moved(0.0, bottom))
        bottom += sheet.width_mm + BETWEEN_MM
    part = patterns[0].part if patterns else ""
    names = {pattern.fabric: pattern.fabric_name for pattern in patterns}
    cloth = names.get(nest.fabric, nest.fabric)
    drawings.append(_title(part, cloth))
    return together(f"{part}: {cloth}", drawings)


def rolls_drawing(
    nests: Iterable[Nest], patterns: Sequence[Pattern], *, arcs: bool = False
) -> Drawing:
    """Return the rolls of all cloths, one above the other, the first at the origin.

    Raises
    ------
    InputError : no nest, or one of other patterns
    """
    placed: list[Drawing] = []
    bottom = 0.0
    for nest in nests:
        drawing = roll_drawing(nest, patterns, arcs=arcs)
        placed.append(drawing.moved(0.0, bottom))
        bottom += drawing.bounds()[3] + BETWEEN_MM
    if not placed:
        raise InputError("There is no roll to draw.", "Nest first.")
    part = patterns[0].part if patterns else ""
    return together(f"{part}: rolls", placed)


def sheet_drawing(
    sheet: Sheet, patterns: Mapping[str, Pattern], *, kits: int = 1, arcs: bool = False
) -> Drawing:
    """Return one roll or offcut with its pieces, its corner at the origin.

    Raises
    ------
    InputError : a piece lies on it whose pattern is not among `patterns`
    """
    drawings = [_cloth(sheet)]
    for number, placement in enumerate(sheet.placements, start=1):
        if placement.piece not in patterns:
            raise InputError(
                f"The nest holds the piece '{placement.piece}', which is not among the patterns.",
                "Nest again.",
            )
        drawings.append(_placed(patterns[placement.piece], placement, number, kits, arcs=arcs))
    return together(sheet.stock_id, drawings)


def _title(part: str, cloth: str) -> Drawing:
    """Return part, cloth and check square, to the left of the roll's free end."""
    left = -CHECK_MM - BETWEEN_MM
    square = check_square(np.array([left, 0.0]))
    texts = [
        Text(
            layer=TEXT.name,
            text=words,
            at=np.array([left, CHECK_MM + y]),
            height_mm=height,
            anchor="left",
        )
        for words, height, y in ((part, 12.0, 34.0), (cloth, 7.0, 18.0))
    ]
    return replace(square, texts=(*square.texts, *texts))


def _placed(
    pattern: Pattern, placement: Placement, number: int, kits: int, *, arcs: bool
) -> Drawing:
    """Return a piece where it lies; its texts upright, its kit and hand written on it."""
    notes = [f"kit {placement.kit}"] * (kits > 1) + [placement.note] * bool(placement.note)
    own = f"{pattern.id}.{number}"  # copies are pieces of their own: each is cut in one go
    drawing = pattern_drawing(replace(pattern, marks=()), arcs=arcs).moved(
        placement.x_mm, placement.y_mm, placement.angle_deg, mirrored=placement.mirrored
    )
    marks = [_laid(_noted(mark, notes), placement) for mark in pattern.marks]
    numbers = [replace(text, piece=own, turn_deg=0.0) for text in drawing.texts]  # of notches
    return replace(
        drawing,
        lines=(
            *(replace(line, piece=own) for line in drawing.lines),
            *(line for mark in marks for line in mark_lines(mark, own)),
        ),
        texts=(*numbers, *(text for mark in marks for text in mark_texts(mark, own))),
        pieces=((own, pattern.title),),
    )


def _laid(mark: Mark, placement: Placement) -> Mark:
    """Return a mark where it lies on the cloth, turned by half a turn where it stood on its head.

    A mark of a mirrored piece moves with it, but is read as it is written.
    """
    a, b, d, e, x, y = placement.matrix
    at = np.array([[a, b], [d, e]]) @ mark.at + [x, y]
    turn = (-mark.turn_deg if placement.mirrored else mark.turn_deg) + placement.angle_deg
    on_its_head = 90.001 < turn % 360 <= 270.001
    return replace(mark, at=at, turn_deg=turn + 180.0 * on_its_head)


def _noted(mark: Mark, notes: Sequence[str]) -> Mark:
    """Return the label with a line more, set smaller so that it keeps its box."""
    if mark.kind != "label" or not notes:
        return mark
    count = len(mark.lines)
    step = (LINE_STEP * (count - 1) + 1.3) / (LINE_STEP * count + 1.3)
    words = (*mark.lines, " ".join(notes))
    widest = max(len(line) for line in mark.lines)
    share = min(step, widest / max(len(words[-1]), 1))
    return replace(mark, lines=words, height_mm=mark.height_mm * share)


def _cloth(sheet: Sheet) -> Drawing:
    outline = np.array(sheet.outline)
    length, width = outline.max(axis=0)
    lines = [Line(layer=ROLL_EDGE.name, points=outline, closed=True)]
    if sheet.kind == "roll":
        for y in (0.0, width):
            ends = np.array([[length, y], [length + OVERHANG_MM, y]])
            lines.append(Line(layer=ROLL_EDGE.name, points=ends))
        for y in (sheet.selvedge_mm, width - sheet.selvedge_mm):
            if sheet.selvedge_mm > 0:
                ends = np.array([[0.0, y], [length, y]])
                lines.append(Line(layer=SELVEDGE.name, points=ends))
    for _, x0, y0, x1, y1 in sheet.kept:
        box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        lines.append(Line(layer=SELVEDGE.name, points=box, closed=True))
    lines += [
        Line(layer=DEFECT.name, points=_circle(x, y, radius), closed=True)
        for x, y, radius in sheet.flaws
    ]
    used = "used" if sheet.kind == "roll" else "long"
    kind = "" if sheet.kind == "roll" else "offcut "
    rows = (
        (f"{kind}{sheet.stock_id}", TITLE_MM, 2.2),
        (f"{width:.0f} mm wide, {length:.0f} mm {used}, warp along x", TITLE_MM * 0.6, 0.8),
    )
    texts = [
        Text(
            layer=TEXT.name,
            text=words,
            at=np.array([0.0, width + up * TITLE_MM]),
            height_mm=height,
            anchor="left",
        )
        for words, height, up in rows
    ]
    texts += [
        Text(
            layer=TEXT.name,
            text=f"offcut {name}",
            at=np.array([(x0 + x1) / 2, (y0 + y1) / 2]),
            height_mm=TITLE_MM * 0.7,
        )
        for name, x0, y0, x1, y1 in sheet.kept
    ]
    texts += [
        Text(
            layer=TEXT.name,
            text="flaw",
            at=np.array([x, y]),
            height_mm=min(TITLE_MM * 0.7, max(0.5 * radius, SMALLEST_MM)),
        )
        for x, y, radius in sheet.flaws
    ]
    return Drawing(title=sheet.stock_id, layers=LAYERS, lines=tuple(lines), texts=tuple(texts))


def _circle(x: float, y: float, radius: float) -> Floats:
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    return np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
