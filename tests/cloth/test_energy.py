"""The energies: their slopes against differences, and what they do not feel."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapes import bumps

from flatten.cloth.bending import Bending, coupled_pairs
from flatten.cloth.energy import Panels, ThreadEnergy
from flatten.cloth.factor import SparseSystem
from flatten.cloth.isotropic import SheetEnergy
from flatten.cloth.law import Law, thread_law
from flatten.cloth.library import load_fabrics
from flatten.cloth.minimise import first_flip
from flatten.surface.mesh import SurfaceMesh

MESH = bumps(120, size_mm=200)
PANELS = Panels.of(MESH)
SYSTEM = SparseSystem(MESH.faces, MESH.edges, len(MESH.vertices), coupled_pairs(MESH))
ENERGIES = {
    "weave": ThreadEnergy(PANELS, Law(shear=0.01)),
    "unidirectional": ThreadEnergy(PANELS, thread_law(load_fabrics()["carbon_ud_200"])),
    "bending": ThreadEnergy(PANELS, Law(shear=0.01), Bending(MESH, SYSTEM, 50.0)),
    "sheet": SheetEnergy(PANELS),
}


def shaken(seed: int = 0, by_mm: float = 1.5) -> np.ndarray:
    """A layout near the plan view, every triangle the right way round."""
    flat = np.array(MESH.vertices[:, :2].T)
    return flat + np.random.default_rng(seed).uniform(-by_mm, by_mm, flat.shape)


def dense(values: np.ndarray) -> np.ndarray:
    """The full matrix behind the stored lower half."""
    size = 2 * SYSTEM.count
    full = np.zeros((size, size))
    full[SYSTEM._rows, SYSTEM._columns] = values
    return full + np.tril(full, -1).T


@pytest.mark.parametrize("name", ENERGIES)
def test_gradient_is_the_slope_of_the_energy(name):
    """Central differences: error of the square of the step, 1e-5 mm, times third derivatives."""
    energy, flat = ENERGIES[name], shaken()
    way = np.random.default_rng(1).normal(size=flat.shape)

    slope = (energy.value(flat + 1e-5 * way) - energy.value(flat - 1e-5 * way)) / 2e-5

    assert (energy.gradient(flat) * way).sum() == pytest.approx(slope, rel=1e-6)
    assert_allclose(energy.derivatives(SYSTEM, flat, 1.0)[1], energy.gradient(flat), atol=1e-12)
    assert energy.derivatives(SYSTEM, flat, 1.0)[0] == pytest.approx(energy.value(flat), rel=1e-12)


@pytest.mark.parametrize("name", ENERGIES)
def test_full_newton_matrix_is_the_slope_of_the_gradient(name):
    energy, flat = ENERGIES[name], shaken()
    way = np.random.default_rng(2).normal(size=flat.shape)

    matrix = dense(energy.derivatives(SYSTEM, flat, 1.0)[2])
    change = (energy.gradient(flat + 1e-5 * way) - energy.gradient(flat - 1e-5 * way)) / 2e-5

    assert_allclose(matrix @ way.T.ravel(), change.T.ravel(), atol=1e-6 * np.abs(change).max())


@pytest.mark.parametrize("name", ENERGIES)
def test_gauss_newton_matrix_is_never_negative(name):
    matrix = dense(ENERGIES[name].derivatives(SYSTEM, shaken(3), 0.0)[2])

    least = np.linalg.eigvalsh(matrix).min()

    assert least > -1e-9 * np.abs(matrix).max()


def test_sheet_feels_no_direction():
    """A mat has no threads: turning the layout changes nothing; the weave does feel it."""
    flat, c, s = shaken(), np.cos(0.7), np.sin(0.7)
    turned = np.array([[c, -s], [s, c]]) @ flat

    assert ENERGIES["sheet"].value(turned) == pytest.approx(
        ENERGIES["sheet"].value(flat), rel=1e-12
    )
    assert ENERGIES["weave"].value(turned) != pytest.approx(ENERGIES["weave"].value(flat), rel=0.01)


@pytest.mark.parametrize("name", ENERGIES)
def test_a_turned_over_triangle_costs_infinitely_much(name):
    flat = shaken()
    flat[:, MESH.faces[40, 0]] += 60

    assert ENERGIES[name].value(flat) == np.inf
    assert ENERGIES[name].gradient(flat) is None


def test_straight_threads_do_not_bend():
    """A picture frame sheared evenly keeps its threads straight."""
    plane = bumps(120, size_mm=200, height=0.0)
    panels = Panels.of(plane)
    bending = Bending(plane, system_of(plane), 1.0)
    x, y = plane.vertices[:, :2].T
    evenly = np.stack([x + 0.4 * y, y])

    assert ThreadEnergy(panels, Law(warp=0, weft=0, shear=0), bending).value(evenly) < 1e-20


def arc_energy(triangles: int, radius: float) -> float:
    """Bending of cloth whose warp runs round circles: exactly 20 B log(r2 / r1) / radius."""
    plane = bumps(triangles, size_mm=20, height=0.0)
    x, y = plane.vertices[:, :2].T
    r, angle = radius + y, x / radius
    mesh = SurfaceMesh(np.column_stack([r * np.sin(angle), r * np.cos(angle), 0 * r]), plane.faces)
    bending = Bending(mesh, system_of(mesh), 1.0)
    law = Law(warp=0, weft=0, shear=0)
    return ThreadEnergy(Panels.of(mesh), law, bending).value(np.stack([x, y]))


@pytest.mark.parametrize("radius", [55, 110])
def test_bending_is_that_of_the_curve_whatever_the_triangles(radius):
    """B / (2 r^2) per mm2 for each thread; at the rim a triangle sees less than all of it."""
    exact = 20 / radius * np.log((radius + 10) / (radius - 10))
    off = [1 - arc_energy(triangles, radius) / exact for triangles in (400, 6000)]
    assert 0 < off[0] < 0.04
    assert 0 < off[1] < 0.4 * off[0]


def system_of(mesh):
    return SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices), coupled_pairs(mesh))


@pytest.mark.parametrize("name", ["weave", "unidirectional"])
def test_triangles_taken_a_few_at_once_add_up_to_the_same(name, monkeypatch):
    """Only the order of the sums over them differs: rounding."""
    energy, flat = ENERGIES[name], shaken()
    whole = [energy.value(flat), energy.gradient(flat), *energy.derivatives(SYSTEM, flat, 1.0)]

    monkeypatch.setattr("flatten.cloth.energy.CHUNK", 7)
    parts = [energy.value(flat), energy.gradient(flat), *energy.derivatives(SYSTEM, flat, 1.0)]

    for one, other in zip(whole, parts, strict=True):
        assert_allclose(other, one, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(
    ("one", "two", "length"),
    [
        ((0, 0), (0.3, -2.0), 0.5),
        ((0, 0), (0.3, -0.9), 1 / 0.9),
        ((0, 0), (0.3, -0.5), np.inf),
        ((-1, 0), (0, -0.8), 1.0),  # (1 - t) (1 - 0.8 t): the first of two roots
        ((0, 0.9), (0.9, 0), 1 / 0.9),  # 1 - 0.81 t^2: towards each other, round the third
        ((0, 0.9), (-0.9, 0), np.inf),  # 1 + 0.81 t^2: turned and larger
        ((-1, 2), (-2, -1), np.inf),  # 1 - 2 t + 5 t^2: it shrinks, and never to nothing
    ],
)
def test_a_step_is_known_to_flip_a_triangle_where_that_cuts_it_short(one, two, length):
    """Corners (1, 0) and (0, 1) go so far in a whole step, (0, 0) stays; areas are worked out."""
    mesh = SurfaceMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    step = np.array([(0, 0), one, two], float).T

    assert first_flip(Panels.of(mesh), mesh.vertices[:, :2].T, step) == pytest.approx(length)
