"""Size, health, crossings and walls. Crossings are compared with libigl."""

import igl
import numpy as np
import pytest
from mould.moulds import any_turn, bowl, box, joined, moved, pot, torus
from numpy.testing import assert_allclose

from flatten.mould.crossings import check_crossings, crossing_faces
from flatten.mould.health import check_health, check_size, is_closed, wrong_way
from flatten.mould.walls import check_walls, wall_thickness
from flatten.mould.weld import weld
from flatten.surface.mesh import MouldMesh


def found(mesh):
    return {finding.code: finding for finding in check_health(weld(mesh))}


def loose(mesh):
    """Each triangle with vertices of its own, as in an STL file."""
    return MouldMesh(mesh.corners.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3))


@pytest.mark.parametrize("mesh", [torus(100, 30), box([0, 0, 0], [90, 60, 30]), pot()[0]])
def test_a_sound_block_has_nothing_to_report(mesh):
    assert is_closed(mesh)
    assert found(mesh) == {}
    assert check_size(mesh) == []
    assert check_crossings(mesh) == []


@pytest.mark.parametrize(
    ("size", "said"),
    [
        (11.8, "300 mm if its numbers are inches"),
        (0.3, "300 mm if its numbers are metres"),
        (24, "610 mm if its numbers are inches"),
        (300_000, "300 mm if mm were read as metres"),
    ],
)
def test_an_unlikely_size_asks_for_the_unit(size, said):
    [finding] = check_size(box([0, 0, 0], [size, size / 2, size / 3]))

    assert finding.code == "size"
    assert "mm or inches?" in finding.message
    assert said in finding.message
    assert f"{size:.4g}" in finding.message


@pytest.mark.parametrize("size", [26, 300, 9000])
def test_a_likely_size_does_not(size):
    assert check_size(box([0, 0, 0], [size, 10, 10])) == []


def test_vertices_stored_for_each_triangle_are_merged_and_told():
    mesh = torus(100, 30)

    welded = weld(loose(mesh))

    assert len(welded.mesh.vertices) == len(mesh.vertices)
    assert_allclose(welded.mesh.corners, mesh.corners)
    assert set(found(loose(mesh))) == {"doubled_vertices"}
    assert_allclose(loose(mesh).vertices[welded.vertices], welded.mesh.vertices)


def test_vertices_a_rounding_apart_are_merged_too():
    mesh = loose(torus(100, 30))
    noise = np.random.default_rng(1).uniform(-2e-5, 2e-5, mesh.vertices.shape)

    welded = weld(MouldMesh(mesh.vertices + noise, mesh.faces))

    assert not welded.mesh.edges.boundary.any()


def test_vertices_a_tenth_of_a_millimetre_apart_are_not():
    two, _ = joined(box([0, 0, 0], [50, 50, 50]), box([50.1, 0, 0], [99, 50, 50]))
    assert weld(two).doubled == 0


def test_missing_faces_are_open_edges_with_their_length():
    mesh = box([0, 0, 0], [40, 40, 40])
    lid = (mesh.normals[:, 2] > 0.5).nonzero()[0]
    mesh = MouldMesh(mesh.vertices, np.delete(mesh.faces, lid[:1], axis=0))

    finding = found(mesh)["open_edges"]

    assert "3 open edges in 1 rim" in finding.message
    assert f"{80 + np.hypot(40, 40):.0f} mm" in finding.message
    assert finding.severity == "note"  # an eighth of it is gone: taken for a skin
    assert len(finding.faces) == 3


def test_a_small_hole_in_a_block_is_a_warning():
    mesh = torus(100, 30)
    finding = found(MouldMesh(mesh.vertices, mesh.faces[1:]))["open_edges"]

    assert finding.severity == "warning"
    assert "not tight" in finding.message


def test_flipped_faces_are_found_one_by_one():
    mesh, flipped = torus(100, 30), [7, 100, 101, 900]
    faces = mesh.faces.copy()
    faces[flipped] = faces[flipped][:, ::-1]

    assert found(MouldMesh(mesh.vertices, faces))["flipped_faces"].faces == tuple(flipped)


def test_half_of_the_faces_flipped_at_random():
    """The smaller half is called wrong, whichever that is."""
    mesh = bowl(100, 80)
    pick = np.random.default_rng(2).random(len(mesh.faces)) < 0.4
    faces = mesh.faces.copy()
    faces[pick] = faces[pick][:, ::-1]

    wrong, one_sided = wrong_way(MouldMesh(mesh.vertices, faces))

    assert mesh.areas[pick].sum() < 0.5 * mesh.areas.sum()
    assert (wrong == pick).all()
    assert not one_sided.any()


