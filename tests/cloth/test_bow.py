"""The bow of threads across a triangle: exact for layouts of second degree, gone in the plane."""

from dataclasses import replace

import numpy as np
import pytest
from cloth.test_relief import TWILL
from cloth.trays import tray
from nets import SphereNet
from numpy.testing import assert_allclose
from shapes import bumps, irregular_cap, random_sheet, triangulated

from flatten.cloth import bow, laying
from flatten.cloth.bow import Bow
from flatten.cloth.drape import drape_surface
from flatten.cloth.energy import Panels
from flatten.cloth.lay import lay
from flatten.cloth.laying import METHODS, Task
from flatten.cloth.minimise import STEP_MM
from flatten.progress import silent
from flatten.surface.mesh import SurfaceMesh

ANY = 1000.0


def sheet(fold_deg=0.0, seed=0):
    """Irregular triangles of a 100 mm square and its plan (n, 2), folded along x = 0."""
    rng = np.random.default_rng(seed)
    axis = np.linspace(-50, 50, 13)
    plan = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    free = (np.abs(plan) < 49).all(axis=1) & (np.abs(plan[:, 0]) > 1)
    plan[free] += rng.uniform(-1.5, 1.5, (int(free.sum()), 2))
    up = np.radians(fold_deg) * (plan[:, 0] > 0)
    x, y = plan.T
    places = np.column_stack([x * np.cos(up), y, np.abs(x) * np.sin(up)])
    return SurfaceMesh(places, triangulated(plan, 1e-3)), plan


def quadratic(plan):
    """x and y of second degree in the plan, little sheared; and their gradients (2, n, 2)."""
    u, v = (plan / 1000).T
    flat = 1000 * np.stack([u + 0.5 * u * u - 0.3 * u * v, v + 0.4 * v * v + 0.2 * u * v])
    one = np.ones_like(u)
    slopes = np.stack([[one + u - 0.3 * v, -0.3 * u], [0.2 * v, one + 0.8 * v + 0.2 * u]])
    return flat, np.moveaxis(slopes, 1, 2)


@pytest.mark.parametrize("fold_deg", [0.0, 70.0])
def test_mean_gradients_of_second_degree_are_exact(fold_deg, monkeypatch):
    """A mean over a triangle of what is linear is its value in the middle (closed form). A fold
    that opens flat changes nothing."""
    monkeypatch.setattr(bow, "DAMPED", 0.0)
    monkeypatch.setattr(bow, "MOST", 1e9)
    mesh, plan = sheet(fold_deg)
    flat, slopes = quadratic(plan)
    panels = Panels.of(mesh)
    read = Bow(panels, mesh.edges).read(flat)
    known = (np.abs(read) > 0).any(axis=(0, 1))  # not in a corner with too few triangles around
    assert known.mean() > 0.98

    # The gradient is in each triangle's own frame: first axis along its first side.
    side = np.moveaxis(plan[mesh.faces], 1, 0)
    along = side[1] - side[0]
    along /= np.linalg.norm(along, axis=1)[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]])
    middle = slopes[:, mesh.faces].mean(axis=2)
    for x in (0, 1):
        straight = panels.gradients(flat[x])
        for way, axis in enumerate((along, across)):
            wanted = (middle[x] * axis).sum(axis=1)
            assert_allclose((straight[way] - read[x, way])[known], wanted[known], atol=1e-9)
            assert np.abs(straight[way] - wanted).max() > 1e-3  # what is mended


def test_straight_threads_have_no_bow():
    mesh, plan = sheet(70.0)
    lean = np.array([[1.0, 0.6], [0.1, 0.9]])

    read = Bow(Panels.of(mesh), mesh.edges).read(lean @ plan.T)

    assert np.abs(read).max() < 1e-12


def test_the_bow_of_a_kink_is_not_gone_by():
    """A jump of the gradient by its own size is no curvature: next to nothing is taken for it."""
    mesh, plan = sheet()
    small = np.stack([plan[:, 0], plan[:, 1] + 1e-3 * np.abs(plan[:, 0])])
    large = np.stack([plan[:, 0], plan[:, 1] + 10 * np.abs(plan[:, 0])])
    read = Bow(Panels.of(mesh), mesh.edges)

    assert 1e-5 < np.abs(read.read(small)).max() < 1e-3
    assert np.abs(read.read(large)).max() < 0.11  # half of MOST at most, of a stretch below 1


def cap_error(triangles, monkeypatch, slight):
    """Worst distance (mm) of the rim from the exact net: R 150, 60 degrees, tacked aside."""
    monkeypatch.setattr(laying, "SLIGHT", slight)
    mesh = irregular_cap(150, 60, triangles, seed=1)
    off = np.radians(15)
    tack = np.array([np.sin(off), 0, np.cos(off)])
    drape = drape_surface(mesh, TWILL, tack_mm=150 * tack, warp=(0, 1, 0), max_edge_mm=ANY)
    frame = np.array([[0, 1, 0], np.cross(tack, [0, 1, 0]), tack])
    exact = 150 * SphereNet(2.3, 500).flat(mesh.vertices @ frame.T / 150, drape.flat / 150)
    settled = np.zeros(len(mesh.vertices), bool)
    settled[mesh.faces[drape.settled]] = True
    rim = np.unique(mesh.edges.vertices[mesh.edges.boundary])
    return np.linalg.norm(drape.flat - exact, axis=1)[rim[settled[rim]]].max()


