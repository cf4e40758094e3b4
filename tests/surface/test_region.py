"""Regions: made valid, grown to sharp edges, refused in pieces."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from surface.parts import block, plate, trough, within

from flatten.errors import InputError
from flatten.surface.region import (
    Region,
    check_region,
    edge_angles,
    grow_to_sharp_edges,
    region_boundary,
    region_from_point,
)


def test_faces_are_sorted_and_named_once():
    assert_array_equal(Region("floor", [5, 1, 5, 3]).faces, [1, 3, 5])


def test_regions_are_equal_by_name_and_faces():
    assert Region("a", [1, 2]) == Region("a", [2, 1])
    assert hash(Region("a", [1, 2])) == hash(Region("a", [2, 1]))
    assert Region("a", [1, 2]) != Region("b", [1, 2])
    assert Region("a", [1, 2]) != Region("a", [1, 3])


@pytest.mark.parametrize(
    ("faces", "reason"),
    [([], "has no faces"), ([-1, 2], "face -1"), ([0.5], "integers"), ([[1, 2]], "shape")],
)
def test_a_bad_region_is_refused(faces, reason):
    with pytest.raises(InputError, match=reason):
        Region("floor", faces)


def test_faces_beyond_the_mould_are_refused():
    with pytest.raises(InputError, match="face 12, but the mould has only 12"):
        check_region(block(), Region("floor", [3, 12]))


def test_a_region_in_two_pieces_names_the_smaller():
    mesh = plate(10)
    left, right = within(mesh, (0, 0), (20, 100)), within(mesh, (60, 0), (100, 100))

    with pytest.raises(InputError, match="in 2 pieces") as refused:
        check_region(mesh, Region("both", [*left.faces, *right.faces]))
    assert refused.value.faces == tuple(left.faces)
    check_region(mesh, right)


@pytest.mark.parametrize(("angle_deg", "faces"), [(89.9, 2), (90.1, 12), (0, 2)])
def test_a_cube_grows_round_its_edges_from_ninety_degrees(angle_deg, faces):
    assert len(grow_to_sharp_edges(block(), 0, angle_deg)) == faces


def test_a_fillet_of_ten_facets_is_smooth_at_ten_degrees():
    """Ten facets to 90 degrees meet at 9; half of that where they meet the flats."""
    mesh = trough(8, 10)

    assert len(grow_to_sharp_edges(mesh, 0, 9.1)) == len(mesh.faces)
    assert len(grow_to_sharp_edges(mesh, 0, 8.9)) < len(mesh.faces)
    assert edge_angles(mesh).max() == pytest.approx(np.radians(9), rel=1e-9)


@pytest.mark.parametrize("angle_deg", [-1, 181, float("nan")])
def test_an_angle_that_is_none_is_refused(angle_deg):
    with pytest.raises(InputError, match="edge angle"):
        grow_to_sharp_edges(block(), 0, angle_deg)


def test_a_point_finds_the_smooth_region_under_it():
    region = region_from_point(block(100), "top", [50, 40, 104], 30)

    assert_array_equal(region.faces, [2, 3])


def test_the_rim_of_a_region_has_it_on_the_left():
    """Shoelace: the rim of a 20 x 20 square, run counter-clockwise, encloses +400 mm2."""
    mesh = plate(10)
    rim = mesh.vertices[region_boundary(mesh, within(mesh, (40, 40), (60, 60)))]

    area = 0.5 * (rim[:, 0, 0] * rim[:, 1, 1] - rim[:, 1, 0] * rim[:, 0, 1]).sum()

    assert area == pytest.approx(400, rel=1e-12)