def test_a_twisted_band_has_one_side():
    """A Moebius strip of 20 quads."""
    turn = np.linspace(0, 2 * np.pi, 21)[:-1]
    out = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    half = np.cos(turn / 2)[:, None] * out + np.sin(turn / 2)[:, None] * [0, 0, 1]
    points = np.concatenate([100 * out + 20 * half, 100 * out - 20 * half])
    faces = []
    for i in range(20):
        j, twist = (i + 1) % 20, i == 19
        a, b, c, d = i, i + 20, (j if not twist else j + 20), (j + 20 if not twist else j)
        faces += [[a, b, d], [a, d, c]]

    finding = found(MouldMesh(points, faces))["flipped_faces"]

    assert "only one side" in finding.message
    assert finding.faces


def test_a_block_turned_inside_out():
    mesh = torus(100, 30)
    assert "inside_out" in found(MouldMesh(mesh.vertices, mesh.faces[:, ::-1]))


def test_doubled_and_crowded_and_flat_faces():
    mesh = box([0, 0, 0], [40, 40, 40])
    faces = [*mesh.faces.tolist(), [*mesh.faces[4]], [0, 1, 1], [0, 3, 7]]

    codes = found(MouldMesh(mesh.vertices, faces))

    assert codes["doubled_faces"].faces == (12,)
    assert codes["no_area"].faces == (13,)
    assert {4, 12} <= set(codes["crowded_edges"].faces)


def test_two_balls_through_each_other_cross_where_igl_says():
    """Every pair of faces tested by igl's triangle test, which is not ours."""
    one = bowl(60, 170, rings=12, segments=24)
    mesh, first = joined(one, moved(one, any_turn(5), (50, 7, 3)))

    pairs = crossing_faces(mesh)

    ours = {tuple(sorted(pair)) for pair in pairs.tolist()}
    theirs = set()
    low, high = mesh.corners.min(axis=1), mesh.corners.max(axis=1)
    for i in range(first[1]):
        near = np.flatnonzero(((low[i] <= high) & (high[i] >= low)).all(axis=1))
        for j in near[near >= first[1]]:
            hit = igl.tri_tri_intersection_test_3d(
                *mesh.corners[i][:, None], *mesh.corners[j][:, None]
            )
            if hit[0] if isinstance(hit, tuple) else hit:
                theirs.add((i, int(j)))
    assert len(ours) > 30
    assert ours == theirs


def test_touching_is_not_crossing():
    """Boxes side by side share a plane only; faces of one plane that overlap are reported."""
    apart, _ = joined(box([0, 0, 0], [40, 40, 40]), box([40, 41, 0], [80, 80, 40]))
    assert check_crossings(apart) == []
    inside, _ = joined(box([0, 0, 0], [40, 40, 40]), box([40, 10, 10], [80, 30, 30]))
    pairs = crossing_faces(inside)
    assert len(pairs)
    assert (inside.normals[pairs[:, 0], 0] == -inside.normals[pairs[:, 1], 0]).all()


def test_a_face_folded_back_is_found():
    points = [[0, 0, 0], [40, 0, 0], [20, 30, 0], [20, 20, 0.01]]
    mesh = MouldMesh(points, [[0, 1, 2], [1, 0, 3]])
    assert crossing_faces(mesh).tolist() == [[0, 1]]


@pytest.mark.parametrize(("limit", "thin"), [(2.5, False), (3.5, True)])
def test_wall_between_two_balls(limit, thin):
    """A shell of 3 mm; 3-degree facets lie inside their ball by 0.03 to 0.06 mm, edges by none."""
    outer = bowl(80, 179.99, rings=60, segments=120)
    inner = bowl(77, 179.99, rings=60, segments=120)
    shell, _ = joined(MouldMesh(outer.vertices, outer.faces[:, ::-1]), inner)

    thickness = wall_thickness(shell, limit)

    assert np.isfinite(thickness).all() == thin
    if thin:
        assert_allclose(thickness, 3, atol=0.12)
        [finding] = check_walls(thickness, limit)
        assert len(finding.faces) == len(shell.faces)
        assert finding.code == "thin_wall"
    else:
        assert check_walls(thickness, limit) == []


def test_edges_and_chamfers_are_no_thin_walls():
    """A box is 30 mm thick everywhere, though its edges are sharp."""
    assert check_walls(wall_thickness(box([0, 0, 0], [90, 60, 30]), 10), 10) == []


def test_the_edge_of_a_wedge_is_no_thin_wall():
    """A prism of 60 degrees: its sides meet, but do not stand opposite each other."""
    points = [[x, y, z] for y in (0, 80) for x, z in ((0, 0), (60, 0), (30, 52))]
    sides = [[0, 1, 4, 3], [1, 2, 5, 4], [2, 0, 3, 5]]
    faces = [[a, b, c] for a, b, c, _ in sides] + [[a, c, d] for a, _, c, d in sides]
    wedge = MouldMesh(points, np.array([*faces, [0, 2, 1], [3, 4, 5]])[:, ::-1])
    assert "inside_out" not in found(wedge)
    assert found(wedge) == {}

    assert np.isnan(wall_thickness(wedge, 10)).all()


def test_a_thin_plate_is_measured():
    plate = box([0, 0, 0], [90, 60, 2.2])
    assert np.nanmin(wall_thickness(plate, 3)) == pytest.approx(2.2)
