"""The patterns on the lay-up sheet: a card for each, small, its shear in colours."""

from __future__ import annotations

from collections.abc import Sequence

from ..pattern.pattern import Pattern
from ..units import show_angle
from .canvas import INK, PALE, SOFT, WARN, WHITE, Canvas
from .flow import BODY, Flow
from .fonts import width_mm
from .layup_facts import LayupSheet
from .pattern_picture import bias_zones, draw_pattern, draw_shear_key


def patterns(flow: Flow, sheet: LayupSheet) -> None:
    """Each pattern small, its shear in colours."""
    if not sheet.patterns:
        return
    columns = _columns(len(sheet.patterns))
    gap, height = 5.0, flow.sizes.pattern_mm * {2: 1.0, 3: 0.86, 4: 0.72}[columns]
    width = (flow.width - gap * (columns - 1)) / columns
    flow.heading("Patterns, seen looking into the mould", height + 12)
    if any(pattern.shear is not None for pattern in sheet.patterns):
        flow.block(15.0, lambda x, y: _key(flow, x, y))
    for start in range(0, len(sheet.patterns), columns):
        row = sheet.patterns[start : start + columns]

        def draw(x: float, y: float, row: Sequence[Pattern] = row) -> None:
            for i, pattern in enumerate(row):
                _pattern_card(
                    flow.canvas, pattern, x + i * (width + gap), y - height, width, height
                )

        flow.block(height + gap, draw)


def _key(flow: Flow, x: float, y: float) -> None:
    draw_shear_key(flow.canvas, x, y - 5.0, 99.0)
    flow.canvas.text(x + 104, y - 4.6, "shear: blue opens, warm closes", BODY, INK)
    words = "double arrow: work the bias here, this way"
    flow.canvas.text(x + 104, y - 9.8, words, BODY, INK, most=flow.width - 104)


def _pattern_card(
    canvas: Canvas, pattern: Pattern, x: float, y: float, width: float, height: float
) -> None:
    canvas.box(x, y, width, height, colour=PALE, line=0.2, fill=WHITE)
    top = y + height
    canvas.text(x + 3.5, top - 6.0, pattern.title, BODY, INK, bold=True, most=width - 7)
    angle = show_angle(pattern.angle_deg)
    facts = f"{angle}, cut {pattern.count}, {pattern.fabric_name}"
    if width_mm(facts, 2.8) > width - 7:  # the cloth stands in the stack, too
        facts = f"{angle}, cut {pattern.count}"
    canvas.text(x + 3.5, top - 11.2, facts, 2.8, SOFT, most=width - 7)
    zones = bias_zones(pattern)
    notes, colour = _shear_notes(pattern, len(zones))
    fitting = [words for words in notes if width_mm(words, 2.8) <= width - 7]
    if fitting:
        canvas.text(x + 3.5, y + 3.0, fitting[0], 2.8, colour)
    foot = 8.0 if fitting else 3.5
    size = (width - 7, height - 14.5 - foot)
    draw_pattern(canvas, pattern, zones, (x + 3.5, y + foot), size)


def _columns(count: int) -> int:
    if count > 6:
        return 4
    return 2 if count in (1, 2, 4) else 3


def _shear_notes(
    pattern: Pattern, zones: int
) -> tuple[tuple[str, ...], tuple[float, float, float]]:
    """Return what is to be said of the shear, the fullest first, and its colour."""
    if pattern.shear is None or not len(pattern.shear.shear_deg):
        return (), INK
    most = f"{float(abs(pattern.shear.shear_deg).max()):.0f}°"
    if pattern.shear.locked.any():
        words = f"largest shear {most}: locks inside the red line"
        return (words, f"{most}: locks in the red line", f"{most}: locks"), WARN
    short = (f"largest shear {most}", f"shear to {most}")
    return ((f"{short[0]}, {zones} zones to work", *short) if zones > 1 else short), INK
