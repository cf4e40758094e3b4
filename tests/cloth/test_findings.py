"""What the drape says at the bench, and the bad input it refuses by name."""

import dataclasses

import numpy as np
import pytest
from shapes import bumps, cap, irregular_cap, sheet

from flatten.cloth.coarsely import check_fineness
from flatten.cloth.drape import drape_surface
from flatten.cloth.library import load_fabrics
from flatten.cloth.settled import settled_faces
from flatten.cloth.strain import (
    beyond_limit,
    check_strain,
    fabric_strain,
    locked,
    locked_flat_area_fraction,
)
from flatten.errors import Cancelled, InputError
from flatten.surface.mesh import SurfaceMesh

CLOTHS = load_fabrics()
TWILL = CLOTHS["carbon_twill_210"]
ANY = 1000.0


def codes(drape, fabric=TWILL):
    return {finding.code for finding in check_strain(drape, fabric)}


def hemisphere():
    return drape_surface(
        cap(150, 90, 30), TWILL, tack_mm=(0, 0, 150), warp=(1, 0, 0), max_edge_mm=ANY
    )


def test_a_flat_piece_has_nothing_to_say():
    drape = drape_surface(bumps(200, 200, height=0.0), TWILL, tack_mm=(1, 2, 0), warp=(1, 0, 0))

    assert check_strain(drape, TWILL) == []
    assert locked_flat_area_fraction(drape, TWILL) == 0


def test_a_hemisphere_locks_four_times_on_the_bias_at_the_rim():
    """Shear beyond 50 degrees only where the polar angle on the bias exceeds 87 degrees: .74 % of
    the flat area in the exact net with 50 degrees (published net of the sphere, integrated)."""
    drape = hemisphere()

    finding = next(f for f in check_strain(drape, TWILL) if f.code == "drape_locked")
    assert finding.severity == "warning"
    assert "will not lie down here" in finding.message
    assert set(finding.faces) == set(np.flatnonzero(locked(drape, TWILL)).tolist())
    middle = drape.flat[drape.surface.faces[list(finding.faces)]].mean(axis=1)
    bias = np.degrees(np.arctan2(*np.abs(middle).T))
    assert np.abs(bias - 45).max() < 15
    assert 0.004 < locked_flat_area_fraction(drape, TWILL) < 0.012


def test_limits_are_seen_from_both_sides_and_by_sign():
    shear = np.radians([[0, 0, 44.9], [0, 0, 45.1], [0, 0, -34.9], [0, 0, -35.1]])
    biax = dataclasses.replace(
        CLOTHS["carbon_biax_300"], shear_lock_deg=45, shear_lock_opening_deg=35
    )

    assert beyond_limit(shear, biax).tolist() == [False, True, False, True]


def test_mat_is_judged_by_stretch_in_any_direction():
    mat = dataclasses.replace(CLOTHS["glass_mat_450"], stretch_limit_across=0.1)
    strain = np.array([[0.09, 0, 0], [0.11, 0, 0], [0, -0.11, 0], [0, 0, 0.25]])

    assert beyond_limit(strain, mat).tolist() == [False, True, True, True]


def test_shear_is_the_picture_frames():
    """A frame of pin-jointed sides: only shear, positive where the sides close up."""
    flat = np.array([[0, 0], [10, 0], [10, 10], [0, 10.0]])
    for shear in np.radians([-50, -1, 30]):
        draped = np.column_stack(
            [flat[:, 0] + flat[:, 1] * np.sin(shear), flat[:, 1] * np.cos(shear), [0] * 4]
        )
        strain = fabric_strain(SurfaceMesh(draped, [[0, 1, 2], [0, 2, 3]]), flat)

        assert np.abs(strain[:, :2]).max() < 1e-12
        assert strain[:, 2] == pytest.approx(shear, abs=1e-12)


def test_a_triangle_without_flat_area_is_refused():
    mesh = SurfaceMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])

    with pytest.raises(InputError, match="1 of 1 triangles") as told:
        fabric_strain(mesh, [[0, 0], [1, 0], [2, 0]], np.array([37]))
    assert told.value.faces == (37,)


