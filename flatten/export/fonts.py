"""The free fonts of our papers: which font holds which letter, and how wide a text is."""

from __future__ import annotations

from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from ..units import MM_PER_INCH, POINTS_PER_INCH

REGULAR, BOLD, JAPANESE = "BenchSans", "BenchSans-Bold", "BenchSansJP"
FOLDER = Path(__file__).with_name("fonts")
FILES = {
    REGULAR: "bench_sans_regular.ttf",
    BOLD: "bench_sans_bold.ttf",
    JAPANESE: "bench_sans_jp.ttf",
}
CAPITAL = 0.714  # height of a capital letter as a share of the type size, in these fonts
MM = POINTS_PER_INCH / MM_PER_INCH  # PDF points in a millimetre
MISSING = "\u25a1"  # drawn for a letter none of the fonts holds; the Japanese font has it


def font(name: str) -> TTFont:
    """Return the font, read on first need; reportlab keeps it."""
    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, FOLDER / FILES[name]))
    return pdfmetrics.getFont(name)


def runs(text: str, *, bold: bool = False) -> list[tuple[str, str]]:
    """Return the text cut into (font name, part): each part in a font that holds its letters.

    A letter that no font holds comes out as an empty box, never as nothing.
    """
    first = BOLD if bold else REGULAR
    glyphs = font(first).face.charToGlyph
    if text and all(ord(char) in glyphs for char in text):  # nearly always
        return [(first, text)]
    parts: list[tuple[str, str]] = []
    for char in text:
        name, shown = _font_of(char, first)
        if parts and parts[-1][0] == name:
            parts[-1] = (name, parts[-1][1] + shown)
        else:
            parts.append((name, shown))
    return parts


def missing(text: str) -> str:
    """Return the letters of the text that no font holds, each once."""
    return "".join(dict.fromkeys(char for char in text if _font_of(char, REGULAR)[1] != char))


def width_mm(text: str, capital_mm: float, *, bold: bool = False) -> float:
    """Return how wide one line of text is, set with capitals `capital_mm` high."""
    size = capital_mm / CAPITAL
    return float(sum(font(name).stringWidth(part, size) for name, part in runs(text, bold=bold)))


def _font_of(char: str, first: str) -> tuple[str, str]:
    code = ord(char)
    if code in font(first).face.charToGlyph:
        return first, char
    if code in font(JAPANESE).face.charToGlyph:
        return JAPANESE, char
    return JAPANESE, MISSING
