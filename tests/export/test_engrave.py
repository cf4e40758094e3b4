"""Engraved moulds: closed, as deep as asked, only where asked; tapes on known shapes."""

import io

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

from flatten.errors import InputError
from flatten.export.engrave import (
    engrave,
    ply_outline_lines,
    tack_lines,
    volume_mm3,
)
from flatten.export.split import distance_to_pieces, split_near
from flatten.export.tape import lay_tape, tack_place
from flatten.surface.mesh import MouldMesh
from flatten.surface.rosette import Rosette
from flatten.surface.stl import stl_bytes

ROSETTE = Rosette([0, 0, 0], [1, 0, 0], [0, 0, 1])
UP = np.array([0.0, 0, 1])


def block(size=(60.0, 40.0, 20.0)) -> MouldMesh:
    """A closed block of twelve triangles, its top at z = 0."""
    solid = trimesh.creation.box(size)
    return MouldMesh(np.asarray(solid.vertices) - [0, 0, size[2] / 2], np.asarray(solid.faces))


def ball(radius=50.0, subdivisions=3) -> MouldMesh:
    solid = trimesh.creation.icosphere(subdivisions, radius)
    return MouldMesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def upper(mesh: MouldMesh, share: float = 0.5) -> np.ndarray:
    return np.flatnonzero(mesh.normals[:, 2] > share)


def closed(mesh: MouldMesh) -> bool:
    """Every edge joins exactly two faces that agree on the outside."""
    return (mesh.edges.count == 2).all() and not mesh.edges.flipped.any()


def test_a_groove_in_a_flat_top_has_the_depth_width_and_volume_asked_for():
    """Cross-section of the trench: full depth over half the width, straight flanks: 3/4 w d."""
    mould, line = block(), np.array([[-20.0, 0, 0], [20, 0, 0]])

    cut = engrave(mould, [line], depth_mm=0.5, width_mm=1.0)

    removed = volume_mm3(mould) - volume_mm3(cut)
    assert cut.vertices[:, 2].max() == 0
    lowest = cut.vertices[(np.abs(cut.vertices[:, :2]) < [19, 0.5]).all(axis=1), 2]
    assert lowest[lowest > -5].min() == pytest.approx(-0.5, abs=1e-9)
    assert removed == pytest.approx(40 * 0.75 * 1.0 * 0.5, rel=0.08)  # ends are round
    touched = cut.vertices[(cut.vertices[:, 2] < 0) & (cut.vertices[:, 2] > -5)]
    assert np.abs(touched[:, 1]).max() < 0.5


def test_the_far_side_of_the_block_is_left_alone():
    mould = block()
    cut = engrave(mould, [np.array([[-20.0, 0, 0], [20, 5, 0]])])

    assert_allclose(cut.vertices.min(axis=0), mould.vertices.min(axis=0))
    assert_allclose(cut.vertices.max(axis=0), mould.vertices.max(axis=0))


@pytest.mark.parametrize("share", [0.3, 0.7])
def test_an_engraved_ball_is_watertight_by_two_counts(share):
    """Ours: each edge in two faces that agree. The other: trimesh, reading the STL."""
    mould = ball()
    faces = upper(mould, share)
    lines = ply_outline_lines(mould, faces)
    lines += tack_lines(mould, faces, np.array([0, 0, 50.0]), ROSETTE)

    cut = engrave(mould, lines, depth_mm=0.6, width_mm=1.2)
    read = trimesh.load(io.BytesIO(stl_bytes(cut, "ball")), file_type="stl")

    assert closed(cut)
    assert read.is_watertight
    assert read.is_winding_consistent
    assert read.volume == pytest.approx(volume_mm3(cut), rel=1e-5)
    radius = np.linalg.norm(cut.vertices, axis=1)
    assert radius.min() == pytest.approx(np.linalg.norm(mould.vertices, axis=1).min(), abs=0.9)
    assert 0 < volume_mm3(mould) - volume_mm3(cut) < 0.01 * volume_mm3(mould)


