"""A job from a bare mesh: region grown from a point, plies at given angles, sensible defaults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Floats, frozen_floats, unit_vector
from .cloth.fabric import Fabric
from .errors import InputError
from .job import Job, Settings
from .laminate.ply import Ply
from .surface.mesh import MouldMesh
from .surface.region import Region, region_from_point
from .surface.rosette import Rosette

SHARP_DEG = 50.0  # a filleted rim is crossed, the block's own edges are not
UP_WITHIN = 0.9  # cosine: a mean normal this near to an axis is taken for that axis


def job_from_mesh(
    mould: MouldMesh,
    fabric: Fabric,
    *,
    part: str,
    angles_deg: Sequence[float] = (0.0,),
    at_mm: ArrayLike | None = None,
    sharp_deg: float = SHARP_DEG,
    up: ArrayLike | None = None,
    zero: ArrayLike | None = None,
    settings: Settings | None = None,
) -> Job:
    """Return a job: every ply covers the smooth faces round a point of the mould.

    Parameters
    ----------
    mould : as read, mm
    angles_deg : one ply for each, the first on the tool
    at_mm : (3,) the region grows from the mould's point nearest to it; None: from the point that
        is seen first, looking down `up` at the middle of the mould's box
    sharp_deg : the region ends at edges that turn more than this
    up : (3,) towards the person who lays up; None: +z for the look down, then the region's own
        mean normal
    zero : (3,) the 0-degree direction; None: the region's longer side, of x, y and z

    Raises
    ------
    InputError : no face looks up, or whatever Region, Ply and Job refuse
    """
    if not angles_deg:
        raise InputError("There are no ply angles.", "Give one angle for each ply, such as 0,45,0.")
    seed = _seen_first(mould, up) if at_mm is None else frozen_floats("start point", at_mm, (3,))
    region = region_from_point(mould, part, seed, sharp_deg)
    normal = _towards_person(mould, region) if up is None else unit_vector("up direction", up)
    along = _longer_side(mould, region, normal) if zero is None else unit_vector("0 degrees", zero)
    origin = mould.corners[region.faces].reshape(-1, 3).mean(axis=0)
    plies = tuple(
        Ply(
            id=f"p{number}",
            name="skin",
            faces=region.faces,
            fabric=fabric.id,
            angle_deg=float(angle),
        )
        for number, angle in enumerate(angles_deg, start=1)
    )
    return Job(
        part=part,
        mould=mould,
        plies=plies,
        rosette=Rosette(origin, along, normal),
        fabrics=(fabric,),
        settings=settings or Settings(),
    )


def _seen_first(mould: MouldMesh, up: ArrayLike | None) -> Floats:
    """Return the point met first by a straight line down through the middle of the box."""
    upwards = unit_vector("up direction", (0, 0, 1) if up is None else up)
    middle = (mould.vertices.min(axis=0) + mould.vertices.max(axis=0)) / 2
    corners = mould.corners - middle
    # Barycentric signs in the plane across the line: the line runs through the origin.
    across = np.linalg.svd(upwards[None])[2][1:]
    flat = corners @ across.T
    turn = [
        flat[:, i, 0] * flat[:, (i + 1) % 3, 1] - flat[:, i, 1] * flat[:, (i + 1) % 3, 0]
        for i in range(3)
    ]
    weights = np.column_stack([turn[1], turn[2], turn[0]])
    total = weights.sum(axis=1)
    met = (np.abs(total) > 0) & ((weights * np.sign(total)[:, None]) >= -1e-12).all(axis=1)
    met &= mould.normals @ upwards > 0
    if not met.any():
        return _nearest_seen(mould, upwards, flat.mean(axis=1))
    share = weights[met] / total[met, None]
    points = np.einsum("kj,kjd->kd", share, corners[met])
    return np.asarray(points[(points @ upwards).argmax()] + middle)


def _nearest_seen(mould: MouldMesh, upwards: Floats, beside: Floats) -> Floats:
    """Return the middle of the face seen from `upwards` that is nearest to the line.

    There is no mould on the line itself: an L, a ring, a cone without a tip. `beside` (m, 2) mm.
    """
    seen = mould.normals @ upwards > 0
    if not seen.any():
        raise InputError(
            "No face of the mould looks up: it may lie face down, or its normals may be flipped.",
            "Give the lay-up side with --up x,y,z, or a point on it with --at x,y,z.",
        )
    away = np.where(seen, np.einsum("ij,ij->i", beside, beside), np.inf)
    return np.asarray(mould.corners[int(away.argmin())].mean(axis=0))


def _towards_person(mould: MouldMesh, region: Region) -> Floats:
    """Return the region's mean normal, or the axis it nearly is."""
    mean = mould.double_areas[region.faces].sum(axis=0)
    if not np.linalg.norm(mean) > 1e-9 * float(mould.areas[region.faces].sum()):
        raise InputError(
            "The region faces all ways alike, so its lay-up side has no direction.",
            "Give it with --up x,y,z.",
        )
    normal = unit_vector("mean normal", mean)
    axis = int(np.abs(normal).argmax())
    if abs(normal[axis]) >= UP_WITHIN:
        return np.asarray(np.sign(normal[axis]) * np.eye(3)[axis])
    return normal


def _longer_side(mould: MouldMesh, region: Region, normal: Floats) -> Floats:
    """Return the axis along the region's longer side, of those that lie in its plane."""
    extent = np.ptp(mould.corners[region.faces].reshape(-1, 3), axis=0)
    extent = np.where(np.abs(normal) > UP_WITHIN, -1.0, extent)
    return np.asarray(np.eye(3)[int(extent.argmax())])
