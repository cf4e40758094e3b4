"""Warp and weft drawn on the mould: where whole multiples of a spacing in the cloth come to lie."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, frozen_floats, frozen_ints
from ..errors import InputError


def thread_lines(
    points: ArrayLike, flat: ArrayLike, triangles: ArrayLike, spacing_mm: float
) -> tuple[Floats, Floats]:
    """Return the threads of a drape as segments on the mould.

    Parameters
    ----------
    points : (n, 3) the vertices on the mould, any unit
    flat : (n, 2) mm, the same in the cloth; warp along x
    triangles : (m, 3)
    spacing_mm : between neighbouring threads, in the cloth

    Returns
    -------
    (k, 2, 3) segments of warp threads, then of weft threads, in the unit of `points`

    Raises
    ------
    InputError : a spacing that is not above zero
    """
    points = frozen_floats("points", points, (None, 3))
    flat = frozen_floats("flat", flat, (len(points), 2))
    triangles = frozen_ints("triangles", triangles, (None, 3))
    if not spacing_mm > 0:
        raise InputError(f"The thread spacing is {spacing_mm} mm.", "Enter a spacing above zero.")
    warp = _level_lines(points, flat[:, 1] / spacing_mm, triangles)
    weft = _level_lines(points, flat[:, 0] / spacing_mm, triangles)
    return warp, weft


def _level_lines(points: Floats, level: Floats, triangles: ArrayLike) -> Floats:
    """Return (k, 2, 3) segments along which `level` (n,) is a whole number."""
    corners = level[np.asarray(triangles)]
    # a corner that lies exactly on a line counts as above it: each line then crosses two sides
    first = np.floor(corners.min(axis=1)).astype(np.int64) + 1
    count = np.floor(corners.max(axis=1)).astype(np.int64) - first + 1
    owner = np.repeat(np.arange(len(corners)), count)
    start = np.cumsum(count) - count
    whole = first[owner] + np.arange(len(owner)) - start[owner]
    values = corners[owner] - whole[:, None]
    above = values >= 0
    crosses = above != np.roll(above, -1, axis=1)
    side = np.argsort(~crosses, axis=1, kind="stable")[:, :2]
    rows = np.arange(len(owner))[:, None]
    here, there = values[rows, side], values[rows, (side + 1) % 3]
    share = (here / (here - there))[..., None]
    vertices = np.asarray(triangles)[owner]
    ends = (
        points[vertices[rows, side]] * (1 - share) + points[vertices[rows, (side + 1) % 3]] * share
    )
    return np.asarray(ends, np.float64)
