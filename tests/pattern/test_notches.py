"""Notches sit on the cut line and meet the notch of their number on the other side."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pattern.pieces import TWILL, grid, laid
from pattern.solids import patches_of
from shapely import Point

from flatten.pattern.dress import dress
from flatten.pattern.joints import joint_curves
from flatten.pattern.notches import notch_distances
from flatten.pattern.settings import Dressing

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
