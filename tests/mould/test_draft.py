"""Draft, undercuts and pulls against closed forms.

The area of a sphere between two planes is 2 pi R times their distance (Archimedes). The limit of
5 degrees for printed moulds is common practice, no source.
"""

import numpy as np
import pytest
from mould.moulds import any_turn, bowl, box, frustum, joined, moved, pot, torus
from numpy.testing import assert_allclose

from flatten.mould.draft import check_draft, draft_angles, low_share, measure_draft
from flatten.mould.pull import find_pull, say_direction
from flatten.mould.split import ENOUGH, check_split, propose_split

UP = np.array([0.0, 0.0, 1.0])


def every(mesh):
    return np.arange(len(mesh.faces))


@pytest.mark.parametrize("rings", [16, 32])
@pytest.mark.parametrize("limit_deg", [1, 3, 5, 10])
def test_hemisphere_share_below_a_draft_is_its_sine(limit_deg, rings):
    """A zone of a sphere has area 2 pi R h, so the share below d is sin d; 64 segments: 1 %."""
    mesh = bowl(150, 90, rings=rings, segments=64)
    draft = measure_draft(mesh, every(mesh), UP)

    share = (mesh.areas * low_share(mesh, draft, limit_deg)).sum() / mesh.areas.sum()

    assert share == pytest.approx(np.sin(np.radians(limit_deg)), abs=0.01)
    assert share == pytest.approx(np.sin(np.radians(limit_deg)), abs=0.003)  # what we hold


def test_hemisphere_share_converges_with_the_square_of_the_facet_size():
    errors = []
    for rings in (16, 32, 64):
        mesh = bowl(150, 90, rings=rings, segments=4 * rings)
        draft = measure_draft(mesh, every(mesh), UP)
        share = (mesh.areas * low_share(mesh, draft, 5.01)).sum() / mesh.areas.sum()
        errors.append(abs(share - np.sin(np.radians(5))))

    assert errors[2] < errors[0] / 12  # order 2 gives 16


@pytest.mark.parametrize("segments", [12, 64])
def test_frustum_has_one_draft_everywhere(segments):
    """tan d = 20 / 100, lessened by the cosine of half a facet: 11.310 degrees when round."""
    mesh = frustum(30, 50, 100, segments)

    angle = draft_angles(mesh.normals, UP)

    assert_allclose(np.tan(angle), 0.2 * np.cos(np.pi / segments), rtol=1e-9)
    assert np.degrees(np.arctan(0.2)) == pytest.approx(11.310, abs=5e-4)


def test_half_a_torus_looks_away():
    mesh = torus(100, 30)

    draft = measure_draft(mesh, every(mesh), UP)

    away = mesh.areas[draft.undercut].sum() / mesh.areas.sum()
    assert away == pytest.approx(0.5, abs=1e-9)
    assert not draft.trapped[~draft.undercut].any()  # nothing stands over the upper half


def test_bowl_to_100_degrees_holds_its_upper_zone():
    """The zone between 90 and 100 degrees: 2 pi R^2 sin 10, to second order in the facet size."""
    exact = 2 * np.pi * 80**2 * np.sin(np.radians(10))
    errors = []
    for rings in (20, 40, 80):
        mesh = bowl(80, 100, rings=rings, segments=4 * rings)
        draft = measure_draft(mesh, every(mesh), UP)
        errors.append(abs(mesh.areas[draft.undercut].sum() - exact) / exact)

    assert exact / (2 * np.pi * 80**2) == pytest.approx(0.17365, abs=5e-6)
    assert np.polyfit(np.log([20, 40, 80]), np.log(errors), 1)[0] == pytest.approx(-2, abs=0.1)


def test_a_lip_traps_what_stands_under_it_although_that_has_draft():
    """Under a plate of 30 x 20 above a floor of 100 x 100 exactly 600 mm2 are held."""
    floor = box([-50, -50, -5], [50, 50, 0])
    mesh, first = joined(floor, box([-10, -10, 20], [20, 10, 22]))
    top = np.flatnonzero(floor.normals[:, 2] > 0.5)

    draft = measure_draft(mesh, top, UP)

    assert (draft.angle > 0).all()
    held = (mesh.areas[top] * draft.held).sum()
    assert held == pytest.approx(
        600, rel=0.01
    )  # 20 000 points: 1 / sqrt of the 1200 that hit, less
    assert not measure_draft(mesh, top, UP, blockers=top).held.any()
    assert not measure_draft(mesh, top, UP, ray_test=False).held.any()
    assert first.tolist() == [0, 12, 24]


