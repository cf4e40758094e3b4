"""How far past its limits cloth is strained, in words for the bench."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..units import percent
from .fabric import Fabric

TOLD_STRETCH = 0.2  # beyond it a figure is no news: the cloth is not laid like that at all


def past_shear(shear: Floats, fabric: Fabric) -> str:
    """Return what is to be said of shear (k,) radians past the locking angle, "" if none is.

    Stitched cloth locks earlier one way than the other: then the way is named.
    """
    closing, opening = fabric.lock_deg(closing=True), fabric.lock_deg(closing=False)
    if closing is None or opening is None or not len(shear):
        return ""
    shut, opened = float(np.degrees(shear.max())), float(np.degrees(-shear.min()))
    if closing == opening:
        most = max(shut, opened)
        return f"sheared up to {most:.0f}°, it locks at {closing:g}°" if most > closing else ""
    ways = (("closing", shut, closing), ("opening", opened, opening))
    said = [f"{way} up to {most:.0f}°, it locks at {at:g}°" for way, most, at in ways if most > at]
    return f"sheared {' and '.join(said)}" if said else ""


def past_stretch(stretch: Floats, limit: float) -> str:
    """Return what is to be said of the largest `stretch` (k,), new / old - 1, past the limit."""
    most = float(np.abs(stretch).max(initial=0.0))
    if not most > limit:
        return ""
    return f"stretched or gathered by {at_most(most)}, it gives {percent(limit)}"


def at_most(share: float) -> str:
    """Return a stretch for people: where cloth cannot follow at all, a figure says nothing."""
    return f"over {percent(TOLD_STRETCH)}" if share > TOLD_STRETCH else f"up to {percent(share)}"
