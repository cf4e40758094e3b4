"""Improving a plan: the strips of all rolls searched, the better plan kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from ..progress import Progress
from .part import Part, Spot
from .plan import Plan, cloth_taken
from .search import StripSearch, library_present
from .settings import NestSettings

LOOK_SECONDS = 0.05
NO_LIBRARY = "The nesting library is not installed: this is the simple layout, not a searched one."


def improve(
    parts: Sequence[Part],
    plan: Plan,
    settings: NestSettings,
    progress: Progress,
    stop: Callable[[], bool],
) -> tuple[Plan, tuple[str, ...]]:
    """Search for a plan that takes less cloth; return the better one and notes for the user."""
    if not library_present():
        return plan, (NO_LIBRARY,)
    bin_ = plan.bins[0]
    counts = [part.count for part in parts]
    started = time.monotonic()
    with StripSearch(
        parts,
        counts,
        bin_.strip,
        gap=settings.gap_mm,
        seconds=settings.seconds,
        seed=settings.seed,
        workers=settings.processes,
    ) as search:
        while search.poll() and not stop():
            share = (time.monotonic() - started) / settings.seconds
            progress(min(share, 1.0), _told(parts, search.best, bin_.width_mm))
            if share > 1 and search.best:
                break
            time.sleep(LOOK_SECONDS)
        complaint = search.complaint
    best = plan
    if search.best and not bin_.strip.blocked:
        spots = tuple(search.best)
        trial = Plan(plan.bins, (spots, *(() for _ in plan.bins[1:])))
        length = max(parts[spot.part].at(spot).bounds[2] for spot in spots)
        fits = bin_.strip.length is None or length <= bin_.strip.length
        if fits and cloth_taken(parts, trial, settings.gap_mm) < cloth_taken(
            parts, plan, settings.gap_mm
        ):
            best = trial
    notes = (f"The search gave up ({complaint}); the simple layout is kept.",) if complaint else ()
    return best, notes


def _told(parts: Sequence[Part], spots: Sequence[Spot] | None, width: float) -> str:
    if not spots:
        return "nesting: simple layout"
    end = max(parts[spot.part].at(spot).bounds[2] for spot in spots)
    share = sum(parts[spot.part].area_mm2 for spot in spots) / (end * width)
    return f"nesting: {end / 1000:.3f} m, {share:.1%} of the cloth in pieces"