@pytest.mark.parametrize("seed", range(4))
def test_turning_and_shifting_change_no_draft(seed):
    mesh, turn = bowl(80, 100), any_turn(seed)
    other = moved(mesh, turn, (30, -20, 10))

    one = measure_draft(mesh, every(mesh), UP)
    two = measure_draft(other, every(mesh), turn @ UP)

    assert_allclose(two.angle, one.angle, atol=1e-9)
    assert (two.undercut == one.undercut).all()
    assert_allclose(two.trapped, one.trapped, atol=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_the_pull_of_a_turned_frustum_is_its_axis(seed):
    """Pulls within 6.3 degrees of the axis leave 5 degrees of draft; their middle is the axis."""
    turn = any_turn(seed)
    mesh = moved(frustum(30, 50, 100), turn)

    draft = find_pull(mesh, every(mesh), 5.0)

    assert np.degrees(np.arccos(draft.pull @ turn @ UP)) < 6.4
    assert not draft.held.any()
    assert np.degrees(draft.angle).min() > 4.4  # directions are tried 6 degrees apart


def test_an_axis_of_the_file_is_taken_when_it_is_as_good():
    assert find_pull(bowl(100, 90), np.arange(100), 5.0).pull.tolist() == [0, 0, 1]


def test_the_pull_avoids_a_roof():
    """A channel open to +y and +z, with a roof over it: only +y frees the floor."""
    floor, back = box([-50, -50, -5], [50, 50, 0]), box([-50, -55, -5], [50, -50, 60])
    mesh, first = joined(floor, back, box([-50, -50, 40], [50, 50, 45]))
    layup = np.concatenate(
        [
            np.flatnonzero(floor.normals[:, 2] > 0.5),
            first[1] + np.flatnonzero(back.normals[:, 1] > 0.5),
        ]
    )

    blind = find_pull(mesh, layup, 5.0, ray_test=False)
    seeing = find_pull(mesh, layup, 5.0)

    held_blind = (mesh.areas[layup] * measure_draft(mesh, layup, blind.pull).held).sum()
    assert held_blind > 0.2 * mesh.areas[layup].sum()
    assert (mesh.areas[layup] * seeing.held).sum() < held_blind / 4


def test_a_ball_comes_off_in_two_halves():
    mesh = bowl(80, 150, rings=40)
    draft = find_pull(mesh, every(mesh), 5.0)

    split = propose_split(mesh, draft)

    assert split is not None
    assert len(split.pulls) == 2
    assert_allclose(split.pulls[0], -split.pulls[1], atol=1e-12)
    assert split.held_share < ENOUGH
    ends = mesh.vertices[split.line]
    assert split.line_mm == pytest.approx(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
    [finding] = check_split(mesh, split)
    assert finding.code == "part_line"
    assert finding.faces


def test_no_part_line_where_one_pull_frees_all():
    mesh = bowl(80, 85)
    assert propose_split(mesh, measure_draft(mesh, every(mesh), UP)) is None


def test_messages_name_area_share_and_angle():
    mesh, where = pot()
    layup = np.concatenate([where[name] for name in ("floor", "wall", "lip_under", "lip_inside")])

    found = {f.code: f for f in check_draft(mesh, measure_draft(mesh, layup, UP), 5.0, "")}

    assert set(found) == {"undercut", "trapped", "low_draft"}
    assert set(found["undercut"].faces) == set(where["lip_under"].tolist())
    low = {*where["wall"].tolist(), *where["lip_inside"].tolist()}
    assert set(found["low_draft"].faces) == low
    assert "down to 0.0°" in found["low_draft"].message
    assert set(where["wall"].tolist()) <= set(found["trapped"].faces)


def test_a_limit_met_exactly_is_enough():
    """A frustum of exactly 5 degrees against limits of 5 and 5.1."""
    mesh = frustum(50, 50 + 100 * np.tan(np.radians(5)) / np.cos(np.pi / 64), 100)
    draft = measure_draft(mesh, every(mesh), UP)

    assert check_draft(mesh, draft, 5.0, "") == []
    assert [f.code for f in check_draft(mesh, draft, 5.1, "")] == ["low_draft"]


def test_directions_are_said_as_axes_where_they_are():
    assert say_direction(UP) == "+z"
    assert say_direction(np.array([0, -1.0, 0])) == "-y"
    assert say_direction(np.array([0.5, -0.5, 0]) * np.sqrt(2)) == "half-way from +x to -y"
    assert say_direction(np.array([0.6, 0.0, 0.8])) == "(0.60, 0.00, 0.80)"
