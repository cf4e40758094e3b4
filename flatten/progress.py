"""How long work tells how far it is and hears that it should stop."""

from __future__ import annotations

from collections.abc import Callable

# Called with the share done (0..1) and what is being done. May raise errors.Cancelled.
Progress = Callable[[float, str], None]


def silent(share: float, what: str) -> None:
    """Show nothing, never stop."""


def part_of(progress: Progress, start: float, end: float) -> Progress:
    """Return a progress whose 0..1 is the stretch from `start` to `end` of `progress`."""

    def scaled(share: float, what: str) -> None:
        progress(start + (end - start) * min(max(share, 0.0), 1.0), what)

    return scaled
