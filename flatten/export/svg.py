"""SVG: Drawing -> the bytes of a picture in true mm, for laser and vinyl cutters."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

import numpy as np

from ..arrays import Floats
from .common_lines import common_lines_once
from .drawing import Drawing, Layer, Line, Text, one_line
from .fonts import CAPITAL, width_mm
from .pen_order import in_pen_order

MARGIN_MM = 5.0
DIGITS = 4  # 1e-4 mm


def svg_bytes(drawing: Drawing, title: str = "") -> bytes:
    """Return the drawing as SVG: 1 unit is 1 mm; one group per layer, in it one per piece.

    The lines stand in pen order; texts are texts. The title and all names are escaped.
    """
    drawing = in_pen_order(common_lines_once(drawing))
    left, bottom, right, top = _box(drawing)
    width, height = right - left, top - bottom
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="0 0 {_n(width)} {_n(height)}">',
        f"<title>{escape(one_line(title) or drawing.title)}</title>",
    ]
    corner = np.array([left, top])
    for layer in sorted(drawing.layers, key=lambda layer: layer.pen):
        rows += _layer_rows(drawing, layer, corner)
    rows.append("</svg>\n")
    return "\n".join(rows).encode("utf-8")


def _layer_rows(drawing: Drawing, layer: Layer, corner: Floats) -> list[str]:
    lines = [line for line in drawing.lines if line.layer == layer.name]
    texts = [text for text in drawing.texts if text.layer == layer.name]
    if not lines and not texts:
        return []
    colour = "#" + "".join(f"{round(255 * part):02x}" for part in layer.rgb)
    dash = f' stroke-dasharray="{" ".join(map(_n, layer.dash_mm))}"' if layer.dash_mm else ""
    rows = [
        f'<g id="{layer.name}" fill="none" stroke="{colour}" '
        f'stroke-width="{_n(layer.width_mm)}"{dash}>',
        f"<title>{escape(layer.title)}</title>",
    ]
    titles = dict(drawing.pieces)
    pieces = [line.piece for line in lines] + [text.piece for text in texts]
    for piece in dict.fromkeys(pieces):
        name = one_line(titles.get(piece, piece))
        label = f" data-piece={quoteattr(one_line(piece))}" if piece else ""
        rows.append(f"<g{label}><title>{escape(name)}</title>" if name else f"<g{label}>")
        rows += [_path(line, corner) for line in lines if line.piece == piece]
        rows += [_text(text, corner, colour) for text in texts if text.piece == piece]
        rows.append("</g>")
    return [*rows, "</g>"]


def _path(line: Line, corner: Floats) -> str:
    points = (line.points - corner) * [1.0, -1.0]
    steps = [f"M{_pair(points[0])}"]
    count = len(points)
    for i in range(count if line.closed else count - 1):
        end = points[(i + 1) % count]
        bulge = 0.0 if line.bulge is None else float(line.bulge[i])
        if bulge:
            chord = float(np.linalg.norm(end - points[i]))
            radius = _n(chord * (1 + bulge**2) / (4 * abs(bulge)))
            large, sweep = int(abs(bulge) > 1), int(bulge < 0)
            steps.append(f"A{radius} {radius} 0 {large} {sweep} {_pair(end)}")
        elif i < count - 1:
            steps.append(f"L{_pair(end)}")
    return f'<path d="{" ".join(steps)}{" Z" if line.closed else ""}"/>'


def _text(text: Text, corner: Floats, colour: str) -> str:
    x, y = (text.at - corner) * [1.0, -1.0]
    size = text.height_mm / CAPITAL
    turn = f' transform="rotate({_n(-text.turn_deg)} {_n(x)} {_n(y)})"' if text.turn_deg else ""
    middle = text.anchor == "middle"
    shift = text.height_mm / 2 if middle else 0.0
    anchor = ' text-anchor="middle"' if middle else ""
    return (
        f'<text x="{_n(x)}" y="{_n(y + shift)}" font-size="{_n(size)}" '
        f'font-family="sans-serif" fill="{colour}" stroke="none"{anchor}{turn}>'
        f"{escape(text.text)}</text>"
    )


def _box(drawing: Drawing) -> tuple[float, float, float, float]:
    """Return the box around lines and texts, with a margin."""
    left, bottom, right, top = drawing.bounds()
    for text in drawing.texts:
        reach = width_mm(text.text, text.height_mm) * (0.5 if text.anchor == "middle" else 1.0)
        if text.turn_deg % 180 == 0:
            right = max(right, float(text.at[0]) + reach)
            left = min(left, float(text.at[0]) - (reach if text.anchor == "middle" else 0.0))
            top = max(top, float(text.at[1]) + 1.3 * text.height_mm)  # capitals with accents
            bottom = min(bottom, float(text.at[1]) - 0.8 * text.height_mm)
    return left - MARGIN_MM, bottom - MARGIN_MM, right + MARGIN_MM, top + MARGIN_MM


def _pair(point: Floats) -> str:
    return f"{_n(float(point[0]))} {_n(float(point[1]))}"


def _n(value: float) -> str:
    """Return the number with at most three digits, no exponent, no minus zero."""
    return f"{round(float(value), DIGITS) + 0.0:.{DIGITS}f}".rstrip("0").rstrip(".")
