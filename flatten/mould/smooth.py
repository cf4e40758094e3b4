"""Area shares of a value that runs smoothly over the faces, not in steps from face to face."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.mesh import MouldMesh

CREASE = np.cos(np.radians(30.0))  # over sharper edges nothing is carried on


def share_below(mesh: MouldMesh, faces: Ints, values: Floats, limit: float) -> Floats:
    """Return (k,) the share 0..1 of each face on which a value is below `limit`.

    Parameters
    ----------
    faces : (k,) faces of the mould, the surface the value is known on
    values : (k,) the value of each face

    On a smooth surface a facet stands for a range of values. Halfway to a neighbour the value
    is the mean of both, which makes it linear on each triangle (Crouzeix & Raviart, 1973, from
    memory); beside rims and creases its slope is the neighbours'.
    """
    whole = np.full(len(mesh.faces), np.nan)
    whole[faces] = values
    middle, known = _at_edges(mesh, faces, whole)
    complete = known.all(axis=1)
    corner = middle.sum(axis=1, keepdims=True) - 2 * np.roll(middle, -1, axis=1)
    rising = _gradients(mesh, faces)
    slope = np.einsum("ki,kij->kj", np.where(complete[:, None], corner, 0), rising)
    slope[~complete] = _neighbours_slope(mesh, faces, complete, slope)[~complete]
    points = mesh.corners[faces]
    halfway = (points + np.roll(points, -1, axis=1)) / 2
    weight = known / np.maximum(known.sum(axis=1), 1)[:, None]
    centre = np.where(known.any(axis=1), (weight * middle).sum(axis=1), values)
    place = np.einsum("ki,kij->kj", weight, halfway)
    place = np.where(known.any(axis=1)[:, None], place, points.mean(axis=1))
    guess = centre[:, None] + np.einsum("kij,kj->ki", points - place[:, None], slope)
    return _part_below(np.where(complete[:, None], corner, guess), limit)


def _at_edges(mesh: MouldMesh, faces: Ints, whole: Floats) -> tuple[Floats, Bools]:
    """(k, 3) value halfway over each edge, and where there is a neighbour to take it from."""
    edges = mesh.edges
    of_face = edges.of_face[faces]
    other = edges.faces[of_face].sum(axis=2) - faces[:, None]
    lone = edges.count[of_face] != 2
    other = np.where(lone, faces[:, None], other)
    level = np.einsum("kj,kij->ki", mesh.normals[faces], mesh.normals[other])
    there = whole[other]
    known = ~lone & np.isfinite(there) & (level > CREASE)
    own = whole[faces][:, None]
    return np.where(known, (own + there) / 2, own), known


def _gradients(mesh: MouldMesh, faces: Ints) -> Floats:
    """(k, 3, 3) gradient of the linear function that is 1 at each corner and 0 at the others."""
    points, normal = mesh.corners[faces], mesh.double_areas[faces]
    facing = np.roll(points, -2, axis=1) - np.roll(points, -1, axis=1)
    size = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-300)
    gradients: Floats = np.cross(normal[:, None], facing) / size[:, None, None]
    return gradients


def _neighbours_slope(mesh: MouldMesh, faces: Ints, complete: Bools, slope: Floats) -> Floats:
    """(k, 3) mean slope of the neighbours that have one."""
    place = np.full(len(mesh.faces) + 1, -1)
    place[faces] = np.arange(len(faces))
    pairs = place[mesh.edges.faces[mesh.edges.count == 2]]
    pairs = pairs[(pairs >= 0).all(axis=1)]
    total, count = np.zeros_like(slope), np.zeros(len(faces))
    for mine, other in (pairs.T, pairs.T[::-1]):
        use = complete[other] & ~complete[mine]
        np.add.at(total, mine[use], slope[other[use]])
        np.add.at(count, mine[use], 1)
    mean: Floats = total / np.maximum(count, 1)[:, None]
    return mean


def _part_below(corner: Floats, limit: float) -> Floats:
    """(k,) share of a triangle on which a linear function with these corner values is lower."""
    low, middle, high = np.sort(corner, axis=1).T
    tiny = 1e-300
    rising = (limit - low) ** 2 / np.maximum((middle - low) * (high - low), tiny)
    falling = 1 - (high - limit) ** 2 / np.maximum((high - middle) * (high - low), tiny)
    inner = np.where(limit <= middle, rising, falling)
    share: Floats = np.where(limit <= low, 0.0, np.where(limit >= high, 1.0, inner))
    return share
