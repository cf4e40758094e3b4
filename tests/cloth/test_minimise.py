"""Steps with a factor that serves on: what it does not know is learned, what turns over refused."""

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapes import bumps

from flatten.cloth.energy import Panels
from flatten.cloth.factor import SparseSystem
from flatten.cloth.minimise import Springs, _solved, minimise
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


def parabola(stiff: list[float], ways: list[np.ndarray]):
    """Return an energy least at FLAT: the identity's, in some ways as stiff as told.

    It has no matrix.
    """

    def gradient(flat):
        off = flat - FLAT
        pairs = zip(stiff, ways, strict=True)
        return off + sum((of - 1) * (way * off).sum() * way for of, way in pairs)

    def derivatives(system, flat, newton):
        raise Refused(flat)

    return SimpleNamespace(panels=Panels.of(MESH), gradient=gradient, derivatives=derivatives)


class Refused(Exception):
    """The factor does not serve from this layout on: a new matrix is asked for there."""


def served(energy, start):
    """Go down from `start` with the identity as the factor that was handed over."""
    system = identity()
    return minimise(
        energy, system, Springs(system, FREE, MESH), start, progress=silent, factored=True
    )


def ways(count: int) -> list[np.ndarray]:
    """Return ways of unit length at right angles to each other."""
    many = np.random.default_rng(3).normal(size=(FLAT.size, count))
    return [way.reshape(FLAT.shape) for way in np.linalg.qr(many)[0].T]


@pytest.mark.parametrize("stiff", [[4.0], [4.0, 2.5], [4.0, 3.0, 2.5]])
def test_ways_stiffer_than_the_factor_knows_are_learned(stiff):
    # With the factor alone an error of e is one of (1 - 4) e after the step: it grows. BFGS ends
    # on a parabola after a step for each way and one more (Nocedal & Wright 2006, theorem 6.4, for
    # exact searches; steps here are whole ones, hence three times as many).
    every = ways(len(stiff))
    start = FLAT + sum(0.003 * way for way in every)  # millimetres: small enough to grow
    layout = served(parabola(stiff, every), start)
    assert layout.converged
    assert layout.iterations <= 3 * (len(stiff) + 1)
    assert_allclose(layout.flat, FLAT, atol=1e-6)


def test_what_is_learned_is_put_on_the_factor_as_bfgs_has_it():
    """H' = (1 - r s y') H (1 - r y s') + r s s', r = 1 / s.y: Nocedal & Wright 2006, (6.17)."""
    system, rng = identity(), np.random.default_rng(5)
    inverse, learned = np.eye(FLAT.size), []
    for _ in range(4):
        step, change = rng.normal(size=(2, FLAT.size))
        change *= np.sign(step @ change)
        scale = 1 / (step @ change)
        learned.append((step, change, scale))
        side = np.eye(FLAT.size) - scale * np.outer(step, change)
        inverse = side @ inverse @ side.T + scale * np.outer(step, step)

    slope = rng.normal(size=FLAT.size)

    wanted = inverse @ slope
    assert_allclose(_solved(system, learned, slope), wanted, atol=1e-9 * np.abs(wanted).max())


def test_a_step_that_turns_a_triangle_over_is_not_taken():
    # Where a triangle is turned over there is no gradient; the layout stays where it was.
    energy = parabola([], [])
    whole = energy.gradient
    calls = []

    def gradient(flat):
        calls.append(flat)
        return whole(flat) if len(calls) == 1 else None

    energy.gradient = gradient
    start = FLAT + 0.1 * ways(1)[0]
    with pytest.raises(Refused) as refused:
        served(energy, start)
    assert len(calls) == 2
    assert_allclose(refused.value.args[0], start, atol=0)


def test_a_last_step_that_turns_a_triangle_over_is_not_taken_either():
    energy = parabola([], [])
    energy.panels = SimpleNamespace(upright=lambda flat: False)
    whole, start = energy.gradient, FLAT + 1e-8 * ways(1)[0]
    energy.gradient = lambda flat: whole(flat) if flat is start else None
    with pytest.raises(Refused) as refused:
        served(energy, start)
    assert refused.value.args[0] is start


def test_a_step_larger_than_a_factor_is_trusted_with_is_not_taken():
    """The first of a factor that was handed over may be half a millimetre."""
    way = ways(1)[0] / np.abs(ways(1)[0]).max()
    assert served(parabola([], []), FLAT + 0.49 * way).converged
    with pytest.raises(Refused):
        served(parabola([], []), FLAT + 0.51 * way)


def test_a_saddle_is_not_taken_for_rest():
    """Where the slope falls along a step nothing is learned: it would lead back to the saddle."""
    every = ways(1)
    with pytest.raises(Refused):
        served(parabola([-1.0], every), FLAT + 0.003 * every[0])


def bowl(depth, slope, curvature):
    """Return an energy, with its matrix, of how far vertex 0 is off FLAT in x; the rest holds."""

    def off(flat):
        return float((flat - FLAT)[0, 0])

    def gradient(flat):
        found = flat - FLAT
        found[0, 0] = slope(off(flat))
        return found

    def value(flat):
        rest = ((flat - FLAT) ** 2).sum() - off(flat) ** 2
        return depth(off(flat)) + 0.5 * rest

    def derivatives(system, flat, newton):
        values = np.zeros(system.entries)
        for axis in (0, 1):
            values[system.diagonal(axis)] = 1.0
        values[system.diagonal(0)[0]] = curvature(off(flat))
        return value(flat), gradient(flat), values

    panels = Panels.of(MESH)
    return SimpleNamespace(panels=panels, gradient=gradient, value=value, derivatives=derivatives)


def begun(energy, off_mm, stop=None):
    """Go down from FLAT, vertex 0 so far off along x."""
    system = SparseSystem(MESH.faces, MESH.edges, len(MESH.vertices))
    start = FLAT.copy()
    start[0, 0] += off_mm
    springs = Springs(system, FREE, MESH)
    return minimise(energy, system, springs, start, progress=silent, stop=stop)


def test_a_small_step_that_leads_uphill_is_cut_short():
    # Newton's method on sqrt(1 + x^2) runs away from beyond x = 1 (x becomes -x^3).
    wide = 0.02
    energy = bowl(
        lambda x: wide**2 * np.hypot(1, x / wide),
        lambda x: x / np.hypot(1, x / wide),
        lambda x: np.hypot(1, x / wide) ** -3,
    )
    values = []

    layout = begun(energy, 1.5 * wide, lambda flat, moved: bool(values.append(energy.value(flat))))

    assert layout.converged
    assert_allclose(layout.flat, FLAT, atol=1e-6)
    assert values[0] < wide**2 * np.hypot(1, 1.5)


def test_a_small_step_to_where_it_is_flat_needs_no_energy():
    energy = bowl(lambda x: 0.5 * x * x, lambda x: x, lambda x: 1.0)
    asked = []
    whole = energy.value
    energy.value = lambda flat: asked.append(flat) or whole(flat)

    layout = begun(energy, 0.1)

    assert layout.converged
    assert not asked
    assert_allclose(layout.flat, FLAT, atol=1e-12)
