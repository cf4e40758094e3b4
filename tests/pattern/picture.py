"""Draws dressed patterns to a PNG, to be looked at by hand."""

import numpy as np
from pattern.pieces import mark_box
from PIL import Image, ImageDraw, ImageFont

INK = {
    "trim": "#222222",
    "hole": "#2060c0",
    "lap_over": "#c03030",
    "lap_under": "#d08020",
    "butt": "#208040",
}


def picture(patterns, path, *, dots=4.0, gap=20.0):
    """Write patterns side by side, `dots` pixels a mm; marks' boxes are drawn thin."""
    boxes = [np.array(p.cut.bounds) for p in patterns]
    width = sum(b[2] - b[0] + gap for b in boxes) + gap
    height = max(b[3] - b[1] for b in boxes) + 2 * gap
    image = Image.new("RGB", (int(width * dots), int(height * dots)), "white")
    draw, x = ImageDraw.Draw(image), gap
    for pattern, box in zip(patterns, boxes, strict=True):
        shift = np.array([x - box[0], gap - box[1]])
        _draw(draw, image, pattern, lambda p, s=shift: _pixels(p, s, height, dots), dots)
        x += box[2] - box[0] + gap
    image.save(path)


def _pixels(points, shift, height, dots):
    points = np.atleast_2d(points) + shift
    return [(float(a * dots), float((height - b) * dots)) for a, b in points[:, :2]]


def _draw(draw, image, pattern, to, dots):
    for ring in [pattern.cut.exterior, *pattern.cut.interiors]:
        draw.line(to(np.array(ring.coords)), fill="black", width=max(int(dots * 0.6), 2))
    for run in pattern.runs:
        draw.line(to(run.points), fill=INK[run.kind], width=max(int(dots * 0.3), 1))
    if pattern.arrow is not None:
        head = pattern.arrow[1]
        draw.line(to(pattern.arrow), fill="black", width=2)
        for side in (-1, 1):
            draw.line(to(np.array([head, head + [-6, 3 * side]])), fill="black", width=2)
    if pattern.tack is not None:
        for d in ([8, 0], [0, 8]):
            draw.line(to(np.array([pattern.tack - d, pattern.tack + d])), fill="#c000c0", width=2)
    for notch in pattern.notches:
        tick = notch.length_mm / 2 * notch.outward
        draw.line(to(np.array([notch.at - tick, notch.at + tick])), fill="red", width=2)
        font = ImageFont.load_default(4 * dots)
        at = to(notch.at + 8 * notch.outward)[0]
        draw.text(at, str(notch.number), fill="red", anchor="mm", font=font)
    for mark in pattern.marks:
        draw.line(to(np.array(mark_box(mark).exterior.coords)), fill="#bbbbbb")
        _text(image, to(mark.at)[0], mark, dots)


def _text(image, at, mark, dots):
    if not mark.lines:
        return
    font = ImageFont.load_default(mark.height_mm * dots / 0.72)
    layer = Image.new("L", image.size, 0)
    ImageDraw.Draw(layer).multiline_text(
        at,
        "\n".join(mark.lines),
        fill=255,
        anchor="mm",
        align="center",
        font=font,
        spacing=mark.height_mm * dots * 0.3,
    )
    turned = layer.rotate(mark.turn_deg, center=at)
    image.paste("black", mask=turned)
