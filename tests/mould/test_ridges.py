"""Layer lines. Stair depth c = h |n . b|: cusp height, Dolenc & Makela, CAD 26 (1994)."""

import numpy as np
import pytest
from mould.moulds import any_turn, bowl, box, frustum, moved
from numpy.testing import assert_allclose

from flatten.mould.draft import measure_draft
from flatten.mould.ridges import build_choices, check_ridges, measure_ridges, ridge_depth
from flatten.mould.settings import MouldSettings

UP = np.array([0.0, 0.0, 1.0])
ALONG_X = np.array([1.0, 0.0, 0.0])


def wall(draft_deg):
    """Unit normal of a wall with this draft against +z, leaning towards +x."""
    draft = np.radians(draft_deg)
    return np.array([[np.cos(draft), 0, np.sin(draft)]])


@pytest.mark.parametrize(
    ("layer", "draft_deg", "micrometre"),
    [
        (0.1, 1, 1.7),
        (0.1, 45, 70.7),
        (0.2, 5, 17.4),
        (0.2, 30, 100),
        (0.3, 10, 52.1),
        (0.3, 60, 259.8),
    ],
)
def test_stair_depth_of_a_wall(layer, draft_deg, micrometre):
    """c = h sin d; published table values to their last digit."""
    depth = ridge_depth(wall(draft_deg), UP, layer, 0.0)

    assert_allclose(depth, layer * np.sin(np.radians(draft_deg)), rtol=1e-9)
    assert 1000 * depth[0] == pytest.approx(micrometre, abs=0.05)


def test_the_bead_allowance_takes_over_near_upright():
    """The stair goes to zero on an upright wall, the groove between beads does not."""
    depth = [ridge_depth(wall(d), UP, 0.2, 0.35)[0] for d in (0, 5, 20, 21, 45)]

    assert_allclose(depth[:3], 0.07)  # 0.35 x 0.2; the stair is 0.0684 at 20 degrees
    assert_allclose(depth[3:], 0.2 * np.sin(np.radians([21, 45])))


def test_a_face_along_the_layers_has_no_lines():
    ridges = measure_ridges(UP[None], UP, UP, layer_height_mm=0.2, bead_share=0.35)

    assert ridges.depth_mm == 0
    assert np.isnan(ridges.angle)
    assert ridges.grip_mm == 0


