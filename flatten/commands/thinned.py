"""A drape thinned out for looking at: some thousand triangles are enough for a page."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..surface.edges import Edges

MOST_FACES = 9000  # sorted and drawn sixty times a second on a phone
FIN = 0.05  # of the part's size: height of the fins
STEPS = 65_535  # of the numbers in the page: 0.01 mm on a part of 650 mm
MAPS = ("warp", "weft", "shear")  # the columns of the strain; percent, percent, degrees


def thinned_piece(
    arrays: Mapping[str, Any], places: Sequence[Sequence[int]] = ()
) -> dict[str, Any]:
    """Return what the viewer draws of one piece, its numbers as base64 of little-endian.

    `arrays`: vertices (n, 3) and flat (n, 2) mm, faces (m, 3), strain (m, 3), inside (m,),
    source_faces (m,) of the mould. Trim is left out. `most` is the largest value of each map,
    before thinning. `places` are faces of the mould; `lit` says which drawn faces lie on each.
    """
    inside = np.asarray(arrays["inside"], bool)
    source = arrays["source_faces"][inside]
    strain = np.abs(arrays["strain"][inside]) * [100, 100, 180 / np.pi]
    used, faces = np.unique(arrays["faces"][inside], return_inverse=True)
    faces = faces.reshape(-1, 3)
    group, few, kept = thin(arrays["vertices"][used], faces)
    count = len(kept)
    at_vertex = _mean_at(group[faces.ravel()], np.repeat(strain, 3, axis=0), count)
    on_face = at_vertex[few].mean(axis=1)
    return {
        "vertices": short(arrays["vertices"][used[kept]]),
        "flat": short(arrays["flat"][used[kept]]),
        "faces": packed(few, "<u2" if count <= STEPS else "<u4"),
        "wide": count > STEPS,
        "maps": {name: short(on_face[:, [i]]) for i, name in enumerate(MAPS)},
        "most": {name: float(strain[:, i].max()) for i, name in enumerate(MAPS)},
        "lit": [
            lit_faces(group, faces, few, np.isin(source, np.array(place, int))) for place in places
        ],
    }


def lit_faces(group: Ints, faces: Ints, few: Ints, on: Bools) -> list[int]:
    """Return which of the few faces stand for the faces that are `on` (m,); at least one."""
    if not on.any():
        return []
    if len(few) == len(faces):
        return [int(face) for face in np.flatnonzero(on)]
    corners = np.isin(few, group[faces[on]]).sum(axis=1)
    return [int(face) for face in np.flatnonzero(corners == corners.max())]


def thin(vertices: Floats, faces: Ints) -> tuple[Ints, Ints, Ints]:
    """Return the group each vertex (n, 3) goes into, fewer faces, and each group's vertex.

    Only who joins whom is taken from the library: its new places can lie far off the surface
    where that is flat. The group's own vertex nearest to the new place stands for it, one of the
    rim where the group holds any.

    Source: Garland & Heckbert, Surface simplification using quadric error metrics, 1997, as
    fast-simplification implements it.
    """
    if len(faces) <= MOST_FACES:
        every = np.arange(len(vertices))
        return every, faces, every
    import fast_simplification

    points, triangles = _with_fins(vertices, faces)
    _, _, collapses = fast_simplification.simplify(
        points, triangles, target_count=MOST_FACES, return_collapses=True
    )
    places, triangles, group = fast_simplification.replay_simplification(
        points, triangles, collapses
    )
    group = group[: len(vertices)]
    number = np.full(len(places), -1)
    number[np.unique(group)] = np.arange(len(np.unique(group)))
    triangles = number[triangles]
    triangles = triangles[(triangles >= 0).all(axis=1)]
    away = ((places[group] - vertices) ** 2).sum(axis=1)
    group = number[group]
    order = np.lexsort((away, ~_on_rim(faces, len(vertices)), group))
    first = order[np.append(True, group[order][1:] != group[order][:-1])]
    return group, triangles, first


def _on_rim(faces: Ints, count: int) -> Bools:
    """Return (n,) which vertices lie on the rim."""
    edges = Edges(faces)
    rim = np.zeros(count, bool)
    rim[edges.vertices[edges.boundary]] = True
    return rim


def _with_fins(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Return the mesh with an upright fin on each rim edge: a flat rim keeps its corners."""
    edges = Edges(faces)
    rim = edges.vertices[edges.boundary]
    corners = vertices[faces]
    up = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
    ends, place = np.unique(rim, return_inverse=True)
    above = len(vertices) + place.reshape(rim.shape)
    height = FIN * float(np.ptp(vertices, axis=0).max()) * up / max(float(np.linalg.norm(up)), 1e-9)
    fins = np.vstack(
        [np.column_stack([rim, above[:, 1]]), np.column_stack([rim[:, 0], above[:, ::-1]])]
    )
    return np.vstack([vertices, vertices[ends] + height]), np.vstack([faces, fins]).astype(np.int32)


def _mean_at(group: Ints, values: Floats, count: int) -> Floats:
    """Return the mean of the values (k, c) in each of `count` groups; 0 where there is none."""
    number = np.maximum(np.bincount(group, minlength=count), 1)
    sums = [np.bincount(group, column, minlength=count) for column in values.T]
    mean: Floats = np.column_stack(sums) / number[:, None]
    return mean


def short(values: Floats) -> dict[str, Any]:
    """Return columns (n, c) of numbers as whole steps from each column's least."""
    low = values.min(axis=0)
    step = max(float((values.max(axis=0) - low).max()) / STEPS, 1e-9)
    return {
        "low": low.tolist(),
        "step": step,
        "data": packed(np.round((values - low) / step), "<u2"),
    }


def packed(array: Any, kind: str) -> str:
    """Return an array's numbers of this kind as base64."""
    return base64.b64encode(np.ascontiguousarray(array).astype(kind).tobytes()).decode()
