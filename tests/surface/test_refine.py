"""Refinement: nothing moves, triangles are small and well shaped, values map back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from shapes import cap
from surface.parts import edge_lengths, euler, everything, plate, trough, tube, within

from flatten.errors import InputError
from flatten.surface.cut import cut
from flatten.surface.locate import locate
from flatten.surface.mesh import SurfaceMesh
from flatten.surface.refine import (
    FLOOR_SHARE,
    LIFT_SHARE,
    MIN_ANGLE_DEG,
    default_edge_mm,
    good_enough,
    refine,
    refine_patch,
    smallest_angles,
)
from flatten.surface.region import Region


def sides(mesh):
    corners = mesh.corners
    return np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)


def surface(mesh):
    return SurfaceMesh(mesh.vertices, mesh.faces)


def test_two_large_triangles_become_many_well_shaped_ones_of_the_same_area():
    refined = refine(surface(plate(1, 300)))

    fine = refined.surface
    assert sides(fine).max() <= default_edge_mm(refined.coarse) == 5.0
    assert np.degrees(smallest_angles(sides(fine)).min()) > 30
    assert fine.areas.sum() == pytest.approx(90_000, rel=1e-12)
    assert_array_equal(fine.vertices[:, 2], 0)
    assert_array_equal(fine.vertices[:4], refined.coarse.vertices)


@pytest.mark.parametrize(("fillet", "facets"), [(8, 3), (8, 12), (22, 20), (1, 4)])
def test_cad_slivers_become_triangles_cloth_can_bend_over(fillet, facets):
    """Strips 300 mm long and as narrow as 0.4 mm; sharp ones are left only below the floor."""
    coarse = surface(trough(fillet, facets))

    refined = refine(coarse)

    fine, edge_mm = refined.surface, default_edge_mm(coarse)
    angle = np.degrees(smallest_angles(sides(fine)))
    small = sides(fine).max(axis=1) <= FLOOR_SHARE * edge_mm
    assert sides(fine).max() <= edge_mm
    assert (small | (angle >= MIN_ANGLE_DEG)).all()
    assert np.degrees(smallest_angles(sides(coarse))).min() < 1
    assert euler(fine.faces) == 1
    # Chords over level facets lift by a hundredth of the edge; what is cut off is far less.
    assert fine.areas.sum() == pytest.approx(coarse.areas.sum(), rel=1e-3)


def test_new_points_lie_on_the_facets():
    coarse = surface(trough(8, 8))
    edge_mm = default_edge_mm(coarse)

    fine = refine(coarse).surface

    middle = fine.corners.mean(axis=1)
    assert locate(coarse, fine.vertices).distances.max() <= 3 * LIFT_SHARE * edge_mm
    assert locate(coarse, middle).distances.max() <= 3 * LIFT_SHARE * edge_mm


def test_each_triangle_names_the_face_it_lies_on():
    coarse = surface(plate(3, 90))

    refined = refine(coarse, max_edge_mm=4, force=True)

    # All facets are level, so a triangle may bridge two; its middle names it.
    found = locate(coarse, refined.surface.corners.mean(axis=1)).faces
    assert (found == refined.face_source).mean() > 0.99
    area = np.bincount(refined.face_source, refined.surface.areas, len(coarse.faces))
    assert_allclose(area, coarse.areas, rtol=0.1)
    assert area.sum() == pytest.approx(8100, rel=1e-12)


def test_the_line_between_groups_is_kept():
    coarse = surface(plate(3, 90))
    left = (coarse.corners.mean(axis=1)[:, 0] < 30).astype(np.int64)

    refined = refine(coarse, max_edge_mm=4, groups=left)

    inside = left[refined.face_source] == 1
    corners = refined.surface.corners
    assert corners[inside][..., 0].max() == 30
    assert corners[~inside][..., 0].min() == 30
    assert refined.surface.areas[inside].sum() == pytest.approx(2700, rel=1e-12)


def test_means_weigh_by_area_and_a_vanished_face_takes_its_neighbour():
    coarse = surface(trough(1, 8))
    refined = refine(coarse)
    fine = refined.surface

    constant = refined.mean_per_face(np.full((len(fine.faces), 2), 7.0))
    height = refined.mean_per_face(fine.corners[..., 0].mean(axis=1))

    assert_allclose(constant, 7.0)
    assert constant.shape == (len(coarse.faces), 2)
    assert_array_equal(
        refined.face_source[refined.stand_in[refined.face_source]], refined.face_source
    )
    large = coarse.areas > 100
    assert_allclose(height[large], coarse.corners[large][..., 0].mean(axis=1), atol=12)


def test_a_good_mesh_is_left_alone_unless_asked():
    mesh = cap(150, 60, 20)
    edge_mm = sides(mesh).max() / 1.4

    assert refine(mesh, max_edge_mm=edge_mm).unchanged
    assert refine(mesh, max_edge_mm=edge_mm).surface is mesh
    assert not refine(mesh, max_edge_mm=edge_mm, force=True).unchanged


def test_the_gate_stops_long_edges_and_slivers():
    """Both sides: 1.5 times the edge wanted, and slivers on a hundredth of the area."""
    assert good_enough(plate(1, 100), 100 * np.sqrt(2) / 1.49)
    assert not good_enough(plate(1, 100), 100 * np.sqrt(2) / 1.51)
    strips = tube(100, 10, 100, 1, turn=0.5)
    assert not good_enough(tube(100, 60, 200, 1, turn=0.5), 60)
    assert good_enough(strips, 10)


@settings(max_examples=20)
@given(edge_mm=st.floats(3, 40), facets=st.integers(1, 6), length=st.floats(20, 200))
def test_area_rim_and_topology_are_kept_whatever_the_size(edge_mm, facets, length):
    coarse = surface(trough(10, facets, length))

    refined = refine(coarse, max_edge_mm=edge_mm, force=True)

    fine = refined.surface
    assert sides(fine).max() <= edge_mm
    assert euler(fine.faces) == 1
    assert fine.areas.sum() == pytest.approx(coarse.areas.sum(), rel=3e-3)
    lengths = [
        np.linalg.norm(
            np.diff(m.vertices[m.edges.vertices[m.edges.boundary]], axis=1), axis=2
        ).sum()
        for m in (coarse, fine)
    ]
    assert lengths[1] == pytest.approx(lengths[0], rel=1e-12)


def test_a_patch_keeps_the_kind_of_its_edges():
    mesh = plate(4, 200)
    opening = within(mesh, (50, 50), (100, 100))
    region = Region("ring", np.setdiff1d(np.arange(32), opening.faces))
    (patch,) = cut(mesh, region, seams=[(12, 17), (17, 22)])

    fine, refined = refine_patch(patch, max_edge_mm=6)

    assert len(fine.loops) == len(patch.loops)
    for kind in set(patch.edge_kinds):
        before, after = (
            edge_lengths(p)[np.array(p.edge_kinds) == kind].sum() for p in (patch, fine)
        )
        assert after == pytest.approx(before, rel=1e-12)
    assert fine.edge_joints.max() == 0
    assert_array_equal(fine.source_vertices[: len(patch.source_vertices)], patch.source_vertices)
    assert (fine.source_vertices[len(patch.source_vertices) :] == -1).all()
    assert_array_equal(fine.source_faces, patch.source_faces[refined.face_source])


def test_the_edge_length_is_five_or_a_sixtieth_and_more_on_a_hull():
    assert default_edge_mm(plate(1, 300)) == 5
    assert default_edge_mm(plate(1, 30)) == pytest.approx(30 * np.sqrt(2) / 60)
    assert default_edge_mm(plate(1, 3000)) == pytest.approx(3000 / np.sqrt(0.433 * 40_000))


@pytest.mark.parametrize("edge_mm", [0.0, -1.0, float("nan"), 1e-3])
def test_an_edge_length_that_cannot_be_is_refused(edge_mm):
    with pytest.raises(InputError, match=r"edge length|million triangles"):
        refine(surface(everything_of(plate(1, 300))), max_edge_mm=edge_mm)


def everything_of(mesh):
    assert len(everything(mesh).faces) == len(mesh.faces)
    return mesh


def test_the_line_between_groups_is_kept_where_a_flip_would_be_better():
    kite = SurfaceMesh([[0, 0, 0], [100, 0, 0], [50, 10, 0], [50, -10, 0]], [[0, 1, 2], [1, 0, 3]])

    refined = refine(kite, max_edge_mm=5, groups=np.array([0, 1]))
    mixed = refine(kite, max_edge_mm=5)

    low = np.array([0, 1])[refined.face_source] == 1
    assert refined.surface.corners[low][..., 1].max() == 0
    assert refined.surface.corners[~low][..., 1].min() == 0
    crossing = (mixed.surface.corners[..., 1].max(axis=1) > 0) & (
        mixed.surface.corners[..., 1].min(axis=1) < 0
    )
    assert crossing.any()


def test_a_long_gutter_is_refined_to_a_bounded_number(monkeypatch):
    """Fillets ask for far more triangles than their area: edges grow until the number is borne,
    and flips still lift the surface no more than 0.0125 mm off its facets. An edge length that was
    asked for is kept, or refused."""
    gutter = trough(8, 6, length=20_000)
    surface = SurfaceMesh(gutter.vertices, gutter.faces)

    fine = refine(surface).surface

    assert 10_000 < len(fine.faces) <= 250_000
    corners = fine.corners
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    assert sides.max() > 15
    assert fine.areas.sum() == pytest.approx(surface.areas.sum(), rel=1e-4)
    monkeypatch.setattr("flatten.surface.refine.MOST_ASKED", 30_000)
    with pytest.raises(InputError, match=r"Edges of 25 mm .* on this shape"):
        refine(surface, max_edge_mm=25)
