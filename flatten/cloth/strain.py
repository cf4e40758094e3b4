"""Stretch and shear of draped cloth per triangle, and what they mean at the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..arrays import Bools, Floats, Ints, frozen_floats
from ..errors import InputError
from ..finding import SEVERITIES, Finding
from ..surface.mesh import MouldMesh
from ..units import percent
from .coarsely import check_fineness
from .cover import cover
from .crossing import check_self_crossing
from .energy import Panels
from .fabric import Fabric
from .limit_words import at_most, past_shear, past_stretch
from .thread_stretch import along_fibres

if TYPE_CHECKING:
    from .drape import Drape

# Less than this share of the cloth is not worth a word: one small triangle of a fine mesh.
LEAST_SHARE = 2e-4
UNSETTLED_SHARE = 0.02  # the rim is drawn in cells: slivers along it are no news
DOUBT_DEG = 1.0
FOLD_DEG = 80  # threads lying on each other
FIBRE_STRETCH = 0.01  # carbon breaks near 1.5 %, glass near 3 %; in cloth it buckles or bridges


def fabric_strain(surface: MouldMesh, flat: Floats, names: Ints | None = None) -> Floats:
    """Measure warp stretch, weft stretch and shear in every triangle.

    Parameters
    ----------
    surface : the draped shape, n vertices and m faces, mm
    flat : (n, 2) the same vertices in the flat cloth, mm; x along the warp
    names : (m,) what an error calls the faces; None: their own numbers

    Returns
    -------
    (m, 3) warp and weft stretch, length on the mould / length in the flat cloth - 1, then the
    shear angle in radians, positive where warp and weft close up; of threads straight across a
    triangle, so that its area is the flat one times both (1 + stretch) and the cosine of the shear

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
            faces=bad if names is None else np.unique(names[bad]),
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


def check_strain(drape: Drape, fabric: Fabric) -> list[Finding]:
    """Return what the drape means at the bench, gravest first; `faces` are the surface's own.

    Codes: drape_overlap, drape_not_converged, drape_locked, drape_several, drape_fold,
    drape_fibre_stretch, drape_shear_warn, drape_unsettled; drape_self_crossing (crossing.py),
    drape_coarse (coarsely.py).
    """
    locked_there, several = _locked(drape, fabric), _several(drape)
    findings = [
        *_overlap(drape),
        *check_self_crossing(drape.surface),
        *_not_converged(drape),
        *locked_there,
        *(several or _folds(drape, fabric)),  # both say that threads lie on each other
        *_fibre_stretch(drape, fabric),
        *([] if locked_there else _shear_warn(drape, fabric)),
        *_unsettled(drape),
        *check_fineness(drape.fine.surface),
    ]
    return sorted(findings, key=lambda finding: -SEVERITIES.index(finding.severity))


def _share(drape: Drape, where: Bools) -> float:
    area = np.abs(flat_areas(drape.fine.flat, drape.fine.surface.faces))
    return float(area[where].sum() / area.sum())


def _sources(drape: Drape, where: Bools) -> tuple[int, ...]:
    return tuple(np.unique(drape.fine.source_faces[where]).tolist())


def _overlap(drape: Drape) -> list[Finding]:
    fine = drape.fine
    centre = fine.flat[fine.surface.faces].mean(axis=1)
    double = cover(fine.surface, fine.flat).layers_at(centre) > 1
    if _share(drape, double) <= LEAST_SHARE:
        return []
    return [
        Finding(
            code="drape_overlap",
            severity="stop",
            message="The flat shape overlaps itself: it cannot be cut from one layer of cloth.",
            hint="Splice the ply where it overlaps.",
            faces=_sources(drape, double),
        )
    ]


def _not_converged(drape: Drape) -> list[Finding]:
    if drape.converged:
        return []
    return [
        Finding(
            code="drape_not_converged",
            severity="warning",
            message=f"The cloth did not come to rest in {drape.iterations} steps; it still moved "
            f"{drape.residual:.2g} mm. Several lay-downs are possible here.",
            hint="Dart or splice where it locks, then drape again.",
        )
    ]


