"""Welding: vertices that lie on each other become one, as CAD files leave them apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_floats, frozen_ints
from ..errors import InputError
from .joined import joined
from .mesh import MouldMesh

# float32 files place a point of a 1 m part within 3e-5 mm; CAD kernels join edges to 1e-3 mm.
TOLERANCE_MM = 1e-3
SWEEP = np.array([0.5698, 0.7549, 0.3247]) / np.linalg.norm([0.5698, 0.7549, 0.3247])


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Welded:
    """A welded mesh and where it came from.

    `vertex_of` (n_given,) the welded vertex each given one became; `source_vertices` (n,) the
    first given vertex of each; `source_faces` (m,) the given face of each face; `dropped` (k,)
    given faces that shrank to a line or a point.
    """

    mesh: MouldMesh
    vertex_of: Ints
    source_vertices: Ints
    source_faces: Ints
    dropped: Ints


def weld(vertices: ArrayLike, faces: ArrayLike, tolerance_mm: float = TOLERANCE_MM) -> Welded:
    """Join vertices nearer than a tolerance, and drop the faces that vanish by it.

    Parameters
    ----------
    vertices : (n, 3) mm; faces : (m, 3)
    tolerance_mm : vertices this near become the first of them. Chains of near vertices become
        one, so keep it well below the shortest edge that matters. 0 joins equal ones only.

    Raises
    ------
    InputError : negative tolerance, bad arrays, or no face is left
    """
    places = frozen_floats("vertices", vertices, (None, 3))
    given = MouldMesh(places, frozen_ints("faces", faces, (None, 3))).faces
    if not 0 <= tolerance_mm < np.inf:
        raise InputError(
            f"The welding distance is {tolerance_mm} mm.", "Enter 0 or a small length in mm."
        )
    lowest = joined(len(places), _near_pairs(places, tolerance_mm))
    source_vertices, vertex_of = np.unique(lowest, return_inverse=True)
    welded = vertex_of.ravel()[given]
    vanished = (welded == np.roll(welded, -1, axis=1)).any(axis=1)
    if len(given) and vanished.all():
        raise InputError(
            f"Welding within {tolerance_mm:g} mm leaves none of {len(given)} faces.",
            "Enter a smaller distance, or check the file's unit (mm, m or inch).",
        )
    return Welded(
        mesh=MouldMesh(places[source_vertices], welded[~vanished]),
        vertex_of=vertex_of.ravel(),
        source_vertices=source_vertices,
        source_faces=np.flatnonzero(~vanished),
        dropped=np.flatnonzero(vanished),
    )


def _near_pairs(places: Floats, tolerance_mm: float) -> Ints:
    """Pairs of vertices within the tolerance, enough of them to join all that are.

    Sorted along a direction that no face of a part is likely to stand square to, near vertices
    are near in order.
    """
    equal = _equal_pairs(places)
    if tolerance_mm == 0 or not len(places):
        return equal
    single = np.unique(joined(len(places), equal))
    along = places[single] @ SWEEP
    order = np.argsort(along, kind="stable")
    single, along = single[order], along[order]
    pairs, low = [equal], np.arange(len(single))
    for step in range(1, len(single)):
        low = low[low + step < len(single)]
        low = low[along[low + step] - along[low] <= tolerance_mm]
        if not len(low):
            break
        gap = places[single[low + step]] - places[single[low]]
        near = low[(gap**2).sum(axis=1) <= tolerance_mm**2]
        pairs.append(np.column_stack([single[near + step], single[near]]))
    return np.concatenate(pairs)


def _equal_pairs(places: Floats) -> Ints:
    order = np.lexsort(places.T)
    same = (places[order[1:]] == places[order[:-1]]).all(axis=1)
    return np.column_stack([order[1:][same], order[:-1][same]])
