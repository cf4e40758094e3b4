"""A table with a heading, rows that never break, and a head that repeats on the next page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from .canvas import INK, PALE, SOFT, WASH, WHITE, Canvas, wrapped
from .flow import BODY, STEP, Flow

PAD_MM, LEAST = 1.6, 2.8

Cell = tuple[list[str], int]  # its lines, and from which on they are set softer


@dataclass(frozen=True, slots=True)
class Column:
    """One column; `width_mm` 0 takes what the others leave."""

    title: str
    width_mm: float
    kind: Literal["left", "middle", "right", "blank", "tick"] = "left"
    bold: bool = False


def table(
    flow: Flow,
    title: str,
    columns: Sequence[Column],
    rows: Sequence[Sequence[Sequence[str]]],
    *,
    row_mm: float,
) -> None:
    """Draw the rows; each cell a few lines, the first of the widest column bold."""
    rest = flow.width - sum(column.width_mm for column in columns)
    columns = [replace(c, width_mm=c.width_mm or rest) for c in columns]
    flow.heading(title, _head_height(columns) + row_mm)
    flow.block(_head_height(columns), lambda x, y: _head(flow.canvas, columns, x, y))
    for row in rows:
        cells = [
            (_cell_lines(column, cell), _soft_from(column, cell))
            for column, cell in zip(columns, row, strict=True)
        ]
        height = max(row_mm, max(len(lines) for lines, _ in cells) * STEP + 0.9)
        if height > flow.left_mm:
            flow.new_page()
            flow.block(_head_height(columns), lambda x, y: _head(flow.canvas, columns, x, y))

        def draw(x: float, y: float, cells: Sequence[Cell] = cells, height: float = height) -> None:
            _row(flow.canvas, columns, cells, x, y, height)

        flow.block(height, draw)


def _cell_lines(column: Column, cell: Sequence[str]) -> list[str]:
    """Return the lines of a cell, wrapped to two lines a text at most."""
    room = column.width_mm - 2 * PAD_MM
    lines: list[str] = []
    for words in cell:
        parts = wrapped(words, BODY, room, bold=column.bold) if words else []
        lines += parts if len(parts) <= 2 else [parts[0], " ".join(parts[1:])]
    return lines


def _soft_from(column: Column, cell: Sequence[str]) -> int:
    """Return the first line of the cell's second text: it is set softer."""
    return len(_cell_lines(column, cell[:1])) if len(cell) > 1 else 99


def _head_lines(column: Column) -> list[str]:
    return wrapped(column.title, LEAST, column.width_mm - PAD_MM) if column.title else []


def _head_height(columns: Sequence[Column]) -> float:
    return 2.4 + 4.6 * max(len(_head_lines(column)) for column in columns)


def _head(canvas: Canvas, columns: Sequence[Column], x: float, y: float) -> None:
    height = _head_height(columns)
    whole = sum(column.width_mm for column in columns)
    canvas.box(x, y - height, whole, height, line=0, fill=WASH)
    for column in columns:
        lines = _head_lines(column)
        first = y - height / 2 + 2.3 * (len(lines) - 1)
        for i, words in enumerate(lines):
            left, anchor = _anchor(column, x)
            canvas.text(left, first - 4.6 * i - LEAST / 2, words, LEAST, SOFT, anchor=anchor)
        x += column.width_mm


def _row(
    canvas: Canvas,
    columns: Sequence[Column],
    cells: Sequence[Cell],
    x: float,
    y: float,
    height: float,
) -> None:
    right = x + sum(column.width_mm for column in columns)
    canvas.line([(x, y - height), (right, y - height)], PALE, 0.2)
    for column, (lines, soft_from) in zip(columns, cells, strict=True):
        if column.kind == "tick":
            canvas.box(x + 0.6, y - height / 2 - 2.75, 5.5, 5.5, line=0.35, fill=WHITE)
        elif column.kind == "blank":
            low = y - height + 2.2
            canvas.line([(x + 1.2, low), (x + column.width_mm - 1.2, low)], SOFT, 0.2)
        first = y - height / 2 + STEP / 2 * (len(lines) - 1) - BODY / 2
        for i, words in enumerate(lines):
            left, anchor = _anchor(column, x)
            named = i < soft_from < 99
            room = column.width_mm - 2 * PAD_MM + 1.0
            canvas.text(
                left, first - STEP * i, words, BODY, SOFT if i >= soft_from else INK,
                bold=column.bold or named, anchor=anchor, most=room,
            )  # fmt: skip
        x += column.width_mm


def _anchor(column: Column, x: float) -> tuple[float, Literal["left", "middle", "right"]]:
    if column.kind in ("middle", "blank"):
        return x + column.width_mm / 2, "middle"
    if column.kind == "right":
        return x + column.width_mm - PAD_MM, "right"
    return x + PAD_MM, "left"