def test_a_piece_that_winds_round_overlaps_in_the_flat():
    """One and a half turns of a flat spiral ramp: the developed ring lies on itself."""
    turn = np.linspace(0, 3 * np.pi, 120)
    ramp = sheet(
        lambda a, r: (r * np.cos(a), r * np.sin(a), 3 * a), turn, np.linspace(60, 30, 6)[::-1]
    )

    drape = drape_surface(
        ramp, CLOTHS["glass_mat_450"], tack_mm=ramp.vertices[300], warp=(1, 0, 0), max_edge_mm=ANY
    )

    stop = check_strain(drape, CLOTHS["glass_mat_450"])[0]
    assert (stop.code, stop.severity) == ("drape_overlap", "stop")
    assert len(stop.faces) > 20


def test_a_tray_that_locks_says_so_and_still_has_one_answer():
    """A box corner folds the cloth: converged with bending threads, and several lay-downs told."""
    drape = deep_pan()

    assert drape.converged
    assert drape.locks
    assert {"drape_locked", "drape_several", "drape_fibre_stretch"} <= codes(drape)
    stretch = next(f for f in check_strain(drape, TWILL) if f.code == "drape_fibre_stretch")
    assert len(stretch.faces) > 0


def deep_pan():
    """A square pan 40 mm deep with steep, rounded walls."""
    from shapes import triangulated

    axis = np.linspace(-80, 80, 41)
    plan = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    distance = np.maximum(np.abs(plan) - 45, 0)
    outside = np.hypot(*distance.T)
    z = 35 * (1 + np.tanh((outside - 16) / 5))
    return drape_surface(
        SurfaceMesh(np.column_stack([plan, z]), triangulated(plan, 1e-3)),
        TWILL,
        tack_mm=(0, 0, 0),
        warp=(1, 0, 0),
        max_edge_mm=ANY,
    )


def test_what_the_spines_do_not_reach_is_not_settled():
    """An L laid from the end of one leg: the rectangle to the other leg's end leaves the cloth."""
    x, y = np.meshgrid(np.arange(0, 101, 4.0), np.arange(0, 101, 4.0))
    points = np.column_stack([x.ravel(), y.ravel()])
    from shapes import grid_faces

    faces = grid_faces(*x.shape)
    middle = points[faces].mean(axis=1)
    keep = (middle[:, 1] < 40) | (middle[:, 0] > 60)
    used, numbers = np.unique(faces[keep], return_inverse=True)
    flat = points[used]
    mesh = SurfaceMesh(np.column_stack([flat, 0 * flat[:, 0]]), numbers.reshape(-1, 3))

    settled = settled_faces(mesh, flat - [10, 20])

    centre = flat[mesh.faces].mean(axis=1)
    assert settled[centre[:, 1] < 30].all()
    assert not settled[centre[:, 1] > 50].any()


CORNERS = [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9.0]]
TETRA = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]


def torus(keep_all=False):
    a, b = np.meshgrid(np.arange(12), np.arange(8))
    p, q = 2 * np.pi * a.ravel() / 12, 2 * np.pi * b.ravel() / 8
    r = 40 + 15 * np.cos(q)
    index = lambda i, j: (j % 8) * 12 + i % 12  # noqa: E731
    faces = [
        face
        for i in range(12)
        for j in range(8)
        for face in (
            [index(i, j), index(i + 1, j), index(i + 1, j + 1)],
            [index(i, j), index(i + 1, j + 1), index(i, j + 1)],
        )
    ]
    points = np.column_stack([r * np.cos(p), r * np.sin(p), 15 * np.sin(q)])
    return SurfaceMesh(points, faces if keep_all else faces[2:])


def test_a_closed_surface_is_refused_saying_where_to_cut():
    with pytest.raises(InputError, match="closed") as caught:
        drape_surface(SurfaceMesh(CORNERS, TETRA), TWILL, tack_mm=(1, 1, 0), warp=(1, 0, 0))
    assert "cut from" in caught.value.hint
    assert caught.value.faces


def test_a_handle_is_refused_with_the_faces_to_cut():
    with pytest.raises(InputError, match="1 handle") as caught:
        drape_surface(torus(), TWILL, tack_mm=(55, 0, 0), warp=(0, 1, 0))
    assert 0 < len(caught.value.faces) < 100


