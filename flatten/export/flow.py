"""Blocks one below the other on as many pages as they need, with a foot on each."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass

from .canvas import ACCENT, INK, PALE, SOFT, Canvas

Draw = Callable[[float, float], None]  # left edge, top edge of the block, mm
FOOT_MM = 8.0
BODY, HEAD = 2.85, 3.5  # heights of capitals: 11.3 and 13.9 point type
STEP = 5.2  # base line to base line of body text, mm


@dataclass(frozen=True, slots=True)
class Sizes:
    """How large things are: the mould's picture, a pattern's, a row of the stack (heights)."""

    mould_mm: float
    pattern_mm: float
    row_mm: float


class Flow:
    """Fills pages from the top; a block that does not fit starts a new page."""

    def __init__(
        self,
        canvas: Canvas,
        size_mm: tuple[float, float],
        margin_mm: float,
        foot: str,
        *,
        pages: int,
        sizes: Sizes,
    ) -> None:
        """Start the first page; `pages` 0 only counts them and draws nothing."""
        self.canvas, self.size, self.margin = canvas, size_mm, margin_mm
        self.width = size_mm[0] - 2 * margin_mm
        self.foot, self.pages, self.number = foot, pages, 0
        self.sizes = sizes
        self._open = ExitStack()
        self.y = 0.0
        self.new_page()

    @property
    def left_mm(self) -> float:
        """Room left on this page."""
        return self.y - self.margin - FOOT_MM

    def new_page(self) -> None:
        """Close this page and start the next."""
        self._open.close()
        self.number += 1
        self._open.enter_context(self.canvas.page(*self.size))
        self.y = self.size[1] - self.margin
        self._foot()

    def block(self, height: float, draw: Draw) -> None:
        """Draw a block of this height here or, where it does not fit, on the next page."""
        if height > self.left_mm and self.y < self.size[1] - self.margin - 1:
            self.new_page()
        if self.pages:
            draw(self.margin, self.y)
        self.y -= height

    def gap(self, height: float) -> None:
        """Leave room, but not at the top of a page."""
        if self.y < self.size[1] - self.margin - 1:
            self.y -= min(height, max(self.left_mm, 0.0))

    def heading(self, words: str, keep_mm: float) -> None:
        """Draw a heading that stays with the next `keep_mm` of what follows."""
        self.gap(5.0)
        if 9.0 + keep_mm > self.left_mm:
            self.new_page()

        def draw(x: float, y: float) -> None:
            self.canvas.text(x, y - HEAD - 0.5, words, HEAD, ACCENT, bold=True)
            self.canvas.line([(x, y - 6.3), (x + self.width, y - 6.3)], ACCENT, 0.3)

        self.block(9.0, draw)

    def close(self) -> int:
        """Finish the last page; return how many there are."""
        self._open.close()
        return self.number

    def _foot(self) -> None:
        y, left, right = self.margin, self.margin, self.margin + self.width
        self.canvas.line([(left, y + 4.6), (right, y + 4.6)], PALE, 0.2)
        count = f"page {self.number} of {self.pages}"
        wide = self.canvas.text(right, y, count, BODY, INK, bold=True, anchor="right")
        self.canvas.text(left, y, self.foot, BODY, SOFT, most=self.width - wide - 6)
