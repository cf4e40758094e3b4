"""Steps with a factor that serves on: what it does not know is learned, what turns over refused."""

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapes import bumps

from flatten.cloth.energy import Panels
from flatten.cloth.factor import SparseSystem
from flatten.cloth.minimise import Springs, minimise
from flatten.cloth.spines import Spines
from flatten.progress import silent

MESH = bumps(60, size_mm=100)
FLAT = np.ascontiguousarray(MESH.vertices[:, :2].T)
NONE = np.zeros(0, np.int64)
FREE = Spines(NONE, np.zeros((0, 3)), NONE, (FLAT.T, FLAT.T), np.zeros(0))


def identity() -> SparseSystem:
    """Return a system factorised as the identity."""
    system = SparseSystem(MESH.faces, MESH.edges, len(MESH.vertices))
    values = np.zeros(system.entries)
    for axis in (0, 1):
        values[system.diagonal(axis)] = 1.0
    assert system.factorise(values)
    return system


def parabola(stiffer: float, ways: list[np.ndarray]):
    """Return an energy least at FLAT: the identity's, in some ways stiffer; it has no matrix."""

    def gradient(flat):
        off = flat - FLAT
        return off + sum((stiffer - 1) * (way * off).sum() * way for way in ways)

    def derivatives(*_):
        raise AssertionError("the factor did not serve")

    return SimpleNamespace(panels=Panels.of(MESH), gradient=gradient, derivatives=derivatives)


def ways(count: int) -> list[np.ndarray]:
    """Return ways of unit length at right angles to each other."""
    many = np.random.default_rng(3).normal(size=(FLAT.size, count))
    return [way.reshape(FLAT.shape) for way in np.linalg.qr(many)[0].T]


@pytest.mark.parametrize("count", [1, 2])
def test_a_way_four_times_as_stiff_as_the_factor_knows_is_learned(count):
    # With the factor alone an error of e is one of (1 - 4) e after the step: it grows. BFGS ends
    # on a parabola after a step for each way and one more (Nocedal & Wright 2006, theorem 6.4, for
    # exact searches; steps here are whole ones, hence three times as many).
    system = identity()
    start = FLAT + sum(0.003 * way for way in ways(count))  # millimetres: small enough to grow
    energy = parabola(4.0, ways(count))
    layout = minimise(
        energy, system, Springs(system, FREE, MESH), start, progress=silent, factored=True
    )
    assert layout.converged
    assert layout.iterations <= 3 * (count + 1)
    assert_allclose(layout.flat, FLAT, atol=1e-6)


def test_a_step_that_turns_a_triangle_over_is_not_taken():
    # Where a triangle is turned over there is no gradient; the layout stays where it was.
    system = identity()
    energy = parabola(1.0, [])
    whole = energy.gradient
    calls = []

    def gradient(flat):
        calls.append(flat)
        return whole(flat) if len(calls) == 1 else None

    energy.gradient = gradient
    start = FLAT + 0.1 * ways(1)[0]
    with pytest.raises(AssertionError, match="did not serve"):
        minimise(energy, system, Springs(system, FREE, MESH), start, progress=silent, factored=True)
    assert len(calls) == 2
