"""The rosette of a mould that has none of its own; knows no Blender."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import engine

if TYPE_CHECKING:
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
    corners = read.vertices[read.triangles[covered]]
    normal = _crossed(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
    length, size = float(np.linalg.norm(normal)), _longest_side(corners)
    normal = normal / length if length > 1e-9 * size**2 else np.array([0.0, 0.0, 1.0])
    axis = int(np.abs(normal).argmax())
    if abs(normal[axis]) > SNAP_COSINE:
        normal = np.sign(normal[axis]) * np.eye(3)[axis]
    zero = WORLD_Y if abs(normal[0]) > 0.9 else WORLD_X
    centre = corners.reshape(-1, 3).mean(axis=0)
    return engine.load("surface.rosette").Rosette(centre, zero, normal)


def _crossed(one: Any, other: Any) -> Any:
    """Return (k, 3) cross products; np.cross makes several times as many arrays."""
    import numpy as np

    made = np.empty_like(one)
    for axis in range(3):
        after, last = (axis + 1) % 3, (axis + 2) % 3
        made[:, axis] = one[:, after] * other[:, last] - one[:, last] * other[:, after]
    return made


def _longest_side(corners: Any) -> float:
    """Return the longest side of the box round (k, 3, 3) points; axis by axis, which is quicker."""
    axes = corners.reshape(-1, 3).T
    return float(max(axis.max() - axis.min() for axis in axes))