def test_two_pieces_are_refused():
    mesh = SurfaceMesh([*CORNERS[:3], [50, 0, 0], [59, 0, 0], [50, 9, 0]], [[0, 1, 2], [3, 4, 5]])
    with pytest.raises(InputError, match="2 pieces"):
        drape_surface(mesh, TWILL, tack_mm=(1, 1, 0), warp=(1, 0, 0))


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"tack_mm": (0, 0, 400)}, "off the surface"),
        ({"tack_mm": (0, 0, float("nan"))}, "finite"),
        ({"tack_mm": (0, 0)}, "shape"),
        ({"warp": (0, 0, 1)}, "straight out"),
        ({"warp": (0, 0, 0)}, "no direction"),
        ({"method": "thrown"}, "thrown"),
        ({"spines": ([[0, 0, 150], [0, 0, 150]], [[0, 0, 150], [0, 5, 150]])}, "no length"),
        ({"spines": ([[0, 0, 150], [0, 300, 150]], [[0, 0, 150], [0, 5, 150]])}, "leaves"),
    ],
)
def test_bad_input_is_named(change, reason):
    given = {"tack_mm": (0, 0, 150), "warp": (1, 0, 0)} | change
    with pytest.raises(InputError, match=reason):
        drape_surface(irregular_cap(150, 40, 400), TWILL, **given)


def test_a_surface_that_runs_through_itself_is_said_with_its_faces():
    """The nodal cubic (t^2 - 1, t (t^2 - 1)), drawn out as a strip: it meets itself at t = +-1,
    in the origin. It unrolls; the rest of the pattern holds."""
    t = np.linspace(-1.3, 1.3, 54)
    mesh = sheet(lambda u, y: (40 * (u**2 - 1), y, 40 * u * (u**2 - 1)), t, np.linspace(0, 60, 13))

    drape = drape_surface(mesh, TWILL, tack_mm=(-40, 30, 0), warp=(0, 1, 0))
    found = next(f for f in check_strain(drape, TWILL) if f.code == "drape_self_crossing")

    here = np.abs(mesh.corners[:, :, [0, 2]]).max(axis=2).min(axis=1) < 6
    assert found.severity == "warning"
    assert 24 <= len(found.faces) <= 96
    assert here[list(found.faces)].all()
    assert "boolean union" in found.hint
    apart = sheet(lambda u, y: (40 * (u**2 - 1), y, 30 * u), t, np.linspace(0, 60, 13))
    apart = drape_surface(apart, TWILL, tack_mm=(-40, 30, 0), warp=(0, 1, 0))
    assert "drape_self_crossing" not in codes(apart)


def test_faces_that_only_look_joined_are_refused_by_the_drape_too():
    """Four cells round a vertex; the right ones stand on the same line, but on its middle."""
    points = [[0, 0], [20, 0], [40, 0], [0, 20], [20, 20], [40, 20], [20, 10]]
    mesh = SurfaceMesh(
        np.column_stack([points, np.zeros(7)]),
        [[0, 1, 4], [0, 4, 3], [6, 1, 2], [6, 2, 5], [6, 5, 4]],
    )
    with pytest.raises(InputError, match=r"T-junction.*\(20\.0, 10\.0, 0\.0\)") as refused:
        drape_surface(mesh, TWILL, tack_mm=(10, 5, 0), warp=(1, 0, 0))
    assert set(refused.value.faces) == {0, 2, 4}


def test_a_part_too_large_for_the_usual_triangles_says_so():
    """Long edges because 5 mm ones would be too many; not because somebody asked for few."""
    found = check_fineness(bumps(21_000, 2500, height=0.0))

    assert [finding.code for finding in found] == ["drape_coarse"]
    assert found[0].severity == "note"
    assert "up to 44 mm" in found[0].message
    assert check_fineness(bumps(21_000, 300, height=0.0)) == []
    assert check_fineness(bumps(2000, 800, height=0.0)) == []


@pytest.mark.parametrize("scale", [0.001, 1000])
def test_fingernail_and_ship_are_draped_alike(scale):
    """From 0.2 mm to 200 m: the same shape, scaled."""
    mesh = irregular_cap(150, 40, 600)
    small = SurfaceMesh(scale * mesh.vertices, mesh.faces)
    one = drape_surface(mesh, TWILL, tack_mm=(0, 0, 150), warp=(1, 0, 0), max_edge_mm=ANY)
    two = drape_surface(
        small, TWILL, tack_mm=(0, 0, 150 * scale), warp=(1, 0, 0), max_edge_mm=ANY * scale
    )

    assert two.converged
    assert np.abs(two.flat / scale - one.flat).max() < 1e-3


def test_progress_is_told_and_may_stop_the_work():
    told = []

    def stop(share, what):
        told.append(share)
        if share > 0.2:
            raise Cancelled

    with pytest.raises(Cancelled):
        drape_surface(cap(150, 60, 20), TWILL, tack_mm=(0, 0, 150), warp=(1, 0, 0), progress=stop)
    assert told == sorted(told)
