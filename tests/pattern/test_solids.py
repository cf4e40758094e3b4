"""Patterns known on paper: a cube's net, a frustum's development, the gores of a sphere."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from pattern.solids import cube, dressed, frustum, gored_sphere, patches_of
from shapely import LineString, affinity

from flatten.pattern.alike import merge_identical
from flatten.pattern.settings import Dressing


def run_lengths(pattern, joint):
    """Flat lengths of the sides of a joint on one piece."""
    return [
        float(np.linalg.norm(np.diff(run.points, axis=0), axis=1).sum())
        for run in pattern.runs
        if run.joint == joint
    ]


def test_a_cube_opens_to_its_net():
    """Six squares in one piece, 14 edges round it, each seam the edge of the cube on both sides."""
    edge = 60.0
    patches = patches_of(*cube(edge))

    (pattern,) = dressed(patches, [(30, 30, 0)], (1, 0, 0))

    assert_allclose(pattern.net.area, 6 * edge**2, rtol=1e-6)
    assert_allclose(pattern.net.length, 14 * edge, rtol=1e-6)
    joints = sorted({run.joint for run in pattern.runs})
    assert sum(len(run_lengths(pattern, joint)) for joint in joints) >= 10
    total = sum(sum(run_lengths(pattern, joint)) for joint in joints)
    assert_allclose(total, 14 * edge, rtol=1e-6)
    for run in pattern.runs:
        flat = np.linalg.norm(np.diff(run.points, axis=0), axis=1).sum()
        assert_allclose(np.ptp(run.mould_mm), flat, rtol=1e-6)  # developable: as on the mould
    assert_allclose(pattern.cut.area, pattern.net.area, rtol=1e-6)  # butted all round
    assert_allclose(pattern.mould_area_mm2, 6 * edge**2, rtol=1e-12)


def test_a_frustum_develops_to_a_ring_sector():
    """r 40 and 100, h 80: slant 100, radii 66.667 and 166.667, 216 degrees; in facets exactly.

    Source: the development of a cone, s = hypot(h, r2 - r1), R = s r / (r2 - r1).
    """
    count = 160
    patches = patches_of(*frustum(40, 100, 80, count), refined=False)

    (pattern,) = dressed(patches, [(-100, 0, 0)], (0, 1, 0), dressing=Dressing(trim_mm=0))

    facet = 2 * np.sin(np.pi / count)  # a chord of the unit circle
    assert_allclose(sum(run_lengths(pattern, 0)), 200, rtol=1e-6)  # both sides of the seam
    assert_allclose(pattern.net.length, 200 + count * facet * (40 + 100), rtol=1e-6)
    height = np.sqrt(100**2 - (60 * facet / 2) ** 2)  # of each flat trapezium
    assert_allclose(pattern.net.area, count * facet * (40 + 100) / 2 * height, rtol=1e-6)
    # the sector's chord, from the four corners: 216 degrees on R 166.667 gives 317.02
    corners = np.array([run.points[[0, -1]] for run in pattern.runs if run.joint == 0])
    ends = corners.reshape(-1, 2)
    far = ends[np.argsort(-np.linalg.norm(ends - ends.mean(axis=0), axis=1))]
    chords = np.linalg.norm(ends[:, None] - ends[None], axis=2)
    assert chords.max() == pytest.approx(317.0188, abs=0.3)
    assert len(far) == 4


@pytest.fixture(scope="module")
def gores():
    patches = patches_of(*gored_sphere(100, 8), joint="lap", lap_mm=12, refined=False)
    places = [
        patch.surface.vertices[np.abs(patch.surface.vertices[:, 2]) < 1e-9] for patch in patches
    ]
    middles = [100 * p.mean(axis=0) / np.linalg.norm(p.mean(axis=0)) for p in places]
    return dressed(patches, middles, (0, 0, 1), dressing=Dressing(notch_every_mm=60))


@pytest.mark.parametrize(
    ("latitude_deg", "half_mm"), [(0, 39.27), (30, 34.01), (45, 27.77), (60, 19.64)]
)
def test_gores_of_a_sphere_have_the_widths_of_the_handbook(gores, latitude_deg, half_mm):
    """Half width pi R / n cos(latitude) at the distance R latitude along the middle.

    The handbook's gore has parallels as straight lines; cloth laid from the middle has its weft
    there instead, up to 0.2 mm wider at 60 degrees; facets are 0.1 mm inside the sphere.
    """
    at = 100 * np.radians(latitude_deg)

    across = LineString([(at, -100), (at, 100)]).intersection(gores[0].net)

    assert across.length / 2 == pytest.approx(half_mm, abs=0.3)


def test_gores_meet_on_seams_of_one_length(gores):
    """On the mould both sides of a seam are the same meridian: R x 160 degrees, as facets."""
    facets = 24 * 2 * 100 * np.sin(np.radians(160 / 24 / 2))
    for joint in range(8):
        sides = [run for gore in gores for run in gore.runs if run.joint == joint]
        assert sorted(run.kind for run in sides) == ["lap_over", "lap_under"]
        for run in sides:
            assert_allclose(np.ptp(run.mould_mm), facets, rtol=1e-9)


def test_notches_of_one_number_meet_on_the_mould(gores):
    """Each number twice, at the same mould distance, once on either side."""
    seen = {}
    for gore in gores:
        for notch in gore.notches:
            seen.setdefault(notch.number, []).append((notch.joint, gore.piece))
    assert seen
    for sides in seen.values():
        assert len(sides) == 2
        assert sides[0][0] == sides[1][0]
        assert sides[0][1] != sides[1][1]


def test_equal_gores_share_one_template(gores):
    """Eight gores of one sphere: 'cut 8', numbered within their joints."""
    shared = merge_identical(gores)

    assert [pattern.count for pattern in shared] == [8]
    assert any("cut 8" in line for mark in shared[0].marks for line in mark.lines)
    assert not any("of 8" in line for mark in shared[0].marks for line in mark.lines)
    assert sorted({notch.number for notch in shared[0].notches}) == list(
        range(1, len(shared[0].notches) // 2 + 1)
    )


def hook_on_a_bump(mirror):
    """An L on a doubly curved bump, without symmetry of its own; `mirror` -1: its mirror image."""
    x, y = np.meshgrid(np.linspace(0, 200, 51), np.linspace(0, 140, 36))
    z = 30 * np.exp(-(((x - 70) / 90) ** 2) - ((y - 40) / 60) ** 2)
    vertices = np.column_stack([x.ravel(), mirror * y.ravel(), z.ravel()])
    k = (np.arange(35)[:, None] * 51 + np.arange(50)).ravel()
    faces = np.concatenate(
        [np.column_stack([k, k + 1, k + 52]), np.column_stack([k, k + 52, k + 51])]
    )
    middle = np.abs(vertices[faces].mean(axis=1))
    faces = faces[(middle[:, 0] < 80) | (middle[:, 1] < 60)]
    return vertices, faces if mirror > 0 else faces[:, ::-1]


def test_a_mirrored_region_is_cut_as_the_mirror_image():
    """The whole way, draped too: mirrored over the warp the pattern is mirrored, not the same."""
    right, left = (
        dressed(
            patches_of(*hook_on_a_bump(mirror), np.zeros((0, 2), int), refined=False),
            [hook_on_a_bump(mirror)[0][51 * 10 + 15]],
            (1, 0, 0),
        )[0]
        for mirror in (1, -1)
    )

    image = affinity.scale(left.cut, 1, -1, origin=(0, 0))
    # 0.02 mm: refinement breaks ties by vertex numbers, and those are not mirrored
    assert image.symmetric_difference(right.cut).area < 0.02 * right.cut.length
    assert left.cut.symmetric_difference(right.cut).area > 2000
    assert left.net.exterior.is_ccw
    assert right.net.exterior.is_ccw


def test_notches_of_a_developable_seam_agree_in_the_flat():
    """Between notches both sides of the frustum's seam are equally long: within 0.2 mm."""
    patches = patches_of(*frustum(40, 100, 80, 80), joint="lap", lap_mm=15, refined=False)

    (pattern,) = dressed(patches, [(-100, 0, 0)], (0, 1, 0), dressing=Dressing(notch_every_mm=20))

    ordered = sorted(pattern.notches, key=lambda notch: notch.number)
    over, under = (
        np.array([notch.at for notch in ordered if nearest_kind(pattern, notch) == kind])
        for kind in ("lap_over", "lap_under")
    )
    assert len(over) == len(under) == 4
    steps = [np.linalg.norm(np.diff(points, axis=0), axis=1) for points in (over, under)]
    assert_allclose(steps[0], 20, atol=0.2)
    assert_allclose(steps[1], 20, atol=0.2)


def nearest_kind(pattern, notch):
    """The kind of the joint edge a notch belongs to: the over side's stands a lap away."""
    place = shapely.Point(notch.at)
    runs = [run for run in pattern.runs if run.joint == notch.joint]
    return min(runs, key=lambda run: LineString(run.points).distance(place)).kind
