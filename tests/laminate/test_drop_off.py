"""Drop-offs on a strip of squares, where every distance is known."""

import numpy as np
import pytest

from flatten.errors import InputError
from flatten.laminate.drop_off import check_drop_offs
from flatten.laminate.thickness import Course
from flatten.surface.mesh import MouldMesh

STEP = 0.25  # mm, each ply


def strip(columns=60, width=1.0):
    """A strip 4 mm wide, a column of two triangles for every millimetre of its length."""
    x = np.arange(columns + 1) * width
    vertices = np.concatenate(
        [np.column_stack([x, 0 * x, 0 * x]), np.column_stack([x, 0 * x + 4, 0 * x])]
    )
    i = np.arange(columns)
    lower = np.column_stack([i, i + 1, i + 1 + columns + 1])
    upper = np.column_stack([i, i + 1 + columns + 1, i + columns + 1])
    return MouldMesh(vertices, np.stack([lower, upper], axis=1).reshape(-1, 3))


def ply(number, start, end, thickness=STEP):
    """A ply over columns `start` to `end` of the strip."""
    faces = np.arange(2 * start, 2 * end)
    return Course(number=number, ply_id=f"p{number}", faces=faces, thickness_mm=thickness)


def test_a_run_out_as_asked_passes_and_a_steeper_one_does_not():
    """1:20 on plies of 0.25 mm asks for 5 mm from edge to edge."""
    mesh = strip()
    as_asked = [ply(1, 0, 60), ply(2, 0, 40), ply(3, 0, 35), ply(4, 0, 30)]
    steep = [ply(1, 0, 60), ply(2, 0, 40), ply(3, 0, 36)]

    assert check_drop_offs(mesh, as_asked, 20) == []
    (finding,) = check_drop_offs(mesh, steep, 20)
    assert finding.code == "drop_off_steep"
    assert finding.ply_id == "p3"
    assert "Plies 2 and 3 end 4.0 mm apart" in finding.message
    assert "5.0 mm are asked" in finding.message
    assert set(finding.faces) <= set(range(2 * 34, 2 * 41))
    assert finding.faces


def test_plies_that_end_together_are_a_double_step():
    (finding,) = check_drop_offs(strip(), [ply(1, 0, 60), ply(2, 0, 30), ply(3, 0, 30)], 20)
    assert "end 0.0 mm apart" in finding.message


def test_repeats_of_one_design_end_together():
    twice = [ply(1, 0, 60), ply(2, 0, 30), ply(3, 0, 30)]
    twice[2] = Course(number=3, ply_id="p2", faces=twice[1].faces, thickness_mm=STEP)

    (finding,) = check_drop_offs(strip(), twice, 20)

    assert "Plies 2 and 3 end 0.0 mm apart" in finding.message


def test_the_parts_own_edge_is_no_drop_off():
    assert check_drop_offs(strip(), [ply(1, 0, 30), ply(2, 0, 30), ply(3, 0, 30)], 20) == []


def test_a_butt_joint_is_no_drop_off():
    assert check_drop_offs(strip(), [ply(1, 0, 60), ply(2, 0, 30), ply(3, 30, 60)], 20) == []


def test_a_band_steps_up_and_down_again():
    """The two edges of one narrow band face apart: no run-out is too short."""
    assert check_drop_offs(strip(), [ply(1, 0, 60), ply(2, 28, 31)], 20) == []


def test_thicker_plies_ask_for_more_room():
    courses = [ply(1, 0, 60), ply(2, 0, 40, 0.5), ply(3, 0, 33, 0.5)]

    assert len(check_drop_offs(strip(), courses, 20)) == 1  # 10 mm asked, 7 there
    assert check_drop_offs(strip(), courses, 14) == []


def test_a_ratio_of_zero_asks_for_nothing_and_a_film_is_no_step():
    together = [ply(1, 0, 60), ply(2, 0, 30), ply(3, 0, 30)]

    assert check_drop_offs(strip(), together, 0) == []
    film = [ply(1, 0, 60), ply(2, 0, 30), ply(3, 0, 30, 0.0)]
    assert check_drop_offs(strip(), film, 20) == []
    assert check_drop_offs(strip(), [], 20) == []


@pytest.mark.parametrize("scale", [0.5, 3.0])
def test_the_judgement_scales_with_the_part(scale):
    courses = [ply(1, 0, 60), ply(2, 0, 40), ply(3, 0, 36)]
    bigger = [
        ply(1, 0, 60, STEP * scale),
        ply(2, 0, 40, STEP * scale),
        ply(3, 0, 36, STEP * scale),
    ]

    (one,) = check_drop_offs(strip(), courses, 20)
    (two,) = check_drop_offs(strip(width=scale), bigger, 20)

    assert one.faces == two.faces


@pytest.mark.parametrize("ratio", [-1, float("nan"), "20"])
def test_a_ratio_below_nothing_is_refused(ratio):
    with pytest.raises(InputError, match="drop_off_ratio"):
        check_drop_offs(strip(), [ply(1, 0, 60)], ratio)


def test_all_four_sides_of_a_pad_are_found():
    """A pad inset by 4 mm all round, on a square of 1 mm squares; 5 mm are asked."""
    n = 40
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(n + 1.0), np.arange(n + 1.0)))
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    mesh = MouldMesh(
        np.column_stack([x, y, 0 * x]),
        np.concatenate(
            [
                np.column_stack([corner, corner + 1, corner + n + 2]),
                np.column_stack([corner, corner + n + 2, corner + n + 1]),
            ]
        ),
    )
    middle = mesh.corners.mean(axis=1)[:, :2]

    def pad(number, inset):
        inside = ((middle > inset) & (middle < n - inset)).all(axis=1)
        return Course(
            number=number, ply_id=f"p{number}", faces=np.flatnonzero(inside), thickness_mm=STEP
        )

    (finding,) = check_drop_offs(mesh, [pad(1, 0), pad(2, 8), pad(3, 12)], 20)

    assert "4.0 mm apart" in finding.message
    at = middle[list(finding.faces)]
    for low, high in ((8, 9), (12, 13), (27, 28), (31, 32)):
        for axis in (0, 1):
            assert ((at[:, axis] > low) & (at[:, axis] < high)).sum() >= 10
    assert check_drop_offs(mesh, [pad(1, 0), pad(2, 8), pad(3, 13)], 20) == []
