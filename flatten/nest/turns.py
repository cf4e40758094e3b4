"""Which way up and round a piece may lie on the roll: the fibre direction is never traded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from ..cloth.fabric import Fabric


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """The turns a cloth allows: `base_deg`, each give or take `tolerance_deg`; or any at all."""

    base_deg: tuple[float, ...]
    tolerance_deg: float = 0.0
    any_turn: bool = False

    def to_try(self) -> tuple[float, ...] | None:
        """Return the turns a search should try, None for any."""
        if self.any_turn:
            return None
        share = (0.0,) if self.tolerance_deg == 0 else (0.0, -1.0, -0.5, 0.5, 1.0)
        return tuple(base + part * self.tolerance_deg for part in share for base in self.base_deg)


def allowed_turns(fabric: Fabric, tolerance_deg: float = 0.0) -> Turns:
    """Return the turns of a pattern on this cloth, warp along warp being 0.

    Cloth with a direction: 0 and 180; where warp and weft are alike also 90 and 270; mat and
    film: any.
    """
    if not fabric.directional:
        return Turns(base_deg=(0.0, 180.0, 90.0, 270.0), any_turn=True)
    base = (0.0, 180.0, 90.0, 270.0) if fabric.balanced else (0.0, 180.0)
    return Turns(base_deg=base, tolerance_deg=tolerance_deg)


def flush_turns(outline: Polygon, *, most: int = 1000) -> tuple[float, ...]:
    """Return turns that lay an edge of the outline's hull along or across the roll.

    The least width of a shape over all turns is found with such an edge along the roll
    (Freeman & Shapira, Determining the minimum-area encasing rectangle, 1975, from memory).
    Longest edges first, `most` of them.
    """
    ring = np.asarray(outline.convex_hull.exterior.coords)
    step = np.diff(ring, axis=0)
    order = np.argsort(-np.hypot(step[:, 0], step[:, 1]), kind="stable")[:most]
    angles = -np.degrees(np.arctan2(step[order, 1], step[order, 0]))
    return tuple(float(angle % 360) for angle in np.concatenate([angles, angles + 90]))


def may_turn_over(fabric: Fabric) -> bool:
    """Return whether a piece may be cut from the back of this cloth.

    Its two sides must be alike, and turning it over about the warp must bring every fibre
    direction onto one the cloth has: a cloth with fibres at +45 only would come out at -45.
    """
    if fabric.has_face:
        return False
    if not fabric.directional:
        return True
    ways = [angle % 180 for angle in fabric.fibre_angles_deg]
    return all(any(abs((way + other + 90) % 180 - 90) < 0.1 for other in ways) for way in ways)
