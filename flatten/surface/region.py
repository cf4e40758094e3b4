"""Region: the named set of mould faces a ply covers; grown from a point, its rim, its pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints, frozen_floats, frozen_ints
from ..errors import InputError
from .edges import Edges
from .joined import joined
from .junctions import refuse_t_junctions
from .locate import locate
from .mesh import MouldMesh, components


@dataclass(frozen=True, eq=False, init=False)
class Region:
    """The mould faces a ply covers: `faces` (k,) sorted, each once, never empty.

    Raises
    ------
    InputError : no faces, a negative face, not whole numbers
    """

    name: str
    faces: Ints

    def __init__(self, name: str, faces: ArrayLike) -> None:
        given = frozen_ints(f"Region '{name}': faces", faces, (None,))
        if not len(given):
            raise InputError(f"Region '{name}' has no faces.", "Select at least one face for it.")
        if given.min() < 0:
            raise InputError(
                f"Region '{name}' names face {given.min()}.", "Select the region's faces again."
            )
        object.__setattr__(self, "name", name)
        object.__setattr__(self, "faces", frozen_ints("faces", np.unique(given), (None,)))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Region):
            return NotImplemented
        return self.name == other.name and np.array_equal(self.faces, other.faces)

    def __hash__(self) -> int:
        return hash((self.name, self.faces.tobytes()))


def check_region(mesh: MouldMesh, region: Region) -> None:
    """Refuse a region that is not on this mould or not in one piece.

    Raises
    ------
    InputError : a face beyond the mould's; more than one piece (names all but the largest), or
        T-junctions between them
    """
    check_range(mesh, region)
    piece = components(mesh.faces[region.faces])
    count = np.bincount(piece)
    if len(count) > 1:
        refuse_t_junctions(MouldMesh(mesh.vertices, mesh.faces[region.faces]), region.faces)
        smaller = region.faces[piece != count.argmax()]
        raise InputError(
            f"Region '{region.name}' is in {len(count)} pieces; {len(smaller)} of its "
            f"{len(region.faces)} faces hang apart from the largest.",
            "Take those faces out, join the pieces, or make a ply of each; "
            "if they look joined, merge vertices by distance.",
            faces=smaller,
        )


def check_range(mesh: MouldMesh, region: Region) -> None:
    """Refuse faces the mould does not have.

    Raises
    ------
    InputError : naming the first of them
    """
    beyond = region.faces[region.faces >= len(mesh.faces)]
    if len(beyond):
        raise InputError(
            f"Region '{region.name}' names face {beyond[0]}, but the mould has only "
            f"{len(mesh.faces)} faces.",
            "Select the region's faces again; the mould was changed.",
        )


def region_from_point(mesh: MouldMesh, name: str, point_mm: ArrayLike, angle_deg: float) -> Region:
    """Return the smooth region round the mould point nearest to `point_mm` (3,) mm.

    See `grow_to_sharp_edges` for `angle_deg` and the errors.
    """
    point = frozen_floats(f"Region '{name}': point", point_mm, (3,))
    seed = locate(mesh, point[None]).faces[0]
    return Region(name, grow_to_sharp_edges(mesh, int(seed), angle_deg))


def grow_to_sharp_edges(mesh: MouldMesh, seed_face: int, angle_deg: float) -> Ints:
    """Return (k,) the faces reached from `seed_face` without crossing a sharp edge.

    Parameters
    ----------
    mesh : the mould
    seed_face : where to start
    angle_deg : an edge is sharp where the normals either side differ by more than this, 0..180.
        Edges in one face, or in three and more, stop the growth too.

    Raises
    ------
    InputError : the seed is not on the mould; the angle is outside 0..180
    """
    check_range(mesh, Region("seed", [seed_face]))
    if not 0 <= angle_deg <= 180:
        raise InputError(
            f"The edge angle is {angle_deg} degrees.", "Enter an angle between 0 and 180."
        )
    edges = mesh.edges
    smooth = (edges.count == 2) & (edge_angles(mesh) <= np.radians(angle_deg) + 1e-9)
    piece = joined(len(mesh.faces), edges.faces[smooth])
    return np.flatnonzero(piece == piece[seed_face])


def edge_angles(mesh: MouldMesh) -> Floats:
    """Return (k,) radians between the normals either side of each edge; 0 at a boundary."""
    normals, pairs = mesh.normals, mesh.edges.faces
    first, second = normals[pairs[:, 0]], normals[pairs[:, 1]]
    sine = np.linalg.norm(np.cross(first, second), axis=1)
    angle: Floats = np.arctan2(sine, (first * second).sum(axis=1))
    angle[pairs[:, 1] < 0] = 0
    return angle


def region_boundary(mesh: MouldMesh, region: Region) -> Ints:
    """Return (k, 2) the edges round the region, directed with the region on their left."""
    faces = mesh.faces[region.faces]
    edges = Edges(faces)
    face, corner = np.nonzero(edges.boundary[edges.of_face])
    return np.column_stack([faces[face, corner], faces[face, (corner + 1) % 3]])
