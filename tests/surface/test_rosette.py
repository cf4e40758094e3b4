"""The 0-degree direction carried to faces: by projection, counted counter-clockwise."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from surface.parts import moved

from flatten.errors import InputError
from flatten.surface.rosette import Rosette

FLAT = Rosette([0, 0, 0], [1, 0, 0], [0, 0, 1])


@pytest.mark.parametrize(
    ("angle_deg", "direction"), [(0, (1, 0, 0)), (90, (0, 1, 0)), (45, (0.5**0.5, 0.5**0.5, 0))]
)
def test_angles_count_counter_clockwise_seen_from_the_lay_up_side(angle_deg, direction):
    """ASTM D6507, as cited in US Army TM 1-1500-204-23-11, para. 5-7."""
    assert_allclose(FLAT.direction(angle_deg, [0, 0, 1]), direction, atol=1e-12)


def test_seen_from_above_the_direction_does_not_turn_on_a_slope():
    """On a face sloping by 60 degrees, +45 still runs at 45 in the plan."""
    slope = np.radians(60)

    along = FLAT.direction(45, [np.sin(slope), 0, np.cos(slope)])

    assert along[1] / along[0] == pytest.approx(1, rel=1e-12)
    assert along[2] / along[0] == pytest.approx(-np.tan(slope), rel=1e-12)


def test_on_an_upright_face_it_is_laid_down_at_right_angles():
    assert_allclose(FLAT.direction(45, [1, 0, 0]), [0, 1, 0], atol=1e-12)


@given(
    angle_deg=st.floats(-180, 180),
    tilt=st.floats(0, 1.4),
    way=st.floats(0, 6.28),
    seed=st.integers(0, 99),
)
def test_directions_lie_in_the_face_and_turn_with_the_part(angle_deg, tilt, way, seed):
    normal = np.array([np.sin(tilt) * np.cos(way), np.sin(tilt) * np.sin(way), np.cos(tilt)])
    assume(abs(normal[2]) > 0.11)
    turn, shift = moved(None, seed)

    along = FLAT.direction(angle_deg, normal)

    assert along @ normal == pytest.approx(0, abs=1e-12)
    assert np.linalg.norm(along) == pytest.approx(1, rel=1e-12)
    turned = Rosette(shift, turn[:, 0], turn[:, 2]).direction(angle_deg, turn @ normal)
    assert_allclose(turned, turn @ along, atol=1e-9)


def test_the_zero_direction_is_put_into_the_plane():
    assert_allclose(Rosette([0, 0, 0], [1, 0, 1], [0, 0, 2]).zero, [1, 0, 0], atol=1e-12)


@pytest.mark.parametrize(
    ("zero", "normal", "reason"),
    [
        ([0, 0, 1], [0, 0, 1], "along its normal"),
        ([0, 0, 0], [0, 0, 1], "no direction"),
        ([1, 0, 0], [0, 0, 0], "no direction"),
        ([1, 0, np.nan], [0, 0, 1], "finite"),
    ],
)
def test_a_rosette_without_a_plane_is_refused(zero, normal, reason):
    with pytest.raises(InputError, match=reason):
        Rosette([0, 0, 0], zero, normal)


def test_a_direction_straight_out_of_the_face_is_refused():
    with pytest.raises(InputError, match="straight out of the mould face"):
        FLAT.direction(0, [1, 0, 0])
