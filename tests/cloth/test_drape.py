"""The drape against closed forms, exact nets and its own symmetries.

Longer than most files: every way to lay cloth is held to its exact answer here.
"""

import numpy as np
import pytest
from cloth.starts import laid_again
from nets import SphereNet, sphere_angle
from numpy.testing import assert_allclose
from shapes import (
    cap,
    cone_frustum,
    grid_faces,
    irregular_cap,
    random_sheet,
    sheet,
    translation,
)

from flatten.cloth.drape import drape_surface
from flatten.cloth.library import load_fabrics
from flatten.surface.mesh import SurfaceMesh

CLOTHS = load_fabrics()
TWILL = CLOTHS["carbon_twill_210"]
NET = SphereNet(1.5, 200)
ANY = 1000.0  # mm: longest edge, so that the mesh is taken as it is


def rim_of(mesh):
    return np.unique(mesh.edges.vertices[mesh.edges.boundary])


def side_lengths(points, faces):
    corners = points[faces]
    return np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)


@pytest.mark.parametrize("heading_deg", [0, 30, 45, 90])
def test_quarter_cylinder_develops_to_the_length_of_its_facets(heading_deg):
    """A prism unrolls exactly, whatever way the warp runs: every side keeps its length."""
    u = np.linspace(0, np.pi / 2, 17)
    mesh = sheet(lambda a, y: (50 * np.sin(a), y, 50 * np.cos(a)), u, np.linspace(0, 200, 21))
    middle = np.array([50 * np.sin(0.7), 99, 50 * np.cos(0.7)])
    c, s = np.cos(np.radians(heading_deg)), np.sin(np.radians(heading_deg))
    warp = s * np.array([0, 1, 0]) + c * np.array([np.cos(0.7), 0, -np.sin(0.7)])

    drape = drape_surface(mesh, TWILL, tack_mm=middle, warp=warp)

    assert_allclose(
        side_lengths(drape.fine.flat, drape.fine.surface.faces),
        side_lengths(drape.fine.surface.vertices, drape.fine.surface.faces),
        atol=1e-6,
    )
    ruling = drape.flat[20 * 17] - drape.flat[0]  # from y = 0 to y = 200
    assert np.degrees(np.arctan2(*ruling[::-1])) == pytest.approx(90 - heading_deg, abs=0.1)
    assert np.linalg.norm(ruling) == pytest.approx(200, abs=1e-6)
    assert_allclose(drape.strain, 0, atol=1e-7)


def test_frustum_opens_to_its_sector():
    """r 40 to 100, height 80: radii 66.6667 and 166.6667, sector 216 degrees, less what 64 facets
    cut off: each spans 2 asin(chord / 2 R) in the flat."""
    mesh = cone_frustum(40, 100, 80, facets=64, rows=12)

    drape = drape_surface(mesh, TWILL, tack_mm=(-70, 0, -40), warp=(0, 1, 0))

    slant = np.hypot(80, 60 * np.cos(np.pi / 64))  # of a facet's middle line
    top, bottom = 2 * 40 * np.sin(np.pi / 64), 2 * 100 * np.sin(np.pi / 64)
    half = np.arctan((bottom - top) / 2 / slant)
    outer = bottom / 2 / np.sin(half)
    loop = drape.flat[-65:]
    centre = _circle_centre(loop)
    assert_allclose(np.linalg.norm(loop - centre, axis=1), outer, atol=1e-5)
    turn = np.unwrap(np.arctan2(*(loop - centre).T[::-1]))
    assert abs(turn[-1] - turn[0]) == pytest.approx(128 * half, abs=1e-7)
    assert np.degrees(128 * half) == pytest.approx(216, abs=0.2)


