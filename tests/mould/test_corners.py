"""Hollow radii and bridged corners. Formulas are plane geometry, derived beside each number."""

import numpy as np
import pytest
from mould.moulds import any_turn, bowl, box, grid_faces, gutter, moved
from numpy.testing import assert_allclose

from flatten.mould.corners import bridge_gap, bridge_section, check_corners, find_corners
from flatten.mould.curvature import measure_turning
from flatten.mould.settings import MouldSettings, radius_of_cloth_mm
from flatten.surface.mesh import MouldMesh


def every(mesh):
    return np.arange(len(mesh.faces))


def corners(mesh, **settings):
    settings = MouldSettings(**settings)
    return find_corners(mesh, measure_turning(mesh, every(mesh)), settings)


@pytest.mark.parametrize("facets", [4, 8, 16])
@pytest.mark.parametrize("turn_seed", [None, 1])
def test_a_faceted_fillet_gives_its_radius(facets, turn_seed):
    """Corners on the arc: a chord of 2 R sin(t / 2) turns by t to the next, so R is exact."""
    mesh = gutter(40, 40, 10, facets, 60)
    if turn_seed is not None:
        mesh = moved(mesh, any_turn(turn_seed), (5, 6, 7))

    turning = measure_turning(mesh, every(mesh))

    assert turning.radius_mm.min() == pytest.approx(10.0, abs=1e-9)
    inner = np.isclose(turning.radius_mm, 10.0, rtol=1e-9).sum()
    assert inner == 2 * 4 * (facets - 2)  # all but the first and the last facet


def test_a_hollow_sphere_has_its_radius_in_both_directions():
    for rings in (16, 32, 64):
        mesh = bowl(50, 60, rings=rings, segments=4 * rings)
        middle = np.linalg.norm(mesh.corners.mean(axis=1)[:, :2], axis=1)
        belt = (middle > 15) & (middle < 38)
        radius = measure_turning(mesh, every(mesh)).radius_mm[belt]
        assert_allclose(radius, 50, rtol=0.1 * 16 / rings)


def test_bulges_and_flats_have_no_hollow_radius():
    inside_out = gutter(40, 40, 10, 8, 60)
    bulge = MouldMesh(inside_out.vertices, inside_out.faces[:, ::-1])

    assert np.isinf(measure_turning(bulge, every(bulge)).radius_mm).all()
    cube = box([0, 0, 0], [10, 20, 30])
    assert np.isinf(measure_turning(cube, every(cube)).radius_mm).all()
    assert corners(cube) == []


