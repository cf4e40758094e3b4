"""One endless strip: the pieces searched together, or in chunks side by side where many."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Sequence

import numpy as np
from shapely import box

from .clock import Clock
from .fit import by_area, fill
from .join import join
from .part import Part, Spot
from .search import StripSearch, library_present
from .settings import NestSettings
from .shelf import Strip, shelve

LOOK_SECONDS = 0.05
WHOLE_UP_TO = 150  # pieces; above, chunks are both better and faster (measured)
FIRST_SHARE = 0.15  # of the time at most goes into a first layout of every chunk


class StripLayer:
    """Lays copies of parts on a strip as well as it can in the time it is given."""

    def __init__(self, settings: NestSettings) -> None:
        """Remember how the user wants it; `complaints` gathers what the library said."""
        self._settings = settings
        self._enough = 0.0
        self._seed = settings.seed
        self.complaints: list[str] = []

    def lay(
        self,
        parts: Sequence[Part],
        counts: Sequence[int],
        strip: Strip,
        clock: Clock,
        *,
        enough: float | None = None,
        trial: int = 0,
    ) -> list[Spot]:
        """Return spots for all the copies, from x = 0; flaws and the strip's end are ignored.

        It always comes back with a complete layout, also when it is stopped at once. `enough`:
        a length at which the search may end early; `trial`: another number, another layout.
        """
        self._enough = enough or 0.0
        self._seed = self._settings.seed + trial
        endless = Strip(low_y=strip.low_y, high_y=strip.high_y)
        groups = self._groups(parts, counts)
        best = [self._at_once(parts, group, endless) for group in groups]
        if not library_present():
            return join(parts, best, endless, self._settings.gap_mm)
        if len(groups) > 1 and clock.left > 1:
            self._round(parts, groups, best, endless, clock, first=True)
        self._round(parts, groups, best, endless, clock, first=False)
        if self.complaints:
            best = [self._closer(parts, *pair, endless) for pair in zip(groups, best, strict=True)]
        return join(parts, best, endless, self._settings.gap_mm)

    def _groups(self, parts: Sequence[Part], counts: Sequence[int]) -> list[list[int]]:
        """Return the copies dealt into chunks of like mixture, as counts for each part."""
        total = sum(counts)
        if total <= WHOLE_UP_TO:
            return [list(counts)]
        groups = np.zeros((math.ceil(total / self._settings.chunk), len(parts)), int)
        order = [number for number in by_area(parts) for _ in range(counts[number])]
        for turn, number in enumerate(order):
            lap, place = divmod(turn, len(groups))
            groups[place if lap % 2 == 0 else -1 - place, number] += 1
        return [list(map(int, group)) for group in groups]

    def _at_once(self, parts: Sequence[Part], counts: Sequence[int], strip: Strip) -> list[Spot]:
        """Return the simple layout of a chunk; without the library a closer one."""
        spots, _ = shelve(parts, counts, strip, self._settings.gap_mm)
        return spots if library_present() else self._closer(parts, counts, spots, strip)

    def _closer(
        self, parts: Sequence[Part], counts: Sequence[int], spots: list[Spot], strip: Strip
    ) -> list[Spot]:
        """Return the parts laid one by one on cells, where that beats the layout given."""
        if not spots:
            return spots
        region = box(0, strip.low_y, reach(parts, spots), strip.high_y)
        closer, left = fill(parts, counts, region, self._settings.gap_mm)
        return spots if any(left) else closer

    def _round(
        self,
        parts: Sequence[Part],
        groups: Sequence[Sequence[int]],
        best: list[list[Spot]],
        strip: Strip,
        clock: Clock,
        *,
        first: bool,
    ) -> None:
        """Search every chunk, some at once, replacing `best` where a search beats it."""
        at_once = min(self._settings.processes, len(groups))
        workers = max(1, (os.cpu_count() or 1) // at_once)
        time_left = clock.left * (FIRST_SHARE if first else 1.0)
        each = max(time_left * at_once / len(groups), 0.5)
        waiting = list(range(len(groups)))
        running: dict[int, tuple[StripSearch, float]] = {}
        try:
            while waiting or running:
                while waiting and len(running) < at_once and not clock.over:
                    number = waiting.pop(0)
                    search = StripSearch(
                        parts,
                        groups[number],
                        strip,
                        gap=self._settings.gap_mm,
                        seconds=each,
                        seed=self._seed,
                        workers=workers,
                    )
                    running[number] = (search, time.monotonic() + each)
                time.sleep(LOOK_SECONDS)
                go_on = clock.look(_told(parts, best, strip))
                for number, (search, ends) in list(running.items()):
                    alive = search.poll()
                    self._keep(parts, best, number, search)
                    late = time.monotonic() > ends and (search.best or clock.left < each / 2)
                    if not alive or late or not go_on or (first and search.best):
                        self._end(running.pop(number)[0], parts, best, number)
                if not go_on or sum(reach(parts, chunk) for chunk in best) <= self._enough:
                    break
        finally:
            for search, _ in running.values():
                search.close()

    def _end(
        self, search: StripSearch, parts: Sequence[Part], best: list[list[Spot]], number: int
    ) -> None:
        complaint = search.complaint
        search.close()
        self._keep(parts, best, number, search)
        if complaint and complaint not in self.complaints:
            self.complaints.append(complaint)

    @staticmethod
    def _keep(
        parts: Sequence[Part], best: list[list[Spot]], number: int, search: StripSearch
    ) -> None:
        if search.best and reach(parts, search.best) < reach(parts, best[number]):
            best[number] = search.best


def reach(parts: Sequence[Part], spots: Sequence[Spot]) -> float:
    """Return how far along the strip the spots reach, mm."""
    return max((float(parts[spot.part].at(spot).bounds[2]) for spot in spots), default=0.0)


def _told(parts: Sequence[Part], chunks: Sequence[Sequence[Spot]], strip: Strip) -> str:
    length = sum(reach(parts, chunk) for chunk in chunks)
    area = sum(parts[spot.part].area_mm2 for chunk in chunks for spot in chunk)
    return f"nesting: {length / 1000:.2f} m, {area / length / strip.height:.1%} filled"