def _locked(drape: Drape, fabric: Fabric) -> list[Finding]:
    where = beyond_limit(drape.fine.strain, fabric)
    share = _share(drape, where)
    if share <= LEAST_SHARE:
        return []
    strain, limit = drape.fine.strain[where], fabric.stretch_limit_across
    if fabric.directional:
        across = past_stretch(strain[:, 1], limit) if limit > 0 else ""
        how = past_shear(strain[:, 2], fabric) or f"across the fibres {across}"
    else:
        how = past_stretch(principal_stretch(strain) - 1, limit)
    return [
        Finding(
            code="drape_locked",
            severity="warning",
            message=f"The cloth will not lie down here: {how} ({percent(share)} of the cloth).",
            hint="Dart or splice, move the tack point, or take a cloth that gives more.",
            faces=_sources(drape, where),
        )
    ]


def _several(drape: Drape) -> list[Finding]:
    if not drape.locks:
        return []
    return [
        Finding(
            code="drape_several",
            severity="warning",
            message="Several lay-downs are possible here: threads come to lie on each other. The "
            "shape shown is one of them, and its outline near there is not to be trusted to a "
            "millimetre.",
            hint="Dart or splice, then drape again.",
        )
    ]


def _folds(drape: Drape, fabric: Fabric) -> list[Finding]:
    where = np.abs(drape.fine.strain[:, 2]) > np.radians(FOLD_DEG)
    if not fabric.directional or _share(drape, where) <= LEAST_SHARE:
        return []
    return [
        Finding(
            code="drape_fold",
            severity="warning",
            message=f"The cloth folds here: its threads lie on each other (over {FOLD_DEG}° "
            "of shear). Several lay-downs are possible.",
            hint="Dart or splice.",
            faces=_sources(drape, where),
        )
    ]


def _fibre_stretch(drape: Drape, fabric: Fabric) -> list[Finding]:
    if not fabric.directional:
        return []
    stretch = along_fibres(drape.fine.stretch, fabric)
    where = stretch > FIBRE_STRETCH
    if _share(drape, where) <= LEAST_SHARE:
        return []
    return [
        Finding(
            code="drape_fibre_stretch",
            severity="warning",
            message=f"Fibres would have to stretch or buckle by {at_most(float(stretch.max()))}; "
            "fibres do not stretch: the cloth bridges or wrinkles here.",
            hint="Dart or splice.",
            faces=_sources(drape, where),
        )
    ]


def _shear_warn(drape: Drape, fabric: Fabric) -> list[Finding]:
    warn = fabric.shear_warn_deg
    if warn is None:
        return []
    shear = np.degrees(np.abs(drape.fine.strain[:, 2]))
    where = (shear > warn) & ~beyond_limit(drape.fine.strain, fabric)
    if _share(drape, where) <= LEAST_SHARE:
        return []
    return [
        Finding(
            code="drape_shear_warn",
            severity="note",
            message=f"The cloth shears up to {shear[where].max():.0f}° here; above {warn:g}° it "
            "begins to wrinkle.",
            hint="Work it down patiently from the tack point.",
            faces=_sources(drape, where),
        )
    ]


def _unsettled(drape: Drape) -> list[Finding]:
    # where it does not shear it lies flat, and there is nothing to be in doubt about
    where = ~drape.fine.settled & (np.abs(drape.fine.strain[:, 2]) > np.radians(DOUBT_DEG))
    share = _share(drape, where)
    if share <= UNSETTLED_SHARE:
        return []
    return [
        Finding(
            code="drape_unsettled",
            severity="note",
            message=f"On {percent(share)} of the cloth the threads through the tack point do not "
            "say how it lies; it is shown as it shears least.",
            hint="Move the tack point towards the middle of the ply, or leave more trim there.",
            faces=_sources(drape, where),
        )
    ]
