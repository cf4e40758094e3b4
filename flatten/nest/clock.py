"""The time a search has, and whether it should stop: asked often, answered once."""

from __future__ import annotations

import time
from collections.abc import Callable

from ..progress import Progress, silent

Stop = Callable[[], bool]


def never() -> bool:
    """Let the search have all its time."""
    return False


class Clock:
    """Seconds for a piece of work; parts of it are clocks of their own."""

    def __init__(self, seconds: float, progress: Progress = silent, stop: Stop = never) -> None:
        """Start now."""
        self._starts = time.monotonic()
        self._ends = self._starts + seconds
        self._progress = progress
        self._stop = stop
        self._whole: Clock | None = None
        self._stopped = False

    def part(self, share: float) -> Clock:
        """Return a clock for this share of the time that is left."""
        part = Clock(share * self.left)
        part._whole = self
        return part

    @property
    def left(self) -> float:
        """Seconds left, at least 0."""
        return max(0.0, self._ends - time.monotonic())

    @property
    def late(self) -> float:
        """Seconds past the end, at least 0."""
        return max(0.0, time.monotonic() - self._ends)

    @property
    def overdue(self) -> float:
        """Seconds past the end of the whole work this is a part of, at least 0."""
        return self._whole.overdue if self._whole else self.late

    @property
    def stopped(self) -> bool:
        """Whether the user asked to stop."""
        return self._whole.stopped if self._whole else self._stopped

    @property
    def over(self) -> bool:
        """Whether to end: the time is up or the user stopped it."""
        return self.stopped or self.left <= 0

    def look(self, what: str) -> bool:
        """Show what is being done and ask whether to stop; return whether to go on."""
        if self._whole:
            self._whole.look(what)
            return not self.over
        spent = time.monotonic() - self._starts
        self._progress(min(spent / max(self._ends - self._starts, 1e-9), 1.0), what)
        self._stopped = self._stopped or self._stop()
        return not self.over
