"""The mould on the lay-up sheet: draft in colours, what was found, ways to print it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PIL import Image
from reportlab.lib.utils import ImageReader

from ..arrays import Floats
from .canvas import INK, SOFT, WHITE, Canvas, wrapped
from .flow import BODY, STEP, Flow
from .layup_facts import BuildRow, LayupSheet, MouldCheck, MouldPicture
from .render import render
from .sheet_table import Column, table
from .viewpoint import viewpoint

PICTURE_MM = (82.0, 62.0)
PIXELS_PER_MM = 6.0
NAME_MM = 29.0  # column of the facts' names
AMPLE_DEG = 15.0  # draft from which on a part drops out of the mould

Colour = tuple[float, float, float]
BARE: Colour = (0.87, 0.87, 0.85)
UNDERCUT: Colour = (0.74, 0.28, 0.16)
LOW: Colour = (0.93, 0.68, 0.34)
FAIR: Colour = (0.66, 0.83, 0.83)
AMPLE: Colour = (0.30, 0.58, 0.64)


def mould_check(flow: Flow, sheet: LayupSheet) -> None:
    """The mould's own section: a map, the facts beside it, and how it could be printed."""
    check, picture = sheet.mould_check, sheet.mould
    if check is None:
        return
    beside = picture is not None
    left = PICTURE_MM[0] + 5.0 if beside else 0.0
    lines = [
        (name, wrapped(words, BODY, flow.width - left - NAME_MM)) for name, words in check.facts
    ]
    facts_mm = sum(STEP * len(words) + 0.8 for _, words in lines)
    height = max(facts_mm, PICTURE_MM[1] + 13.0 if beside else 0.0) + 2.0
    flow.heading("The mould, as it was checked", height)

    def draw(x: float, y: float) -> None:
        if picture is not None:
            _map(flow.canvas, picture, check, x, y - PICTURE_MM[1])
            _key(flow.canvas, check, x, y - PICTURE_MM[1] - 4.0)
        _facts(flow.canvas, lines, x + left, y)

    flow.block(height, draw)
    if check.builds:
        _builds(flow, check.builds)


def _facts(canvas: Canvas, lines: Sequence[tuple[str, Sequence[str]]], x: float, y: float) -> None:
    for name, words in lines:
        canvas.text(x, y - 3.6, name, BODY, SOFT, most=NAME_MM - 1)
        for line in words:
            canvas.text(x + NAME_MM, y - 3.6, line, BODY, INK)
            y -= STEP
        y -= 0.8


def _map(canvas: Canvas, mould: MouldPicture, check: MouldCheck, x: float, y: float) -> None:
    axes = viewpoint(mould)
    pixels = tuple(int(side * PIXELS_PER_MM) for side in PICTURE_MM)
    picture = render(mould.vertices, mould.faces, _colours(check), axes, pixels[0], pixels[1])
    rgba = np.dstack([picture.rgb, picture.alpha])
    image = Image.fromarray((rgba * 255 + 0.5).astype(np.uint8), "RGBA")
    with canvas.placed(x, y):
        canvas.pdf.drawImage(ImageReader(image), 0, 0, *PICTURE_MM, mask="auto")
        placed: list[tuple[float, float]] = []
        for number, point in check.spots:
            at = picture.view.project(point[None])[0, :2] / PIXELS_PER_MM
            _spot(canvas, number, (float(at[0]), float(at[1])), placed)


def _spot(
    canvas: Canvas, number: str, at: tuple[float, float], placed: list[tuple[float, float]]
) -> None:
    """Write a corner's number on a white disc; one that would lie on another is left to it."""
    if any(np.hypot(at[0] - x, at[1] - y) < 5.4 for x, y in placed):
        return
    placed.append(at)
    turns = np.linspace(0, 2 * np.pi, 33)[:-1]
    disc = np.column_stack([at[0] + 2.6 * np.cos(turns), at[1] + 2.6 * np.sin(turns)])
    canvas.line(disc, INK, 0.25, closed=True, fill=WHITE)
    canvas.text(at[0], at[1], number, BODY, INK, bold=True, anchor="centre")


def _colours(check: MouldCheck) -> Floats:
    """Return (m, 3): bare mould grey, the lay-up by its draft."""
    draft = check.draft_deg
    colours = np.tile(np.array(BARE), (len(draft), 1))
    colours[draft >= AMPLE_DEG] = AMPLE
    colours[draft < AMPLE_DEG] = FAIR
    colours[draft < check.limit_deg - 0.05] = LOW
    colours[draft < -0.01] = UNDERCUT
    return colours


def _key(canvas: Canvas, check: MouldCheck, x: float, y: float) -> None:
    limit = f"{check.limit_deg:g}°"
    ample = max(AMPLE_DEG, check.limit_deg)
    steps = (
        ((UNDERCUT, "undercut"), (LOW, f"draft under {limit}")),
        ((FAIR, f"{limit} to {ample:g}°"), (AMPLE, f"{ample:g}° and more")),
    )
    for row, pair in enumerate(steps):
        for column, (colour, words) in enumerate(pair):
            left, top = x + 40.0 * column, y - 5.0 * row
            canvas.box(left, top - 3.4, 4.6, 3.6, line=0.15, colour=SOFT, fill=colour)
            canvas.text(left + 6.4, top - 3.1, words, BODY, INK)


def _builds(flow: Flow, builds: Sequence[BuildRow]) -> None:
    columns = (
        Column("printed with this side up", 0, bold=True), Column("grip µm", 20.0, "right"),
        Column("to support cm²", 32.0, "right"), Column("of it on the lay-up cm²", 44.0, "right"),
        Column("height mm", 24.0, "right"),
    )  # fmt: skip
    rows = [
        [
            (f"{row.upwards}, as set" if row.now else row.upwards,), (f"{row.grip_um:.0f}",),
            (f"{row.support_cm2:.0f}",), (f"{row.support_on_layup_cm2:.0f}",),
            (f"{row.height_mm:.0f}",),
        ]
        for row in builds
    ]  # fmt: skip
    table(flow, "If it is printed: layer lines grip, supports scar", columns, rows, row_mm=7.0)
