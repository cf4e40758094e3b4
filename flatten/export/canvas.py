"""Drawing on PDF pages in mm, with texts in any script. Wraps reportlab's canvas."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Literal

from reportlab.pdfgen import canvas as reportlab_canvas

from ..arrays import Floats
from .drawing import one_line
from .fonts import CAPITAL, JAPANESE, MM, font, runs, width_mm

LONGEST_PARAGRAPH = 2000  # characters: a finding with its way out is below 600

Colour = tuple[float, float, float]
INK: Colour = (0.10, 0.11, 0.13)
SOFT: Colour = (0.42, 0.44, 0.47)
PALE: Colour = (0.80, 0.82, 0.84)
WASH: Colour = (0.945, 0.95, 0.955)
WHITE: Colour = (1.0, 1.0, 1.0)
ACCENT: Colour = (0.07, 0.33, 0.42)
WARN: Colour = (0.72, 0.20, 0.12)


class Canvas:
    """Pages in mm, origin at the left lower corner. Same calls, same bytes."""

    def __init__(self, title: str) -> None:
        self._stream = io.BytesIO()
        self.pdf: Any = reportlab_canvas.Canvas(
            self._stream, pageCompression=1, invariant=1, initialFontName=_plain_font()
        )
        self.pdf.setTitle(one_line(title))
        self.pdf.setCreator("mouldply")
        self.pdf.setAuthor("")
        self.pdf.setSubject("")

    @contextmanager
    def page(self, width_mm: float, height_mm: float) -> Iterator[None]:
        """Draw one page of this size."""
        self.pdf.setPageSize((width_mm * MM, height_mm * MM))
        self.pdf.saveState()
        self.pdf.scale(MM, MM)
        yield
        self.pdf.restoreState()
        self.pdf.showPage()

    @contextmanager
    def placed(
        self, x: float, y: float, scale_x: float = 1.0, scale_y: float = 1.0, turn_deg: float = 0.0
    ) -> Iterator[None]:
        """Draw in coordinates shifted, turned and scaled."""
        self.pdf.saveState()
        self.pdf.translate(x, y)
        if turn_deg:
            self.pdf.rotate(turn_deg)
        self.pdf.scale(scale_x, scale_y)
        yield
        self.pdf.restoreState()

    @contextmanager
    def clipped(self, x: float, y: float, width: float, height: float) -> Iterator[None]:
        """Draw only inside a box."""
        self.pdf.saveState()
        path = self.pdf.beginPath()
        path.rect(x, y, width, height)
        self.pdf.clipPath(path, stroke=0, fill=0)
        yield
        self.pdf.restoreState()

    def bytes(self) -> bytes:
        """Return the finished file."""
        self.pdf.save()
        return self._stream.getvalue()

    def line(
        self,
        points: Floats | Sequence[tuple[float, float]],
        colour: Colour = INK,
        width: float = 0.25,
        *,
        dash: Sequence[float] = (),
        closed: bool = False,
        fill: Colour | None = None,
    ) -> None:
        """Draw a polyline; `width` 0 draws no line."""
        pdf = self.pdf
        pdf.setLineWidth(width)
        pdf.setStrokeColorRGB(*colour)
        pdf.setLineJoin(1)
        pdf.setLineCap(1 if not dash else 0)
        pdf.setDash(list(dash) if dash else [])
        if fill is not None:
            pdf.setFillColorRGB(*fill)
        path = pdf.beginPath()
        path.moveTo(float(points[0][0]), float(points[0][1]))
        for x, y in points[1:]:
            path.lineTo(float(x), float(y))
        if closed:
            path.close()
        pdf.drawPath(path, stroke=int(width > 0), fill=int(fill is not None))

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        colour: Colour = INK,
        line: float = 0.25,
        fill: Colour | None = None,
        dash: Sequence[float] = (),
    ) -> None:
        """Draw a rectangle."""
        corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.line(corners, colour, line, dash=dash, closed=True, fill=fill)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        capital: float,
        colour: Colour = INK,
        *,
        bold: bool = False,
        anchor: Literal["left", "middle", "right", "centre"] = "left",
        turn_deg: float = 0.0,
        most: float | None = None,
    ) -> float:
        """Draw one line on its base line and return its width; `most` shortens it.

        `anchor` centre: (x, y) is the middle of the box of capitals.
        """
        words = one_line(words)
        if most is not None:
            words = shortened(words, capital, most, bold=bold)
        wide = width_mm(words, capital, bold=bold)
        pdf = self.pdf
        pdf.saveState()
        pdf.translate(x, y)
        if turn_deg:
            pdf.rotate(turn_deg)
        pdf.setLineWidth(0.03 * capital / CAPITAL)
        pdf.setDash([])
        start = {"left": 0.0, "right": -wide}.get(anchor, -wide / 2)
        drawn = pdf.beginText(start, -capital / 2 if anchor == "centre" else 0.0)
        drawn.setFillColorRGB(*colour)
        for name, part in runs(words, bold=bold):
            font(name)
            drawn.setFont(name, capital / CAPITAL)
            thick = bold and name == JAPANESE  # one weight is carried: its outline is drawn too
            drawn.setTextRenderMode(2 if thick else 0)
            if thick:
                drawn.setStrokeColorRGB(*colour)
            drawn.textOut(part)
        pdf.drawText(drawn)
        pdf.restoreState()
        return wide


def shortened(words: str, capital: float, most: float, *, bold: bool = False) -> str:
    """Return the words cut to a width in mm, the cut shown by an ellipsis."""
    if width_mm(words, capital, bold=bold) <= most:
        return words
    low, high = 0, len(words)
    while low < high:
        middle = (low + high + 1) // 2
        fits = width_mm(words[:middle].rstrip() + "…", capital, bold=bold) <= most
        low, high = (middle, high) if fits else (low, middle - 1)
    return words[:low].rstrip() + "…"


def wrapped(words: str, capital: float, most: float, *, bold: bool = False) -> list[str]:
    """Return the words as lines no wider than `most` mm; breaks at blanks, else anywhere."""
    lines: list[str] = []
    line = ""
    for word in one_line(words, LONGEST_PARAGRAPH).split(" "):
        trial = f"{line} {word}".strip()
        if width_mm(trial, capital, bold=bold) <= most:
            line = trial
            continue
        if line:
            lines.append(line)
        line = word
        while width_mm(line, capital, bold=bold) > most and len(line) > 1:
            cut = _that_fit(line, capital, most, bold=bold)
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line] if line or not lines else lines


def _that_fit(line: str, capital: float, most: float, *, bold: bool) -> int:
    """Return how many letters from the left are no wider than `most` mm together; at least one."""
    room = most
    for number, letter in enumerate(line[:-1]):
        room -= width_mm(letter, capital, bold=bold)
        if room < 0:
            return max(number, 1)
    return len(line) - 1


def _plain_font() -> str:
    return font("BenchSans").fontName  # type: ignore[no-any-return]