@pytest.mark.parametrize(
    ("build", "angle_deg"),
    [((0, 0, 1), 90), ((0, 1, 0), 0), ((0, 1, 1), 45), ((1, 0, 2), 90), ((1, 3, 0), 0)],
)
def test_angle_between_lines_and_pull_on_an_upright_wall(build, angle_deg):
    """Wall across x, pull +z: lines run along b x n, so at right angles to b within the wall."""
    build = np.array(build) / np.linalg.norm(build)

    ridges = measure_ridges(ALONG_X[None], UP, build, layer_height_mm=0.2, bead_share=0.35)

    assert_allclose(np.degrees(ridges.angle), angle_deg, atol=1e-9)
    assert_allclose(ridges.grip_mm, ridges.depth_mm * np.sin(np.radians(angle_deg)), atol=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_angle_agrees_with_the_plain_formula(seed):
    """l = b x n, p_t = p - (p . n) n, computed face by face without the shortcuts."""
    rng = np.random.default_rng(seed)
    normals = rng.normal(size=(200, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    build, pull = any_turn(seed)[:2]

    ridges = measure_ridges(normals, pull, build, layer_height_mm=0.15, bead_share=0.35)

    for number, normal in enumerate(normals):
        line = np.cross(build, normal)
        slide = pull - (pull @ normal) * normal
        cosine = abs(line @ slide) / np.linalg.norm(line) / np.linalg.norm(slide)
        assert ridges.angle[number] == pytest.approx(np.arccos(min(cosine, 1)), abs=1e-7)
        grip = ridges.depth_mm[number] * np.linalg.norm(slide) * np.sqrt(1 - min(cosine, 1) ** 2)
        assert ridges.grip_mm[number] == pytest.approx(grip, abs=1e-9)


def test_standing_across_the_pull_grips_less_on_a_box_mould():
    """Upright walls across x and y, pull +z: built along x, the y walls' lines run with the pull
    and the x walls have none."""
    mesh = box([0, 0, 0], [100, 60, 40])
    walls = np.flatnonzero(np.abs(mesh.normals[:, 2]) < 0.5)
    pulls = np.tile(UP, (len(walls), 1))

    choices = build_choices(mesh, walls, pulls, MouldSettings())

    now = next(c for c in choices if c.direction == (0, 0, 1))
    assert choices[0].grip_mm == pytest.approx(0, abs=1e-12)
    assert choices[0].direction[2] == pytest.approx(0, abs=1e-12)
    assert now.grip_mm == pytest.approx(0.35 * 0.15)
    assert now.height_mm == pytest.approx(40)


def test_support_is_the_area_that_leans_over():
    """A table of 100 x 100 on a leg of 20 x 20: upright it needs 9600 mm2 of support (the leg of a
    mesh made of two boxes counts its own top for nothing), upside down none."""
    top, leg = box([0, 0, 50], [100, 100, 60]), box([40, 40, 0], [60, 60, 50])
    from mould.moulds import joined

    mesh, _ = joined(top, leg)
    layup = np.flatnonzero(mesh.normals[:, 2] > 0.5)[:2]
    choices = build_choices(mesh, layup, np.tile(UP, (2, 1)), MouldSettings())
    by_direction = {c.direction: c for c in choices}

    assert by_direction[(0, 0, 1)].support_cm2 == pytest.approx(100)  # underside of the table
    down = next(c for d, c in by_direction.items() if d[2] < -0.99)
    assert down.support_cm2 == pytest.approx(4)  # only the leg's hidden top
    assert down.height_mm == pytest.approx(60)


def test_the_finding_says_what_is_allowed_for_and_what_helps():
    mesh = frustum(50, 53, 80)  # 2.1 degrees
    faces = np.arange(len(mesh.faces))
    settings = MouldSettings(pull=(0, 0, 1))
    draft = measure_draft(mesh, faces, UP)
    ridges = measure_ridges(mesh.normals, UP, UP, layer_height_mm=0.15, bead_share=0.35)
    choices = build_choices(mesh, faces, np.tile(UP, (len(faces), 1)), settings)

    [finding] = check_ridges(mesh.areas, draft.angle, ridges, choices, settings, faces)

    assert finding.code == "layer_ridges"
    assert finding.severity == "warning"  # low draft as well
    assert len(finding.faces) == len(faces)
    assert "0.052 mm allowed for" in finding.message
    assert "support" in finding.hint


def test_no_finding_where_faces_lift_straight_off():
    mesh = bowl(200, 20)  # draft 70 degrees and more
    faces = np.arange(len(mesh.faces))
    ridges = measure_ridges(mesh.normals, UP, UP, layer_height_mm=0.15, bead_share=0.35)
    angle = measure_draft(mesh, faces, UP).angle
    choices = build_choices(mesh, faces, np.tile(UP, (len(faces), 1)), MouldSettings())

    assert check_ridges(mesh.areas, angle, ridges, choices, MouldSettings(), faces) == []


def test_depth_does_not_change_when_all_is_turned():
    turn, mesh = any_turn(3), bowl(100, 80)
    one = measure_ridges(mesh.normals, UP, ALONG_X, layer_height_mm=0.15, bead_share=0.35)
    other = moved(mesh, turn)
    two = measure_ridges(
        other.normals, turn @ UP, turn @ ALONG_X, layer_height_mm=0.15, bead_share=0.35
    )

    assert_allclose(two.depth_mm, one.depth_mm, atol=1e-9)
    assert_allclose(two.grip_mm, one.grip_mm, atol=1e-9)
