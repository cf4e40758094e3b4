"""A dressed pattern: valid outlines, marks inside, the mirror image of a mirrored region."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from pattern.pieces import TWILL, grid, laid, mark_box, piece
from shapely import affinity

from flatten.errors import InputError
from flatten.pattern.dress import dress
from flatten.pattern.outline import outline
from flatten.pattern.settings import Dressing

ASKED = {
    "part": "hatch cover",
    "ply_id": "p1",
    "ply_number": 1,
    "ply_name": "outer skin",
    "fabric": TWILL,
    "angle_deg": 45.0,
    "dressing": Dressing(),
}


def hook(mirror=1.0):
    """An L of two arms of different length: it has no mirror symmetry of its own."""
    vertices, faces = grid(np.linspace(0, 300, 31), np.linspace(0, 200, 21))
    middle = vertices[faces].mean(axis=1)
    kept = faces[(middle[:, 0] < 90) | (middle[:, 1] < 60)]
    vertices = vertices * [mirror, 1, 1]
    return piece(vertices, kept if mirror > 0 else kept[:, ::-1])


def test_a_mirrored_region_gives_the_mirrored_pattern():
    """Mirroring commutes with every step, so the outlines agree to rounding."""
    right = dress(hook(), laid(hook()), **ASKED)
    left = dress(hook(-1), laid(hook(-1)), **ASKED)

    turned = affinity.scale(left.cut, -1, 1, origin=(0, 0))
    assert turned.symmetric_difference(right.cut).area == pytest.approx(0, abs=1e-6)
    assert left.cut.symmetric_difference(right.cut).area > 1e4  # and is not the same one
    assert right.cut.exterior.is_ccw
    assert left.cut.exterior.is_ccw


def test_marks_stand_clear_of_cut_lines_and_of_each_other():
    pattern = dress(hook(), laid(hook()), **ASKED)

    boxes = [mark_box(mark) for mark in pattern.marks if mark.lines]
    assert len(boxes) == 2
    for box in boxes:
        assert pattern.net.contains(box)
        assert box.distance(pattern.cut.exterior) >= 3
    assert not boxes[0].intersects(boxes[1])
    tail, head = pattern.arrow
    assert head[0] > tail[0]
    assert head[1] == tail[1]
    assert all(not box.intersects(shapely.LineString(pattern.arrow)) for box in boxes)


def test_a_small_piece_keeps_its_number():
    """A 40 x 12 mm strip has no room for a full label; its ply number still stands in it."""
    strip = piece(*grid(np.linspace(0, 40, 9), np.linspace(0, 12, 3)))

    pattern = dress(strip, laid(strip), **ASKED)

    label = next(mark for mark in pattern.marks if mark.kind == "label")
    assert "1" in label.lines[0]
    assert pattern.net.contains(mark_box(label))


def test_the_cut_outline_covers_the_net():
    pattern = dress(hook(), laid(hook()), **ASKED)

    assert pattern.cut.is_valid
    assert pattern.cut.contains(pattern.net)
    assert_allclose(pattern.mould_area_mm2, 300 * 60 + 90 * 140)


def spliced(x):
    """The left half of a plate, joined along its right edge at x."""
    vertices, faces = grid(np.linspace(x - 100, x, 11), np.linspace(-50, 50, 11))
    return piece(vertices, faces, kind_of=lambda a, b: at_edge(a, b, x))


def at_edge(a, b, x):
    return ("lap_over", 0) if abs(a[0] - x) + abs(b[0] - x) < 1e-9 else ("trim", -1)


def test_a_cut_through_the_tack_point_is_refused():
    """The tack point is the origin of the flat: a joint at 0.5 mm is on it, at 5 mm beside it."""
    with pytest.raises(InputError, match="runs through the tack point") as caught:
        dress(spliced(0.5), laid(spliced(0.5)), **ASKED)
    assert caught.value.faces
    dress(spliced(5), laid(spliced(5)), **ASKED)


def test_a_lap_wider_than_the_piece_names_its_faces():
    with pytest.raises(InputError, match=r"only 100\.0 mm wide") as caught:
        dress(spliced(50), laid(spliced(50)), lap_mm=120, **ASKED)
    assert len(caught.value.faces) == 200


def test_a_piece_without_faces_of_the_region_is_refused():
    patch = piece(*grid(np.linspace(0, 50, 3), np.linspace(0, 50, 3)), inside=np.zeros(8))

    with pytest.raises(InputError, match="no face of the ply's region") as caught:
        dress(patch, laid(patch), **ASKED)
    assert caught.value.faces


def test_openings_that_meet_in_a_point_are_both_kept():
    """Two square holes touching in a corner: no edge of them is lost, none walked twice.

    The faces beside the shared corner are walked as a fan; those further on are not.
    """
    vertices, faces = grid(np.linspace(0, 80, 9), np.linspace(0, 80, 9))
    x, y, _ = vertices[faces].mean(axis=1).T
    first = (x > 20) & (x < 40) & (y > 20) & (y < 40)
    second = (x > 40) & (x < 60) & (y > 40) & (y < 60)
    patch = piece(vertices, faces, inside=~(first | second))

    shape = outline(patch, laid(patch))

    assert [float(loop.lengths.sum()) for loop in shape.loops] == [320, 160]
    assert [len(loop.vertices) for loop in shape.loops] == [32, 16]
    assert shape.net.area == pytest.approx(80**2 - 2 * 20**2)