def test_a_groove_over_a_sharp_edge_does_not_fold():
    """From the top over the edge and down the side of the block."""
    mould = block()
    line = np.array([[10.0, 0, 0], [30, 0, 0], [30, 0, -10]])

    cut = engrave(mould, [line], depth_mm=0.4, width_mm=0.8)

    assert closed(cut)
    assert volume_mm3(cut) < volume_mm3(mould)


def test_splitting_changes_no_shape_and_leaves_short_edges_near_the_line():
    mould = block()
    pieces = np.array([[[-20.0, 0, 0], [20, 7, 0]]])

    vertices, faces = split_near(mould.vertices, mould.faces, pieces, within_mm=0.5, edge_mm=0.4)
    split = MouldMesh(vertices, faces)

    assert closed(split)
    assert volume_mm3(split) == pytest.approx(volume_mm3(mould), rel=1e-12)
    ends = vertices[split.edges.vertices]
    near = distance_to_pieces(ends.mean(axis=1), pieces, 0.5) < 0.5
    assert near.sum() > 200
    assert np.linalg.norm(ends[near, 1] - ends[near, 0], axis=1).max() <= 0.4


def test_the_distance_to_lines_is_that_to_the_nearest_piece():
    """Against shapely in the plane."""
    shapely = pytest.importorskip("shapely")
    random = np.random.default_rng(7)
    points = random.uniform(-10, 10, (400, 2))
    line = shapely.LineString([(-8, -3), (0, 4), (7, -6)])
    corners = np.array(line.coords)
    pieces = np.stack([corners[:-1], corners[1:]], axis=1)
    flat = np.concatenate([pieces, np.zeros((2, 2, 1))], axis=2)

    found = distance_to_pieces(np.column_stack([points, np.zeros(400)]), flat, 3.0)

    expected = shapely.distance(shapely.points(points), line)
    assert_allclose(found[expected <= 3.0], expected[expected <= 3.0], atol=1e-12)
    assert np.isinf(found[expected > 3.0]).all()


def test_the_outline_of_a_region_is_its_rim():
    mould = block()
    (line,) = ply_outline_lines(mould, upper(mould))

    assert_allclose(line[0], line[-1])
    assert np.linalg.norm(np.diff(line, axis=0), axis=1).sum() == pytest.approx(2 * (60 + 40))


@pytest.mark.parametrize(
    ("settings", "reason"),
    [
        ({"depth_mm": 0.0}, "depth_mm is 0"),
        ({"depth_mm": 2.0}, "depth_mm is 2"),
        ({"depth_mm": float("nan")}, "depth_mm is nan"),
        ({"width_mm": 0.05}, "width_mm is 0.05"),
        ({"width_mm": 50}, "width_mm is 50"),
    ],
)
def test_grooves_no_printer_can_print_are_refused(settings, reason):
    with pytest.raises(InputError, match=reason):
        engrave(block(), [np.array([[0.0, 0, 0], [5, 0, 0]])], **settings)


def test_moulds_that_cannot_be_engraved_are_refused():
    mould = block()
    line = np.array([[0.0, 0, 0], [5, 0, 0]])
    with pytest.raises(InputError, match="not closed: 3 edges"):
        engrave(MouldMesh(mould.vertices, mould.faces[:-1]), [line])
    with pytest.raises(InputError, match="normals look inwards"):
        engrave(MouldMesh(mould.vertices, mould.faces[:, ::-1]), [line])
    flipped = mould.faces.copy()
    flipped[0] = flipped[0, ::-1]
    with pytest.raises(InputError, match="opposite"):
        engrave(MouldMesh(mould.vertices, flipped), [line])
    with pytest.raises(InputError, match="no line"):
        engrave(mould, [])
    with pytest.raises(InputError, match="too many triangles"):
        engrave(mould, [np.array([[0.0, 0, 0], [5000, 0, 0]])], width_mm=0.1, depth_mm=0.1)


