"""Over which planes mould and cloth repeat: darts are made to repeat over the same."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..surface.locate import Locator
from ..surface.mesh import SurfaceMesh
from .drape import Drape
from .fabric import Fabric

# The mould repeats over a plane when its mirrored points lie this near to it, as a share of
# its size: 0.2 mm on 300 mm, above the facets' own error on a mesh of 5 mm edges.
MIRROR_SHARE = 7e-4
SAMPLES = 400
FRAME_SHARE = 0.15  # of the size: the reach round the tack point over which normals are averaged


def mirrors(surface: SurfaceMesh, drape: Drape, fabric: Fabric) -> list[Floats]:
    """Return the isometries (3, 3) about the tack point that map mould and cloth on themselves.

    The identity is the first. Tried are the planes through the tack point along one thread and,
    where warp and weft are alike, the two between; what they give together is closed to a group.
    """
    warp, weft = _frame(surface, drape)
    across = [weft, warp]
    if fabric.balanced or fabric.lock_deg(closing=True) is None:
        across += [warp - weft, warp + weft]
    locator = Locator(surface)
    found: list[Floats] = [np.eye(3)]
    for direction in across:
        unit = direction / np.linalg.norm(direction)
        mirror = np.eye(3) - 2 * np.outer(unit, unit)
        if _maps_on_itself(surface, locator, mirror, drape.tack_mm):
            found.append(mirror)
    if fabric.lock_deg(closing=True) != fabric.lock_deg(closing=False):
        return found[:1]  # a mirror turns closing into opening shear: not alike for this cloth
    return _closed(found)


def _frame(surface: SurfaceMesh, drape: Drape) -> tuple[Floats, Floats]:
    """Return warp and weft (3,) unit at the tack point, in the mean plane round it."""
    away = np.linalg.norm(surface.corners.mean(axis=1) - drape.tack_mm, axis=1)
    near = away <= max(FRAME_SHARE * surface.size_mm, float(away.min()))
    normal = surface.double_areas[near].sum(axis=0)
    normal = normal / np.linalg.norm(normal)
    warp = drape.warp - normal * (drape.warp @ normal)
    warp = warp / np.linalg.norm(warp)
    return warp, np.cross(normal, warp)


def _maps_on_itself(surface: SurfaceMesh, locator: Locator, mirror: Floats, about: Floats) -> bool:
    """Tell whether the mirrored mould lies on the mould, its rim on its rim."""
    within = MIRROR_SHARE * surface.size_mm
    step = max(1, len(surface.vertices) // SAMPLES)
    sample = surface.vertices[::step]
    if locator.locate((sample - about) @ mirror.T + about).distances.max() > within:
        return False
    ends = surface.vertices[surface.edges.vertices[surface.edges.boundary]]
    image = (ends[:: max(1, len(ends) // SAMPLES), 0] - about) @ mirror.T + about
    return bool(_to_segments(image, ends).max() <= within)


def _to_segments(points: Floats, ends: Floats) -> Floats:
    """Return (k,) mm: how far points are from the nearest of the segments (s, 2, 3)."""
    start, along = ends[:, 0], ends[:, 1] - ends[:, 0]
    length2 = (along**2).sum(axis=1)
    away = np.empty(len(points))
    for i, point in enumerate(points):
        share = np.clip(((point - start) * along).sum(axis=1) / length2, 0, 1)
        foot = start + share[:, None] * along
        away[i] = np.sqrt(((foot - point) ** 2).sum(axis=1).min())
    return away


def _closed(found: list[Floats]) -> list[Floats]:
    """Return the group the isometries generate; with these planes it has eight members at most."""
    group = list(found)
    while True:
        products = (a @ b for a in group for b in group)
        fresh = next((p for p in products if all(np.abs(p - g).max() > 1e-6 for g in group)), None)
        if fresh is None or len(group) >= 8:
            return group
        group.append(fresh)