@pytest.mark.parametrize("slim", [False, True])
def test_a_flat_floor_of_slivers_is_not_mistaken_for_a_tight_radius(slim):
    """One more row of vertices 0.2 mm before the fillet: as CAD files come."""
    mesh = gutter(40, 40, 10, 8, 60)
    if slim:
        row = mesh.vertices[:5] * [0, 1, 1] + [-0.2, 0, 0]
        points = np.concatenate([mesh.vertices[:5], row, mesh.vertices[5:]])
        mesh = MouldMesh(points, grid_faces(len(points) // 5, 5)[:, [0, 2, 1]])

    assert measure_turning(mesh, every(mesh)).radius_mm.min() == pytest.approx(10, abs=1e-9)


@pytest.mark.parametrize(
    ("included_deg", "r", "rc", "gap", "section"),
    [
        (90, 0, 3, 1.2426, 1.9314),
        (90, 0, 5, 2.0711, 5.3650),
        (120, 0, 3, 0.4641, 0.4838),
        (60, 0, 3, 3.0000, 6.1637),
        (90, 2, 5, 1.2426, 4.5066),
    ],
)
def test_gap_and_resin_of_a_bridged_corner(included_deg, r, rc, gap, section):
    """Two circles in one corner: their centres lie R / sin(q / 2) from its tip."""
    turn = np.pi - np.radians(included_deg)

    assert float(bridge_gap(rc, r, turn)) == pytest.approx(gap, abs=5e-5)
    assert float(bridge_section(rc, r, turn)) == pytest.approx(section, abs=5e-5)


def test_resin_section_agrees_with_counting_squares():
    """Area between the corner of 90 degrees and a circle of 3 mm, on a grid of 0.0025 mm."""
    x = (np.arange(1200) + 0.5) * 0.0025
    outside = (x[:, None] - 3) ** 2 + (x - 3) ** 2 > 9

    area = outside.sum() * 0.0025**2

    assert float(bridge_section(3, 0, np.pi / 2)) == pytest.approx(area, rel=1e-3)


def test_cloth_that_can_follow_leaves_no_gap():
    assert bridge_gap(3, 3, np.pi / 2) == 0
    assert bridge_gap(3, 8, np.pi / 2) == 0
    assert bridge_section(3, 8, np.pi / 2) == 0


def test_a_sharp_corner_is_one_line_of_the_list():
    """90 degrees, 3 mm cloth: gap 3 (sqrt 2 - 1) = 1.243 mm; resin 1.9314 mm2 x 60 mm x 1.15."""
    [spot] = corners(gutter(40, 40, 0, 0, 60))

    assert spot.number == 1
    assert spot.sharp
    assert spot.radius_mm == 0
    assert spot.turn_deg == pytest.approx(90)
    assert spot.length_mm == pytest.approx(60)
    assert spot.gap_mm == pytest.approx(1.2426, abs=5e-5)
    assert spot.resin_g == pytest.approx(9 * (1 - np.pi / 4) * 60 * 1.15 / 1000, rel=1e-9)
    assert spot.fillet_mm == 3
    assert_allclose(spot.middle_mm, [0, 30, 0], atol=1e-9)
    assert len(spot.edges) == 4
    assert len(spot.faces) == 8


def test_a_tight_fillet_is_found_with_its_length_turn_and_gap():
    """R 2 of 90 degrees against cloth of 5 mm: gap (5 - 2)(sqrt 2 - 1)."""
    [spot] = corners(gutter(40, 40, 2, 8, 60), cloth_radius_mm=5)

    assert not spot.sharp
    assert spot.radius_mm == pytest.approx(2, abs=1e-9)
    assert spot.turn_deg == pytest.approx(90, rel=0.01)
    assert spot.length_mm == pytest.approx(60, rel=0.01)
    assert spot.gap_mm == pytest.approx(3 * (np.sqrt(2) - 1), rel=0.03)


@pytest.mark.parametrize(("cloth", "laminate", "found"), [(3, 0, 0), (5.5, 0, 1), (3, 2.75, 1)])
def test_the_cloth_or_two_laminate_thicknesses_decide(cloth, laminate, found):
    """A 4 mm fillet: light cloth follows, heavy cloth or a thick laminate does not."""
    spots = corners(gutter(40, 40, 4, 8, 60), cloth_radius_mm=cloth, laminate_mm=laminate)

    assert len(spots) == found


@pytest.mark.parametrize(
    ("gsm", "radius"), [(80, 3), (200, 3), (300, 4), (400, 5), (600, 5)], ids=str
)
def test_heavier_cloth_wants_a_larger_radius(gsm, radius):
    """3 mm for light cloth, 5 for 400 g/m2 and more: common practice, no source."""
    assert radius_of_cloth_mm(gsm) == pytest.approx(radius)


def test_a_radius_that_is_not_set_is_that_of_a_light_cloth_until_the_cloth_is_known():
    assert MouldSettings().pressable_radius_mm == 3
    assert MouldSettings(laminate_mm=2).pressable_radius_mm == 4


def test_the_floor_of_a_box_gives_a_spot_for_each_side():
    """A tray of 100 x 60 x 30 inside: four floor corners and four uprights."""
    cube = box([0, 0, 0], [100, 60, 30])
    open_top = cube.faces[cube.normals[:, 2] < 0.5][:, ::-1]

    spots = corners(MouldMesh(cube.vertices, open_top))

    lengths = sorted(round(spot.length_mm, 6) for spot in spots)
    assert lengths == [30, 30, 30, 30, 60, 60, 100, 100]
    assert [spot.number for spot in spots] == list(range(1, 9))
    assert spots[0].length_mm == pytest.approx(100)  # most resin first


def test_findings_sum_up():
    mesh = gutter(40, 40, 0, 0, 60)
    settings = MouldSettings()

    [finding] = check_corners(
        find_corners(mesh, measure_turning(mesh, every(mesh)), settings), settings
    )

    assert finding.code == "sharp_corner"
    assert "60 mm in all" in finding.message
    assert "1.2 mm" in finding.message
    assert "a fillet of 3 mm" in finding.hint


def test_a_mesh_that_does_not_follow_the_fillet_reads_a_third_too_large_at_most():
    """Random points on a quarter cylinder of R 10, joined in the plane of its development."""
    from scipy.spatial import Delaunay

    rng = np.random.default_rng(4)
    flat = rng.uniform([0, 0], [np.pi / 2 * 10, 60], size=(3000, 2))
    faces = Delaunay(flat).simplices
    angle = flat[:, 0] / 10
    points = np.column_stack([10 * np.sin(angle), flat[:, 1], 10 - 10 * np.cos(angle)])
    mesh = MouldMesh(points, faces)
    if mesh.normals[:, 2].mean() < 0:
        mesh = MouldMesh(points, faces[:, ::-1])
    middle = mesh.corners.mean(axis=1)
    inside = (np.abs(middle[:, 1] - 30) < 25) & (
        np.abs(np.arctan2(middle[:, 0], 10 - middle[:, 2]) - 0.8) < 0.6
    )

    radius = measure_turning(mesh, every(mesh)).radius_mm[inside]

    assert 10 * 0.7 < np.median(radius) < 10 * 4 / 3
