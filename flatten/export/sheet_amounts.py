"""Laminate code, coats, time and cost on the lay-up sheet."""

from __future__ import annotations

from .flow import Flow
from .layup_facts import LayupSheet
from .sheet_parts import paragraph
from .sheet_table import Column, table


def code(flow: Flow, sheet: LayupSheet) -> None:
    """The laminate code, below the stack it is of."""
    if sheet.parts > 1:
        flow.gap(1.5)
        paragraph(flow, f"{sheet.parts} kits are cut; all amounts here are for one part.")
    if not sheet.code:
        return
    marks = [
        words
        for mark, words in (("f", "f woven"), ("M", "M mat"), ("~", "~ laid once in the middle"))
        if mark in sheet.code
    ]
    last = {"T": "T the whole stack", "s": "s and its mirror image"}.get(sheet.code[-1], "")
    flow.gap(1.5)
    paragraph(flow, f"Laminate code {sheet.code}: {', '.join(filter(None, [*marks, last]))}.")


def coats(flow: Flow, sheet: LayupSheet) -> None:
    """The coats without cloth, pot by pot, each with its own hardener."""
    if not sheet.coats:
        return
    columns = (
        Column("", 8.5, "tick"), Column("coat", 0, bold=True), Column("thick", 22.0, "right"),
        Column("pot", 12.0, "middle"), Column("resin g", 22.0, "right"),
        Column("hardener g", 26.0, "right"), Column("mixed at", 24.0, "blank"),
    )  # fmt: skip
    rows = [
        [
            (), (coat.kind,), (coat.thickness,), (str(pot.number),), (f"{pot.resin_g:.1f}",),
            (f"{pot.hardener_g:.1f}",), (),
        ]
        for coat in sheet.coats
        for pot in coat.pots
    ]  # fmt: skip
    title = "Coats, weighed: gel coat before ply 1, the others after the last"
    table(flow, title, columns, rows, row_mm=9.5)


def estimate(flow: Flow, sheet: LayupSheet) -> None:
    """Time and cost of one part, in a few sentences."""
    if not sheet.estimate:
        return
    flow.heading("Time and cost of one part, an estimate", 10)
    for words in sheet.estimate:
        paragraph(flow, words)
