"""What is measured on each paper sheet: a 100 mm square, or a scale each way where none is free."""

from __future__ import annotations

from collections.abc import Sequence

from ..arrays import Floats
from .canvas import SOFT, Canvas, Colour
from .pattern_drawing import CHECK_MM
from .quiet import Box, Quiet

SQUARE: Colour = (0.62, 0.64, 0.67)
BESIDE_MM, LOW_MM, HIGH_MM = 3.0, 1.5, 6.5  # what a scale takes beside its ends, and of its line


class Check:
    """The square or the two scales of one sheet: where they are, and what the footer calls them."""

    def __init__(self, quiet: Quiet, marks: Sequence[Floats]) -> None:
        """Look for the places; `marks` (2,) mm are the middles of the seams' diamonds."""
        self.square = quiet.square(CHECK_MM)
        self.scales: list[Box] = []
        if self.square is not None:
            x, y = self.square
            self.taken: list[Box] = [(x, y, x + CHECK_MM, y + CHECK_MM)]
            self.rule = "Measure the square: 100 mm both ways"
            return
        across = (CHECK_MM + 2 * BESIDE_MM, LOW_MM + HIGH_MM)
        level = quiet.strip(across, BESIDE_MM, marks, ())
        upright = quiet.strip((across[1], across[0]), BESIDE_MM, marks, (level,))
        self.scales = self.taken = [level, upright]
        self.rule = "Measure the two scales: 100 mm each"

    def draw(self, canvas: Canvas) -> None:
        """Draw the square, pale, or the scales, darker: these may cross a line of the drawing."""
        if self.square is not None:
            _square(canvas, *self.square)
            return
        (left, bottom, *_), (_, low, right, _) = self.scales
        x, y = left + BESIDE_MM, bottom + LOW_MM
        canvas.line([(x, y), (x + CHECK_MM, y)], SOFT, 0.2)
        for tick in range(0, 101, 10):
            canvas.line([(x + tick, y), (x + tick, y + _tick(tick))], SOFT, 0.15)
        _words(canvas, x + 25, y + 3.2, 0.0)
        x, y = right - LOW_MM, low + BESIDE_MM
        canvas.line([(x, y), (x, y + CHECK_MM)], SOFT, 0.2)
        for tick in range(0, 101, 10):
            canvas.line([(x, y + tick), (x - _tick(tick), y + tick)], SOFT, 0.15)
        _words(canvas, x - 3.2, y + 25, 90.0)


def _tick(at: int) -> float:
    return 5.0 if at % 100 == 0 else 3.0 if at % 50 == 0 else 1.5


def _words(canvas: Canvas, x: float, y: float, turn_deg: float) -> None:
    canvas.text(x, y, "100 mm", 1.8, SOFT, anchor="centre", turn_deg=turn_deg)


def _square(canvas: Canvas, x: float, y: float) -> None:
    size = CHECK_MM
    canvas.box(x, y, size, size, colour=SQUARE, line=0.15)
    for tick in range(10, 100, 10):
        length = 3.0 if tick == 50 else 1.5
        canvas.line([(x + tick, y), (x + tick, y + length)], SQUARE, 0.15)
        canvas.line([(x, y + tick), (x + length, y + tick)], SQUARE, 0.15)
    canvas.text(x + size / 2, y + 4.5, "100 mm", 1.8, SQUARE, anchor="middle")
    canvas.text(x + 6.3, y + size / 2, "100 mm", 1.8, SQUARE, anchor="middle", turn_deg=90)