def test_the_stl_is_binary_whatever_the_title():
    """A file that begins with "solid" is taken for text by many readers."""
    data = stl_bytes(block(), "solid Κ\nblock")

    assert not data.startswith(b"solid")
    assert len(data) == 84 + 50 * 12
    assert int.from_bytes(data[80:84], "little") == 12


def half_cylinder(radius=100.0, length=200.0, cells=24) -> MouldMesh:
    """A half pipe along x, seen from above: bottom at z = -radius."""
    angle = np.linspace(-np.pi / 2, np.pi / 2, cells + 1)
    x = np.linspace(0, length, 9)
    grid = np.array([[a, radius * np.sin(t), -radius * np.cos(t)] for a in x for t in angle])
    n = cells + 1
    faces = []
    for i in range(8):
        for j in range(cells):
            a = i * n + j
            faces += [[a, a + n, a + n + 1], [a, a + n + 1, a + 1]]
    return MouldMesh(grid, np.array(faces))


def test_a_tape_across_a_half_pipe_measures_its_facets():
    """A quarter circle in n chords: n 2 r sin(90 deg / 2 n); along the pipe: its length."""
    pipe = half_cylinder()
    every = np.arange(len(pipe.faces))
    start = np.array([80.0, 0, -100])

    across = lay_tape(pipe, every, start, np.array([0, 1.0, 0]), UP)
    along = lay_tape(pipe, every, start, np.array([1.0, 0, 0]), UP)

    chords = 12 * 2 * 100 * np.sin(np.pi / 4 / 12)
    assert across.length_mm == pytest.approx(chords, rel=1e-9)
    assert along.length_mm == pytest.approx(120, rel=1e-9)
    assert_allclose(across.points[-1], [80, 100, 0], atol=1e-6)
    assert across.upto(50).length_mm == pytest.approx(50)


def test_the_tack_point_is_given_from_two_edges_and_so_is_a_second_point():
    pipe = half_cylinder()
    place, edges = tack_place(
        pipe, np.arange(len(pipe.faces)), np.array([80.0, 0, -100]), ROSETTE, "ply 1"
    )

    chords = 12 * 2 * 100 * np.sin(np.pi / 4 / 12)
    assert place.edges == ("C", "D")
    assert place.tack_mm == pytest.approx((80, chords))
    assert place.ahead_by_mm == 100
    assert place.ahead_mm == pytest.approx((180, chords))
    named = dict(edges)
    assert_allclose(named["A"], [200, 0, -100], atol=1e-6)
    assert_allclose(named["D"], [80, -100, 0], atol=1e-6)


def test_a_tape_ends_at_the_edge_of_its_region():
    pipe = half_cylinder()
    middle = pipe.corners.mean(axis=1)
    region = np.flatnonzero(middle[:, 0] < 125)

    along = lay_tape(pipe, region, np.array([80.0, 0, -100]), np.array([1.0, 0, 0]), UP)

    assert along.length_mm == pytest.approx(45)
    with pytest.raises(InputError, match="no faces"):
        lay_tape(pipe, np.array([], int), np.zeros(3), np.array([1.0, 0, 0]), UP)


def test_on_an_upright_wall_the_tapes_follow_the_wall():
    """A drum of R 50, 60 high, open at both ends: up and down 30 mm each; round it a tape meets
    itself after one turn and goes no further."""
    turns, rows = np.linspace(0, 2 * np.pi, 49)[:-1], np.linspace(0, 60, 7)
    vertices = np.array([[50 * np.cos(a), 50 * np.sin(a), z] for z in rows for a in turns])
    cells = [(48 * k, j, (j + 1) % 48) for k in range(6) for j in range(48)]
    faces = [[k + j, k + i, k + 48 + i] for k, j, i in cells]
    faces += [[k + j, k + 48 + i, k + 48 + j] for k, j, i in cells]
    drum = MouldMesh(vertices, faces)
    start = np.array([-49.2, 8.7, 30.0])

    place, _ = tack_place(drum, np.arange(len(faces)), start, ROSETTE)

    assert place.tack_mm[1] == pytest.approx(30, abs=0.5)
    assert place.tack_mm[0] < 2 * np.pi * 50 + 10
