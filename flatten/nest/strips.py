"""One endless strip: the pieces searched together, or in chunks side by side where many."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import box

from .clock import Clock
from .fit import by_area, fill
from .frame import Frame
from .join import join
from .part import Part, Spot, reach
from .search import StripSearch, library_present
from .settings import NestSettings
from .shelf import Strip, shelve

LOOK_SECONDS = 0.05
WATCH_SECONDS = 1.0  # how often the best layout so far is shown
WHOLE_UP_TO = 150  # pieces; above, chunks are both better and faster (measured)
LONGEST_MM = 12_000.0  # of a chunk: in single precision a micron is left of a hundredth there
LOOSE = 0.7  # share of a strip that is surely filled
SIDE_BY_SIDE = 4  # chunks that are all searched at once, whatever the number of processes
FIRST_SHARE = 0.15  # of the time at most goes into a first layout of every chunk
LEAST_SECONDS = 0.5  # of search for a chunk
GRACE_SECONDS = 5.0  # past its time, while the library has not come up with anything

Watch = Callable[[Sequence[Part], Sequence[Spot], Strip], None]


@dataclass(slots=True)
class Chunk:
    """Some copies of the parts and the best layout they have so far."""

    counts: list[int]
    spots: list[Spot]
    length: float
    searched: bool = False


class StripLayer:
    """Lays copies of parts on a strip as well as it can in the time it is given."""

    def __init__(self, settings: NestSettings, watch: Watch | None = None) -> None:
        """Remember how the user wants it; `complaints` gathers what the library said."""
        self._settings = settings
        self._watch = watch
        self.complaints: list[str] = []
        self.chunks: list[Chunk] = []  # of the last strip
        self._found = False  # whether any strip has had a searched layout

    def lay(
        self,
        parts: Sequence[Part],
        counts: Sequence[int],
        strip: Strip,
        clock: Clock,
        *,
        enough: float = 0.0,
        trial: int = 0,
        frame: Frame | None = None,
    ) -> list[Spot]:
        """Return spots for all the copies, from x = 0; the strip's end is ignored.

        Of its flaws only the order of chunks takes notice. It always comes back with a complete
        layout, also when it is stopped at once. `enough`: a length at which the search may end
        early; `trial`: another number, another layout. `frame`: what stands still, known to the
        search unless the strip is cut into chunks; what it could not keep off it is left to the
        caller.
        """
        endless = Strip(low_y=strip.low_y, high_y=strip.high_y)
        gap = self._settings.gap_mm
        groups = _dealt(parts, counts, endless.height, self._settings.chunk)
        self.chunks = [_simple(parts, group, endless, gap) for group in groups]
        if library_present() and not (clock.overdue and self._found):
            seed = self._settings.seed + trial
            search = _Search(parts, self.chunks, endless, self._settings, seed, enough)
            if frame is not None and len(groups) == 1:
                search.frame, self.chunks[0].length = frame, math.inf  # any layout beats none
            if len(groups) > SIDE_BY_SIDE:
                search.run(clock, FIRST_SHARE, first=True, show=self._show)
            search.run(clock, 1.0, first=False, show=self._show)
            self.complaints += [c for c in search.complaints if c not in self.complaints]
            self._found = self._found or any(chunk.searched for chunk in self.chunks)
        if self.complaints or not library_present():
            for chunk in self.chunks:
                if not chunk.searched:
                    _lay_closer(parts, chunk, endless, gap, clock)
        return join(parts, [chunk.spots for chunk in self.chunks], endless, gap, strip.blocked)

    def _show(self, parts: Sequence[Part], strip: Strip) -> None:
        if self._watch is not None:
            layouts = [chunk.spots for chunk in self.chunks]
            self._watch(parts, join(parts, layouts, strip, self._settings.gap_mm), strip)


class _Search:
    """Searches the chunks of one strip, some at once, and keeps the best layout of each."""

    def __init__(
        self,
        parts: Sequence[Part],
        chunks: list[Chunk],
        strip: Strip,
        settings: NestSettings,
        seed: int,
        enough: float,
    ) -> None:
        self._parts = parts
        self._chunks = chunks
        self._strip = strip
        self._settings = settings
        self._seed = seed
        self._enough = enough
        self._shown = time.monotonic()
        few = len(chunks) <= SIDE_BY_SIDE
        self._at_once = len(chunks) if few else min(settings.processes, len(chunks))
        self.complaints: list[str] = []
        self.frame: Frame | None = None

    def run(
        self,
        clock: Clock,
        share: float,
        *,
        first: bool,
        show: Callable[[Sequence[Part], Strip], None],
    ) -> None:
        """Search every chunk for its part of the time; `first`: only until it has a layout."""
        each = max(clock.left * share * self._at_once / len(self._chunks), LEAST_SECONDS)
        waiting = list(self._chunks)
        running: list[tuple[Chunk, StripSearch, float]] = []
        try:
            while waiting or running:
                while waiting and len(running) < self._at_once:
                    chunk = waiting.pop(0)
                    running.append((chunk, self._start(chunk, each), time.monotonic() + each))
                time.sleep(LOOK_SECONDS)
                clock.look(self._told())
                go_on = self._has_time(clock) and self._length() > self._enough
                for entry in list(running):
                    chunk, search, ends = entry
                    ended = not search.poll() or not go_on
                    self._keep(chunk, search)
                    late = time.monotonic() > ends or first
                    if ended or (late and search.best):
                        running.remove(entry)
                        self._end(chunk, search)
                if not go_on:
                    break
                self._show(show)
        finally:
            for _, search, _ in running:
                search.close()

    def _has_time(self, clock: Clock) -> bool:
        """Whether to go on: a slow start gets some grace, or the search would be for nothing.

        The grace is one for the whole nest, however many strips it has.
        """
        found = any(chunk.searched for chunk in self._chunks) or self.complaints
        grace = max(clock.late, clock.overdue) < GRACE_SECONDS and not found
        return not clock.stopped and (clock.left > 0 or grace)

    def _start(self, chunk: Chunk, seconds: float) -> StripSearch:
        return StripSearch(
            self._parts,
            chunk.counts,
            self._strip,
            gap=self._settings.gap_mm,
            seconds=seconds,
            seed=self._seed,
            workers=max(1, (os.cpu_count() or 1) // self._at_once),
            frame=self.frame,
        )

    def _keep(self, chunk: Chunk, search: StripSearch) -> None:
        spots = search.best
        if spots is None or spots is chunk.spots:
            return
        chunk.searched = True
        length = reach(self._parts, spots)
        if length < chunk.length:
            chunk.spots, chunk.length = spots, length

    def _end(self, chunk: Chunk, search: StripSearch) -> None:
        complaint = search.complaint
        search.close()
        self._keep(chunk, search)
        if complaint and complaint not in self.complaints:
            self.complaints.append(complaint)

    def _show(self, show: Callable[[Sequence[Part], Strip], None]) -> None:
        if time.monotonic() > self._shown + WATCH_SECONDS:
            show(self._parts, self._strip)
            self._shown = time.monotonic()

    def _length(self) -> float:
        return sum(chunk.length for chunk in self._chunks)

    def _told(self) -> str:
        area = sum(
            self._parts[spot.part].area_mm2 for chunk in self._chunks for spot in chunk.spots
        )
        filled = area / self._length() / self._strip.height
        return f"nesting: {self._length() / 1000:.2f} m, {100 * filled:.1f} % filled"


def _dealt(
    parts: Sequence[Part], counts: Sequence[int], height: float, size: int
) -> list[list[int]]:
    """Return the copies dealt into chunks of like mixture, as counts for each part."""
    total = sum(counts)
    area = sum(part.outline.area * n for part, n in zip(parts, counts, strict=True))
    number_of = math.ceil(area / height / LOOSE / LONGEST_MM)
    if total > WHOLE_UP_TO:
        number_of = max(number_of, math.ceil(total / size))
    if number_of < 2:
        return [list(counts)]
    groups = np.zeros((min(number_of, total), len(parts)), int)
    order = [number for number in by_area(parts) for _ in range(counts[number])]
    for turn, number in enumerate(order):
        lap, place = divmod(turn, len(groups))
        groups[place if lap % 2 == 0 else -1 - place, number] += 1
    return [list(map(int, group)) for group in groups]


def _simple(parts: Sequence[Part], counts: list[int], strip: Strip, gap: float) -> Chunk:
    spots, _ = shelve(parts, counts, strip, gap)
    return Chunk(counts, spots, reach(parts, spots))


def _lay_closer(
    parts: Sequence[Part], chunk: Chunk, strip: Strip, gap: float, clock: Clock
) -> None:
    """Lay a chunk one by one on cells, where that beats the layout it has."""
    region = box(0, strip.low_y, chunk.length, strip.high_y)
    closer, left = fill(
        parts, chunk.counts, region, gap, go_on=lambda: clock.look("nesting: piece by piece")
    )
    if not any(left):
        chunk.spots, chunk.length = closer, reach(parts, closer)
