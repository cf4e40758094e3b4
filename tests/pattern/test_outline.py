"""The net outline: openings told from overlaps, islands refused, closed joints counted alike."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pattern.pieces import grid, laid, piece

from flatten.errors import InputError
from flatten.pattern.joints import joint_curves
from flatten.pattern.outline import outline
from flatten.pattern.slits import net_polygon


def square(side, turn=1):
    return side / 2 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], float)[::turn]


def triangles_of(*rings):
    """Return both halves of each square."""
    return np.concatenate([ring[[[0, 1, 2], [0, 2, 3]]] for ring in rings])


def test_a_ring_that_runs_the_other_way_is_an_opening():
    vertices, faces = grid([-50.0, -10.0, 10.0, 50.0], [-50.0, -10.0, 10.0, 50.0])
    middle = vertices[faces].mean(axis=1)
    frame = vertices[faces[np.abs(middle).max(axis=1) > 10]][:, :, :2]

    net = net_polygon([square(100), square(20, -1)], frame, [])

    assert net.area == pytest.approx(100**2 - 20**2, rel=1e-12)


def test_a_ring_that_runs_the_same_way_is_cloth_on_cloth():
    """Two squares, one on the other: what is covered is the larger, without a hole."""
    net = net_polygon([square(100), square(20)], triangles_of(square(100), square(20)), [])

    assert net.area == pytest.approx(100**2, rel=1e-12)
    assert not net.interiors


def test_parts_held_together_by_their_trim_are_refused_with_the_smaller_ones_faces():
    vertices, faces = grid(np.linspace(0, 90, 10), np.linspace(0, 30, 4))
    x = vertices[faces].mean(axis=1)[:, 0]
    patch = piece(vertices, faces, inside=(x < 50) | (x > 70))

    with pytest.raises(InputError, match="2 parts that only its trim holds together") as told:
        outline(patch, laid(patch))

    assert set(told.value.faces) == set(np.flatnonzero(x > 70))


@pytest.mark.parametrize("turn", range(4))
def test_both_sides_of_a_closed_joint_count_from_one_point(turn):
    """A hexagon cut out of a plate: 6 x 20 mm on either side, wherever each mesh begins."""
    angles = np.arange(6) * np.pi / 3
    ring = np.column_stack([20 * np.cos(angles), 20 * np.sin(angles), 0 * angles])
    inner = np.roll(ring, turn, axis=0)
    disc = piece(
        np.vstack([inner, [[0, 0, 0]]]),
        [(i, (i + 1) % 6, 6) for i in range(6)],
        kind_of=lambda a, b: ("butt", 0),
    )
    outer, steps = 3 * ring, [(i, (i + 1) % 6) for i in range(6)]
    plate = piece(
        np.vstack([outer, ring]),
        [(i, j, 6 + i) for i, j in steps] + [(j, 6 + j, 6 + i) for i, j in steps],
        kind_of=lambda a, b: ("butt", 0) if np.hypot(*a[:2]) < 30 else ("trim", -1),
    )  # fmt: skip
    curves = joint_curves([disc, plate])

    runs = [
        next(run for run in outline(one, laid(one), curves=curves).runs if run.joint == 0)
        for one in (disc, plate)
    ]

    for run in runs:
        assert_allclose(np.abs(np.diff(run.mould_mm)), 20.0, rtol=1e-9)
        assert sorted([run.mould_mm[0], run.mould_mm[-1]]) == pytest.approx([0.0, 120.0])
    disc_side, plate_side = runs  # walked the other way round
    assert_allclose(disc_side.points, plate_side.points[::-1], atol=1e-9)
    assert_allclose(disc_side.mould_mm, plate_side.mould_mm[::-1], atol=1e-9)
