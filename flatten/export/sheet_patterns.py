"""The patterns on the lay-up sheet: a card for each, small, its shear in colours."""

from __future__ import annotations

from collections.abc import Sequence

from ..pattern.pattern import Pattern
from .canvas import INK, PALE, SOFT, WARN, WHITE, Canvas
from .flow import BODY, Flow
from .layup_facts import LayupSheet
from .pattern_picture import bias_zones, draw_pattern, draw_shear_key


def patterns(flow: Flow, sheet: LayupSheet) -> None:
    """Each pattern small, its shear in colours."""
    if not sheet.patterns:
        return
    columns = 2 if len(sheet.patterns) in (1, 2, 4) else 3
    gap, height = 5.0, flow.sizes.pattern_mm * (1.0 if columns == 2 else 0.86)
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
    angle = f"{pattern.angle_deg:+g}°" if pattern.angle_deg else "0°"
    facts = f"{angle}, cut {pattern.count}, {pattern.fabric_name}"
    canvas.text(x + 3.5, top - 11.2, facts, 2.8, SOFT, most=width - 7)
    zones = bias_zones(pattern)
    note, colour = _shear_note(pattern, len(zones))
    canvas.text(x + 3.5, y + 3.0, note, 2.8, colour, most=width - 7)
    foot = 8.0 if note else 3.5
    size = (width - 7, height - 14.5 - foot)
    draw_pattern(canvas, pattern, zones, (x + 3.5, y + foot), size)


def _shear_note(pattern: Pattern, zones: int) -> tuple[str, tuple[float, float, float]]:
    if pattern.shear is None or not len(pattern.shear.shear_deg):
        return "", INK
    most = float(abs(pattern.shear.shear_deg).max())
    words = f"largest shear {most:.0f}°"
    if pattern.shear.locked.any():
        return f"{words}: locks inside the red line", WARN
    return (f"{words}, {zones} zones to work" if zones > 1 else words), INK
