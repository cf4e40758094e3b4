"""The rosette of a mould that has none of its own; knows no Blender."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import engine

if TYPE_CHECKING:
    import numpy as np

    from .bridge import MouldRead

WORLD_X, WORLD_Y = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
# A lay-up side within this of a world axis counts as looking along it: cosine of 30 degrees.
SNAP_COSINE = 0.866


def default_rosette(read: MouldRead) -> Any:
    """Return a rosette for a mould that has none: 0 degrees along the world's X.

    Its normal is the mean one of the plies' faces, or the world axis near it.
    """
    import numpy as np

    covered = np.zeros(len(read.triangles), bool)
    for faces in read.regions.values():
        covered |= faces
    covered = covered if covered.any() else ~covered
    triangles = read.triangles[covered].astype(np.intp)
    corners = [np.take(axis, triangles) for axis in np.ascontiguousarray(read.vertices.T)]
    normal = np.array([_total(part) for part in _across(corners)])
    length, size = float(np.linalg.norm(normal)), max(float(np.ptp(one)) for one in corners)
    normal = normal / length if length > 1e-9 * size**2 else np.array([0.0, 0.0, 1.0])
    axis = int(np.abs(normal).argmax())
    if abs(normal[axis]) > SNAP_COSINE:
        normal = np.sign(normal[axis]) * np.eye(3)[axis]
    zero = WORLD_Y if abs(normal[0]) > 0.9 else WORLD_X
    centre = np.array([_total(one) / one.size for one in corners])
    return engine.load("surface.rosette").Rosette(centre, zero, normal)


def _across(corners: list[np.ndarray]) -> list[np.ndarray]:
    """Return the three parts of the cross product of two sides of each triangle.

    `corners` holds x, y and z, (k, 3) each: axis by axis, which is quicker.
    """
    (ax, bx, cx), (ay, by, cy), (az, bz, cz) = (one.T for one in corners)
    ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    return [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx]


def _total(values: np.ndarray) -> float:
    """Return the sum, added one by one: always the same bits, which digests are made of."""
    import numpy as np

    return float(np.cumsum(values, axis=None)[-1])
