"""Faces that only look joined, and surfaces with one side."""

import numpy as np
import pytest
from shapes import grid_faces
from surface.parts import everything

from flatten.errors import InputError
from flatten.mould.health import wrong_way
from flatten.surface.cut import Cut, cut
from flatten.surface.junctions import refuse_t_junctions, t_junctions
from flatten.surface.mesh import MouldMesh, SurfaceMesh
from flatten.surface.refine import refine_patch
from flatten.surface.region import Region


def plate_with_t(*, shared: bool, rim: bool) -> MouldMesh:
    """A plate 40 x 20 mm, cells of 10 mm; the edge from (20, 0) or (20, 10) on has a point more on
    its right side. `shared`: the line's other vertices are common to both sides."""
    x, y = np.meshgrid(np.arange(0, 41, 10.0), np.arange(0, 21 if rim else 41, 10.0))
    points = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    faces = []
    rows, columns = x.shape
    low = 0 if rim else 1
    extra = len(points)
    for row in range(rows - 1):
        for column in range(columns - 1):
            a, b = row * columns + column, row * columns + column + 1
            c, d = b + columns, a + columns
            if (row, column) == (low, 2):  # the cell right of the line: fan from the new point
                faces += [[extra, a, b], [extra, b, c], [extra, c, d]]
            else:
                faces += [[a, b, c], [a, c, d]]
    points = np.vstack([points, [20, 10 * low + 5, 0]])
    if not shared:  # all of the right half stands on vertices of its own
        faces = np.array(faces)
        right = points[faces].mean(axis=1)[:, 0] > 20
        copy = np.full(len(points), -1)
        on_line = np.flatnonzero((points[:, 0] == 20) & (np.arange(len(points)) != extra))
        copy[on_line] = len(points) + np.arange(len(on_line))
        lifted = points[on_line]
        points = np.vstack([points, lifted])
        moved = faces[right]
        faces[right] = np.where(copy[moved] >= 0, copy[moved], moved)
    return MouldMesh(points, faces)


@pytest.mark.parametrize(("shared", "rim"), [(True, True), (True, False), (False, True)])
def test_a_t_junction_is_named_with_its_faces_and_a_way_out(shared, rim):
    mould = plate_with_t(shared=shared, rim=rim)
    with pytest.raises(InputError, match="T-junction") as refused:
        cut(mould, everything(mould))

    place = np.array([20, 5 if rim else 15, 0])
    near = np.abs(mould.corners - place).max(axis=2).min(axis=1) < 5.1
    across = near & (np.abs(mould.corners[:, :, 0] - 20).min(axis=1) == 0)
    assert set(refused.value.faces) <= set(np.flatnonzero(across))
    sides = mould.corners[list(refused.value.faces)].mean(axis=1)[:, 0] > 20
    assert sides.any()
    assert not sides.all()
    assert "merge vertices by distance" in refused.value.hint
    assert f"({place[0]:.1f}, {place[1]:.1f}, 0.0)" in refused.value.message


def test_a_vertex_beside_an_edge_is_no_junction():
    """A slot 0.1 mm wide is a slot."""
    mould = plate_with_t(shared=True, rim=False)
    points = np.array(mould.vertices)
    points[-1, 0] += 0.1

    assert not len(t_junctions(MouldMesh(points, mould.faces))[0])


@pytest.mark.parametrize("seam", [False, True])
def test_the_sides_of_a_cut_need_not_be_divided_alike(seam):
    """A dart from a hole's rim, and a seam with both ends inside: refined one side more."""
    x, y = np.meshgrid(np.linspace(0, 80, 9), np.linspace(0, 80, 9))
    points = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    faces = grid_faces(9, 9)
    middle = points[faces].mean(axis=1)
    hole = (np.abs(middle[:, :2] - 35) < 5).all(axis=1)
    mould = MouldMesh(points, faces[~hole])
    if seam:
        line = [9 * 2 + column for column in (2, 3, 4, 5)]
        patch = cut(mould, everything(mould), seams=np.column_stack([line[:-1], line[1:]]))[0]
    else:
        dart = Cut(id="d", kind="dart", path=[[40, 35, 0], [63, 37, 0]])
        patch = cut(mould, everything(mould), [dart])[0]
    fine = refine_patch(patch, max_edge_mm=3)[0].surface

    refuse_t_junctions(fine)
    below = fine.corners.mean(axis=1)[:, 1] < (20 if seam else 36)
    assert 50 < below.sum() < len(below)
    uneven = _split_rim_edges(fine, below)
    assert len(t_junctions(uneven)[0])
    refuse_t_junctions(uneven)


def _split_rim_edges(mesh, chosen):
    """Halve the rim edges of the chosen faces."""
    edges, points, faces = mesh.edges, list(mesh.vertices), []
    for number, row in enumerate(mesh.faces.tolist()):
        side = np.flatnonzero(edges.boundary[edges.of_face[number]])
        if not chosen[number] or not len(side):
            faces.append(row)
            continue
        a, b, c = (row[(side[0] + k) % 3] for k in range(3))
        points.append((points[a] + points[b]) / 2)
        faces += [[a, len(points) - 1, c], [len(points) - 1, b, c]]
    return MouldMesh(np.array(points), faces)


def moebius(quads: int = 24) -> tuple[np.ndarray, list[list[int]]]:
    angle = 2 * np.pi * np.arange(quads) / quads
    rows = [
        np.column_stack(
            [
                (60 + w * np.cos(angle / 2)) * np.cos(angle),
                (60 + w * np.cos(angle / 2)) * np.sin(angle),
                w * np.sin(angle / 2),
            ]
        )
        for w in (-10, 10)
    ]
    faces = []
    for k in range(quads):
        a, b = k, quads + k
        c, d = (k + 1, quads + k + 1) if k < quads - 1 else (quads, 0)
        faces += [[a, c, b], [c, d, b]]
    return np.concatenate(rows), faces


@pytest.mark.parametrize("seed", range(3))
def test_a_moebius_strip_is_told_where_a_cut_gives_it_two_sides(seed):
    """However its faces are wound; checked by the mould's own look at windings."""
    points, faces = moebius()
    rng = np.random.default_rng(seed)
    faces = np.array([row[::-1] if rng.random() < 0.3 else row for row in faces])[
        rng.permutation(48)
    ]
    with pytest.raises(InputError, match="only one side") as refused:
        SurfaceMesh(points, faces, source_faces=100 + np.arange(48))

    named = np.array(refused.value.faces) - 100
    assert 2 <= len(named) <= 6  # across the band, not along it
    assert "Cut it across from" in refused.value.hint
    left = MouldMesh(points, np.delete(faces, named, axis=0))
    wrong, one_sided = wrong_way(left)
    assert not one_sided.any()
    two = np.where(wrong[:, None], left.faces[:, ::-1], left.faces)
    used, numbers = np.unique(two, return_inverse=True)
    assert len(SurfaceMesh(points[used], numbers.reshape(-1, 3)).faces) == len(two)


def test_faces_turned_over_on_a_band_with_two_sides_are_only_turned_over():
    points, faces = moebius()
    faces = np.array(faces)[:-2]
    faces[7] = faces[7][::-1]
    with pytest.raises(InputError, match="opposite sides"):
        SurfaceMesh(points, faces)


def test_a_region_in_pieces_for_want_of_joined_vertices_says_so():
    mould = plate_with_t(shared=False, rim=True)
    with pytest.raises(InputError, match="T-junction"):
        cut(mould, Region("part", np.arange(len(mould.faces))))
