"""Notches sit on the cut line and meet the notch of their number on the other side."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pattern.pieces import TWILL, grid, laid
from pattern.solids import patches_of
from pattern.test_covers import overlapping_dart
from shapely import Point, Polygon

from flatten.pattern.dress import dress
from flatten.pattern.joints import JointCurve, joint_curves
from flatten.pattern.notches import notch_distances, off_corners, with_tabs
from flatten.pattern.pattern import Notch
from flatten.pattern.settings import Dressing
from flatten.pattern.slits import KERF_MM

ASKED = {
    "part": "plate",
    "ply_id": "p1",
    "ply_number": 1,
    "ply_name": "skin",
    "fabric": TWILL,
    "angle_deg": 0.0,
}


def plate_in_two(seam, *, joint="butt", lap_mm=0.0, every=40.0):
    """A 200 x 100 plate cut along `seam`, a list of grid places; laid as it lies."""
    vertices, faces = grid(np.linspace(-100, 100, 21), np.linspace(-50, 50, 11))
    number = [row * 21 + column for column, row in seam]
    pairs = np.column_stack([number[:-1], number[1:]])
    patches = patches_of(vertices, faces, pairs, joint=joint, lap_mm=lap_mm, refined=False)
    curves = joint_curves(patches)
    dressing = Dressing(notch_every_mm=every, relieve=False)
    return [
        dress(patch, laid(patch), dressing=dressing, curves=curves, **ASKED) for patch in patches
    ]


STRAIGHT = [(14, row) for row in range(11)]
RING = (
    [(column, 2) for column in range(12, 18)]
    + [(18, row) for row in range(2, 8)]
    + [(column, 8) for column in range(18, 12, -1)]
    + [(12, row) for row in range(8, 1, -1)]
)


@pytest.mark.parametrize("seam", [STRAIGHT, RING], ids=["across", "closed ring"])
def test_notches_of_one_number_lie_at_one_place(seam):
    """On a flat plate with butted pieces both notches of a number have the same coordinates."""
    one, other = plate_in_two(seam, every=25.0)

    mine = {notch.number: notch.at for notch in one.notches}
    theirs = {notch.number: notch.at for notch in other.notches}
    assert len(mine) >= 3
    assert mine.keys() == theirs.keys()
    for number, place in mine.items():
        assert_allclose(theirs[number], place, atol=1e-9)
    assert_allclose(
        [notch.outward for notch in sorted(one.notches, key=lambda n: n.number)],
        [-notch.outward for notch in sorted(other.notches, key=lambda n: n.number)],
        atol=1e-9,
    )


def test_a_notch_stands_on_the_cut_line_also_where_a_lap_moves_it_out():
    """The over side's notch is a lap of 12 mm further out than the under side's."""
    patterns = plate_in_two(STRAIGHT, joint="lap", lap_mm=12)

    for pattern in patterns:
        for notch in pattern.notches:
            assert pattern.cut.exterior.distance(Point(notch.at)) < 1e-6
            ahead, behind = notch.at + 0.5 * notch.outward, notch.at - 0.5 * notch.outward
            assert not pattern.cut.contains(Point(ahead))
            assert pattern.cut.contains(Point(behind))
    over, under = (
        {notch.number: notch.at for notch in pattern.notches}
        for pattern in sorted(patterns, key=lambda p: min(run.kind for run in p.runs))
    )
    for number, place in over.items():
        assert np.linalg.norm(place - under[number]) == pytest.approx(12, abs=1e-6)


def test_notches_are_evenly_spaced_and_a_short_joint_has_one_off_its_middle():
    assert_allclose(notch_distances(250, 100), [250 / 3, 500 / 3])
    assert_allclose(notch_distances(100, 100), [40])
    assert_allclose(np.diff(notch_distances(1000, 90)), 1000 / 12)


def test_the_style_of_notches_is_a_setting():
    vertices, faces = grid(np.linspace(0, 50, 6), np.linspace(0, 50, 6))
    seam = np.array([[2 + 6 * row, 8 + 6 * row] for row in range(5)])
    (first, _) = patches_of(vertices, faces, seam, refined=False)

    tabs = dress(
        first, laid(first, first.surface.vertices[:, :2] + 9),
        dressing=Dressing(notch_style="tab", notch_length_mm=9), **ASKED,
    )  # fmt: skip

    assert {(notch.style, notch.length_mm) for notch in tabs.notches} == {("tab", 9)}


def test_tabs_are_part_of_the_cut_line():
    """A plate with a butted joint: each tab adds its trapezium, 0.75 of its length squared."""
    vertices, faces = grid(np.linspace(-100, 100, 21), np.linspace(-50, 50, 11))
    seam = np.array([row * 21 + 14 for row in range(11)])
    pairs = np.column_stack([seam[:-1], seam[1:]])
    patches = patches_of(vertices, faces, pairs, joint="butt", lap_mm=0.0, refined=False)
    curves = joint_curves(patches)

    def cut_with(style):
        dressing = Dressing(notch_style=style, notch_length_mm=8, notch_every_mm=40, relieve=False)
        return dress(patches[0], laid(patches[0]), dressing=dressing, curves=curves, **ASKED)

    tabbed, marked = cut_with("tab"), cut_with("mark")

    assert len(tabbed.notches) == 2
    assert tabbed.cut.area - marked.cut.area == pytest.approx(2 * 0.75 * 8**2, rel=1e-6)
    for notch in tabbed.notches:
        assert tabbed.cut.contains(Point(notch.at + 7.9 * notch.outward))


def test_a_tab_over_the_piece_itself_becomes_a_mark():
    """Into a slit only a millimetre wide no tab can stand: the other side is there."""
    square = Polygon([(0, 0), (100, 0), (100, 49.5), (20, 49.5), (20, 50.5), (100, 50.5),
                      (100, 100), (0, 100)])  # fmt: skip
    inner = Notch(at=np.array([60.0, 49.5]), outward=np.array([0.0, 1.0]), number=1, joint=0,
                  style="tab")  # fmt: skip
    outer = replace(inner, at=np.array([0.0, 50.0]), outward=np.array([-1.0, 0.0]), number=2)

    cut, notches = with_tabs(square, [inner, outer])

    assert [notch.style for notch in notches] == ["mark", "tab"]
    assert cut.area > square.area + 0.7 * 36


def test_a_notch_keeps_off_the_corner_of_a_bent_joint():
    """An L of 40 and 60 mm: at 40 mm the joint turns, and the notch wanted there moves on."""
    bent = JointCurve(
        points=np.array([[0, 0, 0], [40, 0, 0], [40, 60, 0]], float),
        at_mm=np.array([0.0, 40.0, 100.0]),
        length_mm=100.0,
        closed=False,
    )

    assert off_corners(np.array([20.0, 40.0, 80.0]), bent).tolist() == [20.0, 48.0, 80.0]


@pytest.mark.parametrize("overlap", [8.0, 2.0, 0.0])
def test_notches_of_a_dart_that_closes_in_the_flat_meet_at_the_knife(overlap):
    """Both sides of a slit along y = 0: its cloth is one there, and the far edge 60 mm away."""
    patch, drape = overlapping_dart(overlap)

    pattern = dress(patch, drape, **{**ASKED, "dressing": Dressing(notch_every_mm=40)})

    numbers = sorted(notch.number for notch in pattern.notches)
    assert numbers == [1, 1, 2, 2]
    for number in (1, 2):
        one, other = (notch for notch in pattern.notches if notch.number == number)
        assert_allclose(one.at, other.at, atol=1.5 * KERF_MM)
        assert one.outward @ other.outward < -0.9
    for notch in pattern.notches:
        assert abs(notch.at[1]) <= KERF_MM
        assert pattern.cut.boundary.distance(Point(notch.at)) < 0.01
