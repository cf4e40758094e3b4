"""The surface under a ply: radii shrink, planes move by the thickness, full corners are found."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from shapes import cap
from surface.parts import block, moved, plate, trough, tube

from flatten.errors import InputError
from flatten.surface.mesh import MouldMesh
from flatten.surface.offset import offset


@pytest.mark.parametrize("thickness_mm", [0.3, 1.0, 5.0])
def test_a_cylinder_laid_on_from_outside_grows_and_from_inside_shrinks(thickness_mm):
    outside = tube(50, 90, 24, 3)
    inside = MouldMesh(outside.vertices, outside.faces[:, ::-1])

    for mesh, radius in ((outside, 50 + thickness_mm), (inside, 50 - thickness_mm)):
        moved_mesh = offset(mesh, thickness_mm).mesh
        middle = (mesh.vertices[:, 2] > 0) & (mesh.vertices[:, 2] < 90)
        reached = np.linalg.norm(moved_mesh.vertices[:, :2], axis=1)
        assert_allclose(reached[middle], radius, rtol=1e-12)
        assert_array_equal(moved_mesh.faces, mesh.faces)
        assert_array_equal(moved_mesh.vertices[:, 2], mesh.vertices[:, 2])


def test_a_sphere_stays_a_sphere_with_the_square_of_the_edge():
    errors = []
    for rings in (6, 12, 24):
        mesh = cap(100, 60, rings)
        away = np.linalg.norm(offset(mesh, 2.0).mesh.vertices, axis=1)
        inner = np.linalg.norm(mesh.vertices[:, :2], axis=1) < 70
        errors.append(np.abs(away[inner] - 102).max())
    assert errors[-1] < 1e-4
    assert errors[2] < errors[1] / 2 < errors[0] / 4


def test_a_ninety_degree_fillet_loses_half_pi_of_the_thickness():
    """A ply on 1 mm of laminate round a 90-degree corner: pi / 2 = 1.57 mm less of length.

    Where wall and fillet meet, the normal leans by a part of a facet: 1 degree at 90 facets.
    """
    mesh = trough(10, 90, 300)
    moved_mesh = offset(mesh, 1.0).mesh
    lengths = []
    for one in (mesh, moved_mesh):
        profile = one.vertices[: len(mesh.vertices) // 2]
        arc = profile[1:92]  # from where the wall ends to where the floor begins
        lengths.append(np.linalg.norm(np.diff(arc, axis=0), axis=1).sum())

    assert lengths[0] - lengths[1] == pytest.approx(np.pi / 2, abs=np.radians(1))


def test_the_planes_of_a_block_move_by_the_thickness_round_corners_too():
    outwards = offset(block(100), 2.0).mesh
    inwards = offset(MouldMesh(block(100).vertices, block(100).faces[:, ::-1]), 2.0).mesh

    assert_allclose(np.sort(np.unique(outwards.vertices.round(6))), [-2, 102])
    assert_allclose(np.sort(np.unique(inwards.vertices.round(6))), [2, 98])


def test_a_laminate_keeps_its_thickness_up_to_its_edge():
    mesh = plate(4)
    laid = np.where(mesh.corners.mean(axis=1)[:, 0] < 50, 1.5, 0.0)

    height = offset(mesh, laid).mesh.vertices[:, 2]

    assert_allclose(height[mesh.vertices[:, 0] <= 50], 1.5, atol=1e-12)
    assert_allclose(height[mesh.vertices[:, 0] > 50], 0, atol=1e-12)


def test_nothing_laid_moves_nothing():
    mesh = block()

    assert offset(mesh, 0.0).mesh is mesh


@pytest.mark.parametrize(("thickness_mm", "full"), [(6.0, False), (8.6, True), (20.0, True)])
def test_a_fillet_thinner_than_the_plies_in_it_is_found(thickness_mm, full):
    """R 8 mm: 2 mm of radius are left at 6, and none at more than 8."""
    mesh = trough(8, 6)

    moved_mesh = offset(mesh, thickness_mm)

    assert [finding.code for finding in moved_mesh.findings] == (["corner-full"] if full else [])
    turned = (moved_mesh.mesh.double_areas * mesh.double_areas).sum(axis=1) < 0
    assert not turned.any()
    if full:
        fillet = (mesh.corners.mean(axis=1)[:, 2] < 8) & (np.abs(mesh.normals[:, 2]) < 0.99)
        found = set(moved_mesh.findings[0].faces)
        assert len(found & set(np.flatnonzero(fillet))) > 0.5 * fillet.sum()
        assert f"{thickness_mm:.1f} mm" in moved_mesh.findings[0].message


@settings(max_examples=30)
@given(seed=st.integers(0, 1000), thickness_mm=st.floats(0.05, 3))
def test_a_rigid_motion_moves_the_offset_along(seed, thickness_mm):
    mesh = trough(8, 6)
    turn, shift = moved(mesh, seed)

    turned = offset(MouldMesh(mesh.vertices @ turn.T + shift, mesh.faces), thickness_mm).mesh

    straight = offset(mesh, thickness_mm).mesh.vertices @ turn.T + shift
    assert_allclose(turned.vertices, straight, atol=1e-8)


@pytest.mark.parametrize(
    ("thickness", "reason"),
    [
        (-1.0, "-1 mm on face 0"),
        (float("nan"), "finite"),
        ([1.0, 2.0], "shape"),
        ([0.0] * 11 + [-2.0], "-2 mm on face 11"),
    ],
)
def test_a_thickness_that_is_none_is_refused(thickness, reason):
    with pytest.raises(InputError, match=reason):
        offset(block(), thickness)
