"""Stagger of joints: plies that lie on one another, joints that run alongside."""

from dataclasses import replace

import numpy as np
import pytest
from laminate.cloths import CARBON
from shapes import cap, sheet

from flatten.errors import InputError
from flatten.laminate.ply import Ply
from flatten.laminate.stagger import check_stagger, clear_copy, moved_copy, stagger_wanted_mm
from flatten.surface.cut import Cut
from flatten.surface.mesh import MouldMesh

CLOTHS = {CARBON.id: CARBON}


def plate(width=400.0, depth=200.0):
    flat = sheet(lambda u, v: (u, v, 0 * u), np.linspace(0, width, 41), np.linspace(0, depth, 21))
    return MouldMesh(flat.vertices, flat.faces)


def across(x, name="s", lap=20.0, tilt=0.0):
    return Cut(id=name, kind="splice", path=[(x - tilt, 0, 0), (x + tilt, 200, 0)], lap_mm=lap)


def ply(number, *cuts, faces=range(1600), use_seams=False):
    return Ply(
        id=f"p{number}",
        name=f"skin {number}",
        faces=np.array(faces),
        fabric=CARBON.id,
        cuts=cuts,
        use_seams=use_seams,
    )


@pytest.mark.parametrize(("apart", "found"), [(0, 1), (24, 1), (25, 0), (60, 0)])
def test_joints_nearer_than_25_mm_are_found(apart, found):
    """A lap of 20 mm: the default is 25 mm, common practice."""
    plies = [ply(1, across(200)), ply(2, across(200 + apart, "t"))]

    findings = check_stagger(plate(), plies, CLOTHS)

    assert len(findings) == found
    if found:
        (one,) = findings
        assert one.code == "joint_stagger"
        assert "'skin 1'" in one.message
        assert "'skin 2'" in one.message
        assert f"{apart} mm apart" in one.message
        assert one.ply_id == "p2"


def test_a_wider_lap_asks_for_more():
    """One lap width, where that is more than 25 mm."""
    plies = [ply(1, across(100, lap=50)), ply(2, across(145, "t", lap=50))]

    (finding,) = check_stagger(plate(), plies, CLOTHS)

    assert "at least 50 mm" in finding.message
    assert "45 mm apart" in finding.message


def test_large_parts_follow_the_ship_rule():
    """100 mm between centre lines: Rules for the Classification of FRP Ships, Sec. 3, 301."""
    assert stagger_wanted_mm(plate(1200, 600), 50) == 100
    assert stagger_wanted_mm(plate(), 50) == 50


def test_joints_that_cross_are_no_finding():
    lengthways = Cut(id="l", kind="splice", path=[(0, 100, 0), (400, 100, 0)])

    assert check_stagger(plate(), [ply(1, across(200)), ply(2, lengthways)], CLOTHS) == []


def test_only_plies_that_lie_on_one_another_count():
    """The third ply lies on the second everywhere; the first is covered by then."""
    plies = [ply(1, across(200)), ply(2, across(300, "t")), ply(3, across(200, "u"))]
    assert check_stagger(plate(), plies, CLOTHS) == []

    left, right = range(800), range(800, 1600)
    apart = [ply(1, across(200), faces=left), ply(2, across(200, "t"), faces=right)]
    assert check_stagger(plate(), apart, CLOTHS) == []


def test_a_patch_between_does_not_part_two_plies():
    """A ply over half of the region leaves the other half of the joints stacked."""
    plies = [ply(1, across(200)), ply(2, faces=range(800)), ply(3, across(205, "u"))]

    (finding,) = check_stagger(plate(), plies, CLOTHS)

    assert "ply 1" in finding.message
    assert "ply 3" in finding.message


def test_marked_seams_are_joints_of_every_ply_that_uses_them():
    """They lie in the same place in each: 0 mm apart."""
    mould = plate()
    seams = np.array([[20 + 41 * row, 20 + 41 * (row + 1)] for row in range(20)])
    plies = [ply(1, use_seams=True), ply(2, use_seams=True)]

    (finding,) = check_stagger(mould, plies, CLOTHS, seams=seams)

    assert "0 mm apart" in finding.message
    assert check_stagger(mould, plies[:1] + [ply(2)], CLOTHS, seams=seams) == []


@pytest.mark.parametrize(("side", "sign"), [("left", -1), ("right", 1)])
def test_a_moved_copy_lies_beside_the_cut(side, sign):
    """On a plate: the same line, 30 mm to the left of its direction, which is towards -x."""
    moved = moved_copy(plate(), across(200), 30, side=side)

    np.testing.assert_allclose(moved.path[:, 0], 200 + 30 * sign, atol=1e-6)
    np.testing.assert_allclose(moved.path[[0, -1], 1], [0, 200], atol=1e-6)
    assert moved.id == "s-moved"
    assert check_stagger(plate(), [ply(1, across(200)), ply(2, moved)], CLOTHS) == []


def test_a_moved_copy_keeps_its_distance_over_a_curve():
    """On a sphere of R 100 the points move along great circles: by 30 / 100 radians.

    The two ends are led straight on from there, so they follow a great circle of their own.
    """
    mould = cap(100, 80, 40)
    angle = np.linspace(-1.2, 1.2, 41)
    meridian = 100 * np.column_stack([np.sin(angle), 0 * angle, np.cos(angle)])
    cut = Cut(id="m", kind="splice", path=meridian)

    moved = moved_copy(MouldMesh(mould.vertices, mould.faces), cut, 30)

    assert np.arcsin(np.abs(moved.path[1:-1, 1]) / 100) == pytest.approx(0.3, abs=0.003)


def test_a_copy_that_leaves_the_mould_is_refused():
    with pytest.raises(InputError, match="leaves the mould"):
        moved_copy(plate(), across(10), 30, side="left")
    with pytest.raises(InputError, match="moved by 0 mm"):
        moved_copy(plate(), across(10), 0)


def test_the_copy_that_clears_the_joint_below_is_offered():
    """Laid 5 mm beside the joint below: the copy keeps 25 mm, its joint and its id."""
    below, near = ply(1, across(0.0)), ply(2, across(5.0, name="t"))
    cloths = {CARBON.id: CARBON}
    asked = (plate(), [below, near], cloths)

    old, moved = clear_copy(*asked, "p2")

    assert (old.id, moved.id, moved.joint, moved.lap_mm) == ("t", "t", old.joint, old.lap_mm)
    cleared = [below, replace(near, cuts=(moved,))]
    assert check_stagger(*asked)
    assert check_stagger(plate(), cleared, cloths) == []
    assert clear_copy(plate(), cleared, cloths, "p2") is None
    assert clear_copy(*asked, "p1") is None