def test_outlines_are_half_as_far_from_the_exact_net(monkeypatch):
    """Against Goursat's problem on the sphere (nets.py); 2 000 triangles, 12 mm edges."""
    bowed, straight = (cap_error(2000, monkeypatch, share) for share in (laying.SLIGHT, np.inf))

    assert straight > 0.2
    assert bowed < 0.5 * straight


def test_cloth_whose_bow_finds_no_rest_is_laid_without(monkeypatch):
    mesh = random_sheet(3)
    tack = mesh.vertices[np.linalg.norm(mesh.vertices[:, :2], axis=1).argmin()]
    how = {"tack_mm": tack, "warp": (1, 0, 0), "max_edge_mm": ANY}
    monkeypatch.setattr(laying, "SLIGHT", np.inf)
    straight = drape_surface(mesh, TWILL, **how)
    monkeypatch.setattr(laying, "SLIGHT", 0.0)
    minimise, tried = laying.minimise, []

    def restless(cloth, *given, **how):
        layout = minimise(cloth, *given, **how)
        tried.append(cloth.panels.bow is not None)
        return replace(layout, converged=False) if tried[-1] else layout

    monkeypatch.setattr(laying, "minimise", restless)

    drape = drape_surface(mesh, TWILL, **how)

    assert any(tried)
    assert drape.converged
    assert_allclose(drape.flat, straight.flat, atol=1e-5)


def test_jammed_cloth_whose_bow_finds_no_rest_is_brought_to_rest_without(monkeypatch):
    """The bow is read from jammed cloth that is roughly at rest: that is no answer."""
    mesh = tray(length=160, width=110, depth=24, corner=20, fillet=6, edge_mm=9)
    task = Task(
        fabric=TWILL, tack_mm=np.zeros(3), warp=np.array([1.0, 0, 0]), turn=0.0, method=METHODS[0]
    )
    minimise = laying.minimise

    def restless(cloth, *given, **how):
        layout = minimise(cloth, *given, **how)
        return replace(layout, converged=cloth.panels.bow is None and layout.converged)

    monkeypatch.setattr(laying, "minimise", restless)

    laid = lay(mesh, task, silent)

    assert laid.locks
    assert laid.layout.converged
    assert laid.layout.residual <= STEP_MM


def test_a_turned_part_is_laid_alike_where_bows_are_all_but_slight(monkeypatch):
    """What counts as slight is a share of a size that knows no axes."""
    mesh = random_sheet(337)
    middle = mesh.vertices[np.linalg.norm(mesh.vertices[:, :2], axis=1).argmin()]
    q, _ = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))
    q *= np.sign(np.linalg.det(q))
    turned = SurfaceMesh(mesh.vertices @ q.T, mesh.faces)
    seen = []
    across = Bow.across_mm
    monkeypatch.setattr(Bow, "across_mm", lambda self, read: seen.append(across(self, read)) or 1.0)
    drape_surface(mesh, TWILL, tack_mm=middle, warp=(1, 0, 0), max_edge_mm=ANY)
    # Just slight beside the one size, just not beside the other, were it that of a box.
    monkeypatch.setattr(laying, "SLIGHT", seen[0] / np.sqrt(mesh.size_mm * turned.size_mm))
    monkeypatch.setattr(Bow, "across_mm", across)
    assert abs(mesh.size_mm / turned.size_mm - 1) > 0.005

    one = drape_surface(mesh, TWILL, tack_mm=middle, warp=(1, 0, 0), max_edge_mm=ANY)
    two = drape_surface(turned, TWILL, tack_mm=q @ middle, warp=q[:, 0], max_edge_mm=ANY)

    assert_allclose(two.flat, one.flat, atol=1e-6)


@pytest.mark.parametrize(("height", "fine_is_read"), [(0.03, False), (0.12, False), (0.3, True)])
def test_a_coarse_mesh_tells_whether_the_fine_one_is_read(height, fine_is_read, monkeypatch):
    """Hardly curved threads are not read on 8 000 triangles: those of a tenth as many told.

    Of a height of 0.12 the bow is four times too much on the coarse mesh, and little on the fine.
    """
    mesh = bumps(8000, 400, height=height)
    tack = mesh.vertices[np.linalg.norm(mesh.vertices[:, :2], axis=1).argmin()]
    across, sizes, found = Bow.across_mm, [], []

    def noted(self, read):
        sizes.append(len(self.panels))
        found.append(across(self, read))
        return found[-1]

    monkeypatch.setattr(Bow, "across_mm", noted)
    drape_surface(mesh, TWILL, tack_mm=tack, warp=(1, 0, 0), max_edge_mm=ANY)
    fine = len(mesh.faces)

    assert (fine in sizes) == fine_is_read
    assert sizes[0] < 0.2 * fine
    if fine_is_read:  # in proportion to the area of a triangle, all but
        told = found[sizes.index(fine) - 1] * sizes[0] / fine
        assert found[-1] == pytest.approx(told, rel=0.2)