@pytest.mark.parametrize(
    ("facets", "sector_deg", "within"), [(36, 154.1267, 1e-4), (360, 154.288, 0.02)]
)
def test_oblique_cone_opens_to_its_facets(facets, sector_deg, within):
    """Base radius 50, apex over (30, 0) at 100: the angles of its facets at the apex add up
    (triangulation, as tinsmiths develop it); generators keep their 101.98 to 128.06 mm. With fine
    facets some edges are flipped within 0.0125 mm."""
    turn = 2 * np.pi * np.arange(facets + 1) / facets
    ring = np.column_stack([50 * np.cos(turn), 50 * np.sin(turn), 0 * turn])
    i = np.arange(1, facets + 1)
    mesh = SurfaceMesh(np.vstack([[30, 0, 100.0], ring]), np.column_stack([0 * i, i, i + 1]))
    tack = mesh.corners[facets // 2].mean(axis=0)

    drape = drape_surface(mesh, TWILL, tack_mm=tack, warp=(90, 30, 100))

    out = drape.flat[1:] - drape.flat[0]
    angle = np.degrees(np.unwrap(np.arctan2(*out.T[::-1])))
    assert abs(angle[-1] - angle[0]) == pytest.approx(sector_deg, abs=within)
    lengths = np.linalg.norm(ring - [30, 0, 100], axis=1)
    assert lengths.min() == pytest.approx(101.9804, abs=1e-4)
    assert_allclose(np.linalg.norm(out, axis=1), lengths, atol=100 * within)
    assert np.abs(drape.strain[:, :2]).max() < 2 * within


@pytest.mark.parametrize(
    ("radius", "tilt_deg", "edge_mm"), [(50, 30, 338.8959), (50, 45, 382.0198), (25, 20, 162.1593)]
)
def test_cylinder_cut_aslant_opens_to_a_cosine(radius, tilt_deg, edge_mm):
    """y = R tan a cos(x / R), and the edge as long as the ellipse's perimeter (within 0.01 %)."""
    facets, height = 180, 80
    turn = 2 * np.pi * np.arange(facets + 1) / facets
    swing = radius * np.tan(np.radians(tilt_deg))
    mesh = sheet(
        lambda a, s: (radius * np.sin(a), s * (height + swing * np.cos(a)), radius * np.cos(a)),
        turn,
        np.linspace(0, 1, 33),
    )

    drape = drape_surface(mesh, TWILL, tack_mm=(0, 30, -radius), warp=(1, 0.5, 0))

    bottom, top = drape.flat[: facets + 1], drape.flat[-facets - 1 :]
    along = (bottom[-1] - bottom[0]) / np.linalg.norm(bottom[-1] - bottom[0])
    x = (top - bottom[0]) @ along
    y = np.abs((top - bottom[0]) @ [-along[1], along[0]])
    chord = 2 * radius * np.sin(np.pi / facets)
    flips = 0.0125  # mm: as far as flips lift the facets where slivers are refined
    assert_allclose(x, chord * np.arange(facets + 1), atol=flips)
    assert_allclose(y, height + swing * np.cos(turn), atol=flips)
    assert np.abs(y - height - swing * np.cos(x / radius)).max() < 1e-3 * radius
    assert np.linalg.norm(np.diff(top, axis=0), axis=1).sum() == pytest.approx(edge_mm, rel=1e-4)


def test_cone_cut_aslant_opens_to_its_polar_curve():
    """Half-angle 20, plane z = 100 + x tan 30: rho = H / (cos b - sin b cos phi tan a) over the
    flat angle phi sin b; from 134.7296 to 87.9385 mm, the edge 255.5293 mm (within 0.01 %)."""
    facets, b, a = 180, np.radians(20), np.radians(30)
    phi = 2 * np.pi * np.arange(facets + 1) / facets
    rho = 100 / (np.cos(b) - np.sin(b) * np.cos(phi) * np.tan(a))

    def place(phi, s):  # from a short way below the apex to the cut
        far = s * 100 / (np.cos(b) - np.sin(b) * np.cos(phi) * np.tan(a))
        return far * np.sin(b) * np.cos(phi), far * np.sin(b) * np.sin(phi), far * np.cos(b)

    mesh = sheet(lambda phi, s: place(-phi, s), phi, np.linspace(0.3, 1, 21))
    drape = drape_surface(mesh, TWILL, tack_mm=place(np.pi, 0.6), warp=(0, 1, 0))

    near, far = drape.flat[: facets + 1], drape.flat[-facets - 1 :]
    apex = near[0] - (far[0] - near[0]) * 0.3 / 0.7
    assert_allclose(np.linalg.norm(far - apex, axis=1), rho, atol=0.0125)  # as far as flips lift
    angle = np.degrees(np.unwrap(np.arctan2(*(far - apex).T[::-1])))
    quarter = np.abs(angle - angle[0])[[45, 90, 135, 180]]
    assert_allclose(quarter, [30.7818, 61.5636, 92.3454, 123.1273], rtol=2e-4)
    assert np.linalg.norm(np.diff(far, axis=0), axis=1).sum() == pytest.approx(255.5293, rel=1e-4)


def _circle_centre(points):
    a = np.column_stack([2 * points, np.ones(len(points))])
    return np.linalg.lstsq(a, (points**2).sum(axis=1), rcond=None)[0][:2]


def test_hemisphere_reaches_the_known_net():
    """Great circles as seed threads: bias shear 52.425 degrees at the equator, outline 1.5708 R
    on the threads and 1.3866 R on the bias (Chebyshev net of the sphere, integrated)."""
    mesh = cap(150, 90, 40)

    drape = drape_surface(mesh, TWILL, tack_mm=(0, 0, 150), warp=(1, 0, 0), max_edge_mm=ANY)

    rim = rim_of(mesh)
    r, phi = np.hypot(*drape.flat[rim].T) / 150, np.arctan2(*drape.flat[rim].T[::-1])
    assert r[np.abs(phi).argmin()] == pytest.approx(np.pi / 2, abs=1e-3)
    assert r[np.abs(phi - np.pi / 4).argmin()] == pytest.approx(1.3866, abs=1e-3)
    assert np.degrees(np.abs(drape.strain[:, 2]).max()) == pytest.approx(52.425, abs=0.3)
    assert drape.converged
    assert drape.settled.all()
    assert not drape.locks


def cap_errors(triangles, *, off_deg=15.0, heading=0.4, net=NET):
    """Largest outline error (mm) and shear rms (degrees) on a 60-degree cap, R 150."""
    mesh = irregular_cap(150, 60, triangles)
    off = np.radians(off_deg)
    tack = np.array([np.sin(off) * np.cos(1), np.sin(off) * np.sin(1), np.cos(off)])
    warp = np.array([np.cos(heading), np.sin(heading), 0])
    drape = drape_surface(mesh, TWILL, tack_mm=150 * tack, warp=warp, max_edge_mm=ANY)
    along = warp - tack * (tack @ warp)
    along /= np.linalg.norm(along)
    frame = np.array([along, np.cross(tack, along), tack])
    exact = 150 * net.flat(mesh.vertices @ frame.T / 150, drape.flat / 150)
    shear = np.pi / 2 - sphere_angle(exact[mesh.faces].mean(axis=1).prod(axis=1) / 150**2)
    settled = np.zeros(len(mesh.vertices), bool)
    settled[mesh.faces[drape.settled]] = True
    rim = rim_of(mesh)
    rim = rim[settled[rim]]
    off_mm = np.linalg.norm(drape.flat - exact, axis=1)[rim].max()
    return off_mm, np.degrees(np.sqrt(((drape.strain[:, 2] - shear)[drape.settled] ** 2).mean()))


def test_cap_converges_to_the_exact_net():
    """Tack off the middle, warp askew, irregular triangles; against a net integrated without us.

    Shear falls with the edge length (first order), the outline faster; both meshes have few
    enough triangles for the bow of threads to be read as often."""
    coarse, fine = cap_errors(1100), cap_errors(4400)

    assert fine[0] < 0.1
    assert fine[1] < 0.3
    assert np.log2(coarse[1] / fine[1]) > 0.7
    assert np.log2(coarse[0] / fine[0]) > 0.8


@pytest.mark.parametrize(
    ("first", "second", "angle_deg", "shear_deg"),
    [(100, 100, 45, 30.0), (100, -100, 45, -30.0), (100, 100, 30, 14.4775), (200, 80, 45, 30.0)],
)
def test_translation_surface_has_its_own_grid_as_net(first, second, angle_deg, shear_deg):
    """Arc carried along an arc: sin shear = sin(u / Ra) sin(v / Rb), chords included, so the cell
    at the corner has the closed form's angle in its middle. Both signs of curvature."""
    cells = 48
    mesh = translation(first, second, angle_deg, cells)

    drape = drape_surface(mesh, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=ANY)

    chord = [2 * r * np.sin(np.radians(angle_deg) / cells) for r in (first, abs(second))]
    grid = np.stack(np.meshgrid(*(np.arange(-cells // 2, cells // 2 + 1) * c for c in chord)), -1)
    # Threads along sides are straight to begin with, but not those of the stiffer cloth that comes
    # first: the outermost row then lies shifted along itself, which a net all but allows, and each
    # reading of the bow takes but half of that back.
    off = np.abs(drape.flat - grid.reshape(-1, 2)).reshape(cells + 1, cells + 1, 2)
    assert off.max() < 0.1
    assert off[3:-3, 3:-3].max() < 0.015
    middles = (np.arange(cells) + 0.5 - cells / 2) * 2 * np.radians(angle_deg) / cells
    cell = np.degrees(np.arcsin(np.outer(np.sin(middles), np.sin(middles)))) * np.sign(second)
    error = np.degrees(drape.strain[:, 2]) - np.tile(cell.ravel(), 2)
    assert np.sqrt((error**2).mean()) < 0.2
    assert np.abs(error).max() < 2.0  # in the one triangle at the corner
    assert cell[-1, -1] == pytest.approx(shear_deg, abs=1.5)
    assert np.abs(drape.strain[:, :2]).max() < 1.5e-3


def test_given_threads_make_the_net_of_the_pseudosphere():
    """Threads u, v = const with t = u + v, p = u - v on (sech t cos p, sech t sin p, t - tanh t):
    cos w = 1 - 2 sech^2 t, no geodesics (Chebyshev net of constant negative curvature)."""
    scale, cells = 100, 60
    u, v = np.linspace(0.35, 0.85, cells + 1), np.linspace(0.2, 0.7, cells + 1)

    def place(u, v):
        t, p = u + v, u - v
        sech = 1 / np.cosh(t)
        return scale * np.array([sech * np.cos(p), sech * np.sin(p), t - np.tanh(t)])

    mesh = sheet(lambda a, b: tuple(place(a, b)), u, v)
    middle = cells // 2
    lines = place(u, v[middle]).T, place(u[middle], v).T
    drape = drape_surface(
        mesh,
        TWILL,
        tack_mm=place(u[middle], v[middle]),
        warp=lines[0][middle + 1] - lines[0][middle - 1],
        spines=lines,
        max_edge_mm=ANY,
    )

    centre = drape.flat[mesh.faces].mean(axis=1) / scale
    t = u[middle] + v[middle] + centre.sum(axis=1)
    shear = np.pi / 2 - np.arccos(1 - 2 / np.cosh(t) ** 2)
    error = np.degrees(drape.strain[:, 2] - shear)[drape.settled]
    assert np.sqrt((error**2).mean()) < 0.45
    assert np.abs(np.degrees(shear)).max() > 20


def test_tube_with_threads_aslant_keeps_the_law_of_sines():
    """Surface of revolution, threads at +-a to the meridian: sin a / r is constant. r 40 at 30
    degrees: 48.59 degrees at r 60, shear 90 - 2 a. The exact net must be where the energy rests."""
    cells = 80
    r = np.linspace(40, 60, cells + 1)
    z = 0.8 * (r - 40) + 0.01 * (r - 40) ** 2
    steps = np.hypot(np.diff(r), np.diff(z))
    sine = np.sin(np.radians(30)) * r / 40
    along = np.concatenate([[0], np.cumsum(steps / np.sqrt(1 - ((sine[1:] + sine[:-1]) / 2) ** 2))])
    swing = np.concatenate(
        [
            [0],
            np.cumsum(np.tan(np.arcsin((sine[1:] + sine[:-1]) / 2)) * steps * 2 / (r[1:] + r[:-1])),
        ]
    )
    length = float(along[-1])

    def place(s, d):  # s = u + v along the threads, d = u - v
        radius = np.interp(s, along, r)
        turn = np.interp(s, along, swing) * 0 + d * np.sin(np.radians(30)) / 40
        return radius * np.cos(turn), radius * np.sin(turn), -np.interp(s, along, z)

    u = np.linspace(0.0, length / 2, 41)
    mesh = sheet(lambda a, b: place(a + b, b - a), u, u)
    half = u[20]
    lines = (
        np.column_stack(place(u + half, half - u)),
        np.column_stack(place(half + u, u - half)),
    )
    drape = drape_surface(
        mesh,
        TWILL,
        tack_mm=np.array(place(2 * half, 0 * half)),
        warp=lines[0][21] - lines[0][19],
        spines=lines,
        max_edge_mm=ANY,
    )

    radius = np.hypot(*mesh.corners.mean(axis=1)[:, :2].T)
    shear = 90 - 2 * np.degrees(np.arcsin(np.clip(np.sin(np.radians(30)) * radius / 40, -1, 1)))
    error = (np.degrees(drape.strain[:, 2]) - (-1) * -shear)[drape.settled]
    assert np.sqrt((error**2).mean()) < 0.6


@pytest.mark.parametrize("seed", range(6))
def test_random_smooth_surfaces_lie_down(seed):
    """Random bumps, outline, tack point and heading: at rest, nothing turned over."""
    mesh = random_sheet(seed)
    rng = np.random.default_rng(100 + seed)
    tack = mesh.vertices[rng.choice(len(mesh.vertices) // 2) + len(mesh.vertices) // 4]
    angle = rng.uniform(0, 2 * np.pi)

    drape = drape_surface(mesh, TWILL, tack_mm=tack, warp=(np.cos(angle), np.sin(angle), 0))

    a, b, c = np.moveaxis(drape.fine.flat[drape.fine.surface.faces], 1, 0)
    double = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    assert drape.converged
    assert (double > 0).all()
    again, apart = laid_again(drape, TWILL, (np.cos(angle), np.sin(angle), 0))
    assert again.layout.converged
    assert apart < 1e-3  # mm, from another start
    inside = drape.settled & (np.abs(drape.strain[:, 2]) < np.radians(50))
    assert np.abs(drape.strain[inside, :2]).max() < 0.03


def test_moving_and_turning_the_part_changes_nothing():
    """Rigid motion, to a millionth of a millimetre."""
    mesh = random_sheet(11)
    q, _ = np.linalg.qr(np.random.default_rng(0).normal(size=(3, 3)))
    q *= np.sign(np.linalg.det(q))
    moved = SurfaceMesh(mesh.vertices @ q.T + [30, -500, 12], mesh.faces)
    tack, warp = mesh.vertices[700], np.array([1.0, 0.3, 0])

    one = drape_surface(mesh, TWILL, tack_mm=tack, warp=warp, max_edge_mm=ANY)
    two = drape_surface(
        moved, TWILL, tack_mm=q @ tack + [30, -500, 12], warp=q @ warp, max_edge_mm=ANY
    )

    assert_allclose(two.flat, one.flat, atol=1e-6)


def test_numbering_of_vertices_and_faces_changes_nothing():
    mesh = random_sheet(12)
    rng = np.random.default_rng(0)
    order, rows = rng.permutation(len(mesh.vertices)), rng.permutation(len(mesh.faces))
    back = np.argsort(order)
    mixed = SurfaceMesh(mesh.vertices[order], np.roll(back[mesh.faces], 1, axis=1)[rows])
    tack, warp = mesh.vertices[700], np.array([1.0, 0.3, 0])

    one = drape_surface(mesh, TWILL, tack_mm=tack, warp=warp, max_edge_mm=ANY)
    two = drape_surface(mixed, TWILL, tack_mm=tack, warp=warp, max_edge_mm=ANY)

    assert_allclose(two.flat[back], one.flat, atol=1e-6)


@pytest.mark.parametrize(
    ("mesh", "tack", "warp"),
    [
        (cone_frustum(40, 100, 80, facets=48, rows=2), (-70, 0, -40), (0, 1, 0)),
        (cap(150, 60, 4), (0, 0, 150), (1, 0, 0)),
        (translation(100, -100, 40, 6), (0, 0, 0), (1, 0.2, 0)),
    ],
    ids=["frustum", "cap", "saddle"],
)
def test_refining_inside_knows_neither_place_nor_numbers(mesh, tack, warp):
    """Regular parts, full of equal edges: turned, shifted and renumbered they give the same
    triangles and, to a millionth of a millimetre, the same pattern."""
    rng = np.random.default_rng(3)
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    q *= np.sign(np.linalg.det(q))
    order, rows = rng.permutation(len(mesh.vertices)), rng.permutation(len(mesh.faces))
    back = np.argsort(order)
    faces = np.roll(back[mesh.faces], 1, axis=1)[rows]
    other = SurfaceMesh((mesh.vertices @ q.T + [30, -500, 12])[order], faces)

    one = drape_surface(mesh, TWILL, tack_mm=tack, warp=warp)
    two = drape_surface(
        other, TWILL, tack_mm=q @ np.array(tack) + [30, -500, 12], warp=q @ np.array(warp)
    )

    assert len(one.fine.surface.faces) > 3 * len(mesh.faces)
    assert len(two.fine.surface.faces) == len(one.fine.surface.faces)
    assert_allclose(two.flat[back], one.flat, atol=1e-6)


def test_a_part_twice_the_size_gives_twice_the_pattern():
    mesh = cap(100, 50, 24)
    large = SurfaceMesh(2 * mesh.vertices, mesh.faces)

    one = drape_surface(mesh, TWILL, tack_mm=(0, 0, 100), warp=(1, 0, 0), max_edge_mm=ANY)
    two = drape_surface(large, TWILL, tack_mm=(0, 0, 200), warp=(1, 0, 0), max_edge_mm=ANY)

    assert_allclose(two.flat, 2 * one.flat, atol=1e-5)


def test_a_mirrored_part_gives_the_mirrored_pattern():
    """Mirrored in y, wound the other way round so that the lay-up side stays: y turns its sign."""
    mesh = random_sheet(13)
    mirrored = SurfaceMesh(mesh.vertices * [1, -1, 1], mesh.faces[:, ::-1])
    tack = mesh.vertices[700]

    one = drape_surface(mesh, TWILL, tack_mm=tack, warp=(1, 0.3, 0), max_edge_mm=ANY)
    two = drape_surface(
        mirrored, TWILL, tack_mm=tack * [1, -1, 1], warp=(1, -0.3, 0), max_edge_mm=ANY
    )

    assert_allclose(two.flat * [1, -1], one.flat, atol=1e-6)
    assert_allclose(two.strain * [1, 1, -1], one.strain, atol=1e-7)


def test_an_asymmetric_outline_is_not_mirrored():
    """An L seen from the lay-up side stays that L: the plan view itself on a flat mould."""
    x, y = np.meshgrid(np.arange(0, 101, 5.0), np.arange(0, 61, 5.0))
    points = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    faces = grid_faces(*x.shape)
    middle = points[faces].mean(axis=1)
    part = SurfaceMesh(points, faces[~((middle[:, 0] > 40) & (middle[:, 1] > 20))])
    used = np.unique(part.faces)

    drape = drape_surface(part, TWILL, tack_mm=(10, 10, 0), warp=(1, 0, 0))

    assert_allclose(drape.flat[used], points[used, :2] - 10, atol=1e-6)


def test_a_refined_drape_keeps_the_given_vertices_and_maps_any_point():
    """Two large triangles bent along their diagonal: refined inside, unfolded exactly."""
    points = np.array([[0, 0, 0], [300, 0, 0], [300, 200, 0], [0, 200, 60.0]])
    mesh = SurfaceMesh(points, [[0, 1, 2], [0, 2, 3]])

    drape = drape_surface(mesh, TWILL, tack_mm=(200, 60, 0), warp=(1, 0, 0))

    assert len(drape.fine.surface.faces) > 1000
    assert_allclose(drape.flat, drape.fine.flat[:4], atol=0)
    assert_allclose(drape.flat[:3], points[:3, :2] - [200, 60], atol=1e-6)
    assert np.linalg.norm(drape.flat[3] - drape.flat[0]) == pytest.approx(
        np.hypot(200, 60), abs=1e-6
    )
    middle = drape.flat_at_points(points[:3].mean(axis=0)[None])
    assert_allclose(middle, drape.flat[:3].mean(axis=0)[None], atol=1e-6)
    assert drape.strain.shape == (2, 3)


def test_on_a_laminate_the_next_ply_is_shorter_in_a_corner():
    """A ply laid on 1 mm of laminate into a 90-degree inside corner: the radius shrinks by 1 mm,
    the cloth by theta t = 1.57 mm; half of it at mid-thickness."""
    lengths = [_flat_width_of_corner(20 - below) for below in (0.0, 0.5, 1.0)]

    assert lengths[0] - lengths[2] == pytest.approx(np.pi / 2, abs=1e-3)
    assert lengths[0] - lengths[1] == pytest.approx(np.pi / 4, abs=1e-3)


def _flat_width_of_corner(radius):
    mesh = sheet(
        lambda a, y: (radius * np.cos(a), y, radius * np.sin(a)),
        np.linspace(0, np.pi / 2, 65),
        np.linspace(0, 40, 9),
    )
    tack = (radius * np.cos(0.7), 20, radius * np.sin(0.7))
    return np.ptp(drape_surface(mesh, TWILL, tack_mm=tack, warp=(0, 1, 0)).flat[:, 1])
