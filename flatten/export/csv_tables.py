"""Cut list, stack and estimate as CSV, harmless to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

import numpy as np

from ..pattern.pattern import Pattern
from .drawing import one_line
from .layup_facts import StackRow

# A cell that starts like this is a formula to a spreadsheet: OWASP, "CSV Injection".
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")

Cell = str | int | float


def cut_list_csv(patterns: Sequence[Pattern], *, kits: int = 1, mirrored_kits: int = 0) -> bytes:
    """Return one row a pattern: what to cut, how often, from which cloth, its size and area.

    "in one kit" is the pattern's own count; "to cut" that of all kits, those of the other hand
    counted in and told beside it, as their pieces are cut mirrored.
    """
    head = (
        "piece", "part", "ply", "ply name", "cloth", "angle deg", "in one kit", "to cut",
        "of these other hand", "length mm", "width mm",
        "cut area mm2", "net area mm2", "largest shear deg", "side", "mirrored", "goes",
    )  # fmt: skip
    return _table(head, [_cut_row(pattern, kits, mirrored_kits) for pattern in patterns])


def stack_csv(rows: Sequence[StackRow]) -> bytes:
    """Return the stack in laying order."""
    head = ("ply", "name", "cloth", "angle", "pieces", "side", "cloth g", "resin g")
    return _table(head, [_stack_row(row) for row in rows])


def estimate_csv(rows: Iterable[tuple[str, float, str, float | None]], currency: str) -> bytes:
    """Return what one part uses, takes and costs: name, amount, unit, cost (None: no money)."""
    head = ("what", "amount", "unit", f"cost {one_line(currency)}".strip())
    return _table(
        head,
        [
            (name, round(amount, 3), unit, "" if cost is None else f"{cost:.2f}")
            for name, amount, unit, cost in rows
        ],
    )


def harmless(words: str) -> str:
    """Return the text so that no spreadsheet takes it for a formula; it stays readable."""
    line = one_line(words)
    return f"'{line}" if line.startswith(FORMULA_STARTS) else line


def _cut_row(pattern: Pattern, kits: int, mirrored_kits: int) -> tuple[Cell, ...]:
    left, bottom, right, top = pattern.cut.bounds
    shear = pattern.shear
    largest = float(np.abs(shear.shear_deg).max()) if shear is not None else 0.0
    return (
        pattern.id, pattern.part, pattern.ply_number, pattern.title, pattern.fabric_name,
        round(pattern.angle_deg, 3), pattern.count, pattern.count * (kits + mirrored_kits),
        pattern.count * mirrored_kits, round(right - left, 1), round(top - bottom, 1),
        round(pattern.cut.area, 1), round(pattern.net.area, 1), round(largest, 1),
        pattern.side_up, "yes" if pattern.mirrored else "no",
        pattern.where or f"ply {pattern.ply_number}",
    )  # fmt: skip


def _stack_row(row: StackRow) -> tuple[Cell, ...]:
    return (
        row.number, row.name, row.fabric, row.angle, row.pieces, row.side,
        round(row.cloth_g, 1), round(row.resin_g, 1),
    )  # fmt: skip


def _table(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """Return the table as UTF-8 with the mark spreadsheets look for, lines ended by CR LF."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow([harmless(cell) if isinstance(cell, str) else cell for cell in row])
    return stream.getvalue().encode("utf-8-sig")
