"""Stretch and shear of draped cloth per triangle, and what they mean at the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..arrays import Bools, Floats, Ints, frozen_floats
from ..errors import InputError
from ..surface.mesh import MouldMesh
from .energy import Panels
from .fabric import Fabric

if TYPE_CHECKING:
    from .drape import Drape


def fabric_strain(surface: MouldMesh, flat: Floats) -> Floats:
    """Measure warp stretch, weft stretch and shear in every triangle.

    Parameters
    ----------
    surface : the draped shape, n vertices and m faces, mm
    flat : (n, 2) the same vertices in the flat cloth, mm; x along the warp

    Returns
    -------
    (m, 3) warp and weft stretch, length on the mould / length in the flat cloth - 1, then the
    shear angle in radians, positive where warp and weft close up

    Raises
    ------
    InputError : a triangle has no area in the flat cloth, or is turned over there

    Source: Bonet & Wood, Nonlinear Continuum Mechanics for Finite Element Analysis, 2nd ed.
    2008, ch. 4: the deformation gradient of a linear triangle.
    """
    flat = frozen_floats("flat", flat, (len(surface.vertices), 2))
    panels = Panels.of(surface)
    x1, x2 = panels.gradients(flat[:, 0])
    y1, y2 = panels.gradients(flat[:, 1])
    det = x1 * y2 - x2 * y1
    bad = np.flatnonzero(~(det > 1e-12 * (x1 * x1 + x2 * x2 + y1 * y1 + y2 * y2)))
    if len(bad):
        raise InputError(
            f"{len(bad)} of {len(det)} triangles have no area in the flat cloth.",
            "Merge vertices by distance, then drape again.",
            faces=bad,
        )
    warp, weft = np.hypot(y1, y2) / det, np.hypot(x1, x2) / det
    return np.column_stack([warp - 1, weft - 1, np.arctan2(-(x1 * y1 + x2 * y2), det)])


def principal_stretch(strain: Floats) -> Floats:
    """Return (m, 2) the smallest and the largest stretch in any direction, new / old.

    Source: eigenvalues of the Cauchy-Green tensor, Bonet & Wood 2008, ch. 4.
    """
    warp, weft = 1 + strain[:, 0], 1 + strain[:, 1]
    mean = 0.5 * (warp**2 + weft**2)
    apart = np.hypot(0.5 * (warp**2 - weft**2), warp * weft * np.sin(strain[:, 2]))
    squares = np.column_stack([np.maximum(mean - apart, 0), mean + apart])
    return np.asarray(np.sqrt(squares), np.float64)


def flat_areas(flat: Floats, faces: Ints) -> Floats:
    """Return (m,) mm2 of each triangle in the flat cloth, negative where it is turned over."""
    a, b, c = (flat[faces[:, corner]] for corner in range(3))
    area: Floats = 0.5 * (
        (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    )
    return area


def beyond_limit(strain: Floats, fabric: Fabric) -> Bools:
    """Return (m,) where cloth strained like this will not lie down.

    Threads: sheared past the locking angle of that sign, or (unidirectional) spread across the
    fibres past the limit. Mat and film: stretched or gathered past their limit in any direction.
    """
    closing = fabric.lock_deg(closing=True)
    if closing is not None:
        shear = np.degrees(strain[:, 2])
        opening = fabric.lock_deg(closing=False) or closing
        past = (shear > closing) | (shear < -opening)
        if fabric.kind == "unidirectional" and fabric.stretch_limit_across > 0:
            past |= np.abs(np.log1p(strain[:, 1])) > np.log1p(fabric.stretch_limit_across)
        return np.asarray(past, bool)
    if not fabric.stretch_limit_across > 0:
        return np.zeros(len(strain), bool)
    logs = np.log(np.maximum(principal_stretch(strain), 1e-12))
    return np.asarray(np.abs(logs).max(axis=1) > np.log1p(fabric.stretch_limit_across), bool)


def locked(drape: Drape, fabric: Fabric) -> Bools:
    """Return (m,) the surface's faces where the cloth will not lie down."""
    return beyond_limit(drape.strain, fabric)


def locked_flat_area_fraction(drape: Drape, fabric: Fabric) -> float:
    """Return the share of the flat cloth that will not lie down, on the mesh it was solved on."""
    area = np.abs(flat_areas(drape.fine.flat, drape.fine.surface.faces))
    return float(area[beyond_limit(drape.fine.strain, fabric)].sum() / area.sum())
