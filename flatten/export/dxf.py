"""DXF: Drawing -> the bytes of a file a cutter reads. The only place that knows ezdxf."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

import numpy as np

from ..errors import InputError
from .common_lines import common_lines_once
from .drawing import Drawing, Layer, Line, Text
from .pen_order import in_pen_order
from .strokes import text_as_strokes as strokes_for_text
from .transliterate import to_r12

Version = Literal["R2010", "R12"]
VERSIONS: tuple[Version, ...] = ("R2010", "R12")
MILLIMETRE = 4  # $INSUNITS, DXF reference
INK = 7  # black on a light screen, white on a dark one
DIGITS = 5  # 1e-5 mm: three digits cost a 30 mm hole 1e-5 of its area
FONT = "DejaVuSans.ttf"  # a free font many programs carry; others take their own instead


def dxf_bytes(
    drawing: Drawing,
    version: Version = "R2010",
    *,
    only_cut: bool = False,
    text_as_strokes: bool = False,
) -> bytes:
    """Return the drawing as a DXF file: mm, closed polylines, pen order, same bytes each time.

    Parameters
    ----------
    version : R2010 declares millimetres ($INSUNITS 4); R12 cannot, its text and its check
        square say so
    only_cut : the lines a knife follows and nothing else
    text_as_strokes : texts as polylines, for machines that draw no text

    Raises
    ------
    InputError : an unknown version; a text with letters R12 does not have (R12 takes Latin;
        Greek, Cyrillic and kana are transliterated, other letters refused)
    """
    if version not in VERSIONS:
        raise InputError(f"DXF version is '{version}'.", f"Use {' or '.join(VERSIONS)}.")
    if only_cut:
        drawing = drawing.only(layer.name for layer in drawing.layers if layer.cuts)
    if text_as_strokes:
        drawing = strokes_for_text(drawing)
    drawing = in_pen_order(common_lines_once(drawing))
    with _fixed_and_quiet():
        return _written(drawing, version)


def _written(drawing: Drawing, version: Version) -> bytes:
    from ezdxf.filemanagement import new

    modern = version != "R12"
    document: Any = new(version, units=MILLIMETRE if modern else 0)
    if modern:
        document.header["$INSUNITS"] = MILLIMETRE
        document.header["$LUNITS"] = 2  # decimal
    document.header["$MEASUREMENT"] = 1  # metric
    for layer in drawing.layers:
        _add_layer(document, layer, modern=modern)
    if modern:
        document.styles.get("Standard").dxf.font = FONT
    space = document.modelspace()
    for line in drawing.lines:
        _add_line(space, line, modern=modern)
    for text in drawing.texts:
        _add_text(space, text, modern=modern)
    left, bottom, right, top = drawing.bounds()
    document.header["$EXTMIN"] = (round(left, DIGITS), round(bottom, DIGITS), 0.0)
    document.header["$EXTMAX"] = (round(right, DIGITS), round(top, DIGITS), 0.0)
    if modern:  # the library takes them from a set: in another order in another process
        document.classes.add_required_classes(document.dxfversion)
        document.classes.classes = dict(sorted(document.classes.classes.items()))
    stream = io.StringIO()
    document.write(stream)
    text_bytes: bytes = document.encode(stream.getvalue())
    return text_bytes


def _add_layer(document: Any, layer: Layer, *, modern: bool) -> None:
    attributes: dict[str, Any] = {"color": _index(layer.rgb)}
    if layer.dash_mm:
        name = f"{layer.name}_DASH"
        total = sum(layer.dash_mm)
        signs = [length if i % 2 == 0 else -length for i, length in enumerate(layer.dash_mm)]
        document.linetypes.add(name, [total, *signs], description=layer.title)
        attributes["linetype"] = name
    entry = document.layers.add(layer.name, **attributes)
    if modern:
        if attributes["color"] != INK:
            entry.rgb = tuple(round(255 * part) for part in layer.rgb)
        entry.dxf.lineweight = min(_WEIGHTS, key=lambda w: abs(w - 100 * layer.width_mm))
        entry.description = layer.title


def _add_line(space: Any, line: Line, *, modern: bool) -> None:
    points = np.round(line.points, DIGITS) + 0.0  # no minus zero
    bulge = np.zeros(len(points)) if line.bulge is None else line.bulge
    rows = [(float(x), float(y), float(b)) for (x, y), b in zip(points, bulge, strict=True)]
    add = space.add_lwpolyline if modern else space.add_polyline2d
    add(rows, format="xyb", close=line.closed, dxfattribs={"layer": line.layer})


def _add_text(space: Any, text: Text, *, modern: bool) -> None:
    from ezdxf.enums import TextEntityAlignment

    words = _escaped(text.text if modern else to_r12(text.text))
    entity = space.add_text(
        words,
        height=round(text.height_mm, DIGITS),
        rotation=round(text.turn_deg % 360, DIGITS),
        dxfattribs={"layer": text.layer},
    )
    middle = text.anchor == "middle"
    align = TextEntityAlignment.MIDDLE_CENTER if middle else TextEntityAlignment.LEFT
    x, y = np.round(text.at, DIGITS) + 0.0
    entity.set_placement((float(x), float(y)), align=align)


def _escaped(words: str) -> str:
    """Return the text without codes: DXF reads meanings into ^, %% and the sign for numbers."""
    return words.replace("^", "^ ").replace("%%", "% %").replace("\\U+", "\\ U+")


def _index(rgb: tuple[float, float, float]) -> int:
    """Return the nearest of the nine basic colour numbers of DXF."""
    basic = {1: (1, 0, 0), 3: (0, 0.5, 0.3), 5: (0, 0.2, 0.8), INK: (0, 0, 0), 8: (0.5, 0.5, 0.5)}
    basic[30] = (0.9, 0.5, 0.0)
    return min(basic, key=lambda i: sum((a - b) ** 2 for a, b in zip(rgb, basic[i], strict=True)))


# the line widths DXF knows, in 1/100 mm (group 370)
_WEIGHTS = (13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70, 80, 90, 100)


@contextmanager
def _fixed_and_quiet() -> Iterator[None]:
    """Keep dates and random ids out of the file: ezdxf has one switch for it, set and reset.

    Its logger is kept from warning at every R12 file that R12 declares no units.
    """
    from ezdxf._options import options

    logger = logging.getLogger("ezdxf")
    before, level = options.write_fixed_meta_data_for_testing, logger.level
    options.write_fixed_meta_data_for_testing = True
    logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before
        logger.setLevel(level)
