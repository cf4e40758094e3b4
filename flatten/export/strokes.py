"""Texts as lines, for machines that draw no text: single strokes, or hollow letters."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from typing import Any

import numpy as np

from ..arrays import Floats
from .drawing import Drawing, Line, Text, rotation
from .fonts import CAPITAL, FILES, FOLDER, runs
from .stroke_font import CAPITAL_UNITS, GAP, glyph

CURVE_STEPS = 5  # chords for one curve of a hollow letter: within 0.05 mm at 10 mm height
_SMALL_TOP = 4.0  # units: accents are drawn for small letters and lifted for capitals
_DOTLESS = {"i": "ı", "j": "ȷ"}

Shape = tuple[list[Floats], float]  # strokes (k, 2) and advance, in capital heights


def text_as_strokes(drawing: Drawing) -> Drawing:
    """Return the drawing with every text turned into polylines on its own layer.

    Latin text is drawn in single strokes; a text with a letter outside our stroke font (Greek,
    Cyrillic, Japanese, ...) is drawn as hollow letters of the fonts we carry.
    """
    hollow = _HollowLetters()
    lines = [line for text in drawing.texts for line in text_lines(text, hollow)]
    return replace(drawing, lines=(*drawing.lines, *lines), texts=())


def text_lines(text: Text, hollow: _HollowLetters | None = None) -> list[Line]:
    """Return the polylines of one text, mm, placed as the text is."""
    strokes, width = _shape(text.text, hollow or _HollowLetters())
    origin = np.array([width / 2, 0.5]) if text.anchor == "middle" else np.zeros(2)
    turn = rotation(text.turn_deg)
    return [
        Line(
            layer=text.layer,
            points=((stroke - origin) * text.height_mm) @ turn.T + text.at,
            piece=text.piece,
        )
        for stroke in strokes
    ]


def _shape(text: str, hollow: _HollowLetters) -> Shape:
    """Return the strokes of a whole text and its width, in capital heights."""
    shapes = [_strokes(char) for char in text]
    drawn = [
        hollow.of(char) if None in shapes else shape
        for char, shape in zip(text, shapes, strict=True)
    ]
    placed: list[Floats] = []
    x = 0.0
    for strokes, advance in (shape for shape in drawn if shape is not None):
        placed += [stroke + [x, 0.0] for stroke in strokes]
        x += advance
    gap = 0.0 if None in shapes else GAP / CAPITAL_UNITS  # hollow letters bring their own
    return placed, max(x - gap, 0.0)


def _strokes(char: str) -> Shape | None:
    """Return the single strokes of a letter; accents are set on its base letter."""
    own = glyph(char)
    if own is None:
        letters = list(unicodedata.normalize("NFD", char))
        base, accents = letters[0], letters[1:]
        own = glyph(_DOTLESS.get(base, base)) if accents else None
        marks = [(accent, glyph(accent)) for accent in accents]
        if own is None or any(mark is None for _, mark in marks):
            return None
        top = max((y for stroke in own[1] for _, y in stroke), default=0.0)
        for accent, mark in marks:
            if mark is not None:
                lift = max(top - _SMALL_TOP, 0.0) if unicodedata.combining(accent) == 230 else 0.0
                shift = (own[0] - mark[0]) / 2
                moved = tuple(tuple((x + shift, y + lift) for x, y in s) for s in mark[1])
                own = (own[0], own[1] + moved)
    strokes = [np.array(stroke) / CAPITAL_UNITS for stroke in own[1]]
    return strokes, (own[0] + GAP) / CAPITAL_UNITS


class _HollowLetters:
    """Outlines of the letters of our free fonts, read on first need."""

    def __init__(self) -> None:
        self._fonts: dict[str, tuple[Any, dict[int, str], float]] = {}

    def of(self, char: str) -> Shape:
        """Return the contours of a letter and its advance, in capital heights."""
        name, shown = runs(char)[0]
        glyphs, name_of, unit = self._font(name)
        outline = glyphs[name_of[ord(shown)]]
        return _contours(glyphs, outline, 1 / (unit * CAPITAL)), outline.width / (unit * CAPITAL)

    def _font(self, name: str) -> tuple[Any, dict[int, str], float]:
        if name not in self._fonts:
            from fontTools.ttLib import TTFont

            font = TTFont(FOLDER / FILES[name])
            unit = float(font["head"].unitsPerEm)
            self._fonts[name] = (font.getGlyphSet(), font.getBestCmap(), unit)
        return self._fonts[name]


def _contours(glyphs: Any, outline: Any, scale: float) -> list[Floats]:
    """Return the closed contours (k, 2) of a letter, curves as chords."""
    from fontTools.pens.basePen import decomposeQuadraticSegment
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    pen = DecomposingRecordingPen(glyphs)
    outline.draw(pen)
    contours: list[list[Floats]] = []
    t = (np.arange(1, CURVE_STEPS + 1) / CURVE_STEPS)[:, None]
    for step, points in pen.value:
        if step == "moveTo":
            contours.append([np.array(points[0], float)])
        elif step == "lineTo":
            contours[-1].append(np.array(points[0], float))
        elif step == "qCurveTo":
            for control, end in decomposeQuadraticSegment(points):
                start = contours[-1][-1]
                curve = (1 - t) ** 2 * start + 2 * t * (1 - t) * np.array(control)
                contours[-1].extend(curve + t**2 * np.array(end))
        elif step == "closePath":
            contours[-1].append(contours[-1][0])
    return [np.array(contour) * scale for contour in contours if len(contour) > 1]
