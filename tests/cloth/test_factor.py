"""The sparse system against dense algebra."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapes import bumps

from flatten.cloth import factor
from flatten.cloth.bending import coupled_pairs
from flatten.cloth.factor import SparseSystem
from flatten.cloth.order import LEAF, dissection
from flatten.surface.joined import joined

MESH = bumps(300, size_mm=100)


def random_blocks(seed=0):
    """(21, m) entries of a random symmetric, positive 6 x 6 matrix a face, and those matrices."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(len(MESH.faces), 6, 6))
    full = root @ root.transpose(0, 2, 1) + np.eye(6)  # rows: x0 x1 x2 y0 y1 y2
    rows = []
    for i in range(3):
        rows += [full[:, i, i], full[:, 3 + i, i], full[:, 3 + i, 3 + i]]
    for i, j in ((0, 1), (1, 2), (2, 0)):
        rows += [full[:, i, j], full[:, 3 + i, j], full[:, i, 3 + j], full[:, 3 + i, 3 + j]]
    return np.array(rows), full


def dense_sum(full):
    total = np.zeros((2 * len(MESH.vertices),) * 2)
    for face, block in zip(MESH.faces, full, strict=True):
        unknowns = np.concatenate([2 * face, 2 * face + 1])
        total[np.ix_(unknowns, unknowns)] += block
    return total


@pytest.mark.parametrize("extra", [None, coupled_pairs(MESH)], ids=["edges", "wide"])
@pytest.mark.parametrize("dissect_above", [10**9, 10])
def test_assembled_factorised_solved(extra, dissect_above, monkeypatch):
    monkeypatch.setattr(factor, "DISSECT_ABOVE", dissect_above)
    blocks, full = random_blocks()
    system = SparseSystem(MESH.faces, MESH.edges, len(MESH.vertices), extra, points=MESH.vertices)
    rhs = np.random.default_rng(1).normal(size=2 * len(MESH.vertices))

    assert system.factorise(system.assemble(blocks))
    assert_allclose(dense_sum(full) @ system.solve(rhs), rhs, atol=1e-8)


def test_springs_and_pins():
    blocks, full = random_blocks(2)
    system = SparseSystem(MESH.faces, MESH.edges, len(MESH.vertices))
    values, dense = system.assemble(blocks), dense_sum(full)
    faces, weights = np.array([7, 30]), np.array([[0.2, 0.3, 0.5], [0.0, 0.4, 0.6]])
    stiffness = np.array([50.0, 3.0])

    system.add_springs(values, faces, weights, stiffness, 1)
    for face, weight, k in zip(faces, weights, stiffness, strict=True):
        row = np.zeros(len(dense))
        row[2 * MESH.faces[face] + 1] = weight
        dense += k * np.outer(row, row)
    rhs = np.zeros(len(dense))
    system.pin(values, rhs, np.array([4, 9]), np.array([1.0, -2.0]))

    assert system.factorise(values)
    solved = system.solve(rhs)
    assert_allclose(solved[[4, 9]], [1, -2], atol=1e-12)
    rest = np.setdiff1d(np.arange(len(dense)), [4, 9])
    assert_allclose((dense @ solved)[rest], 0, atol=1e-8)


def test_an_indefinite_matrix_is_told():
    system = SparseSystem(MESH.faces, MESH.edges, len(MESH.vertices))
    values = system.assemble(random_blocks()[0])

    assert not system.factorise(-values)
    assert system.factorise(values)


def test_dissection_orders_every_vertex_once_and_separators_last():
    mesh = bumps(6000, size_mm=400)
    count = len(mesh.vertices)
    left = []

    def backwards(pairs):
        left.append(pairs)
        return np.arange(count)[::-1]

    order = dissection(mesh.vertices, mesh.edges.vertices, backwards)

    assert sorted(order.tolist()) == list(range(count))
    last = mesh.vertices[order[-50:]]  # the first separator: a line across the sheet
    assert np.ptp(last, axis=0).min() < 20
    assert np.ptp(last, axis=0).max() > 300
    # Without the separators the sheet falls apart into parts of about the size asked for, each
    # eliminated in one go and in the order given.
    part = joined(count, left[0])
    first, size = np.unique(part, return_counts=True)
    large = first[size > 1]
    assert len(large) >= 8
    assert size.max() < 2 * LEAF
    rank = np.empty(count, int)
    rank[order] = np.arange(count)
    for number in large:
        inside = np.sort(rank[part == number])
        assert inside[-1] - inside[0] < 2 * LEAF
        assert (np.diff(order[inside]) < 0).all()


def test_a_large_system_is_solved_in_the_order_of_dissection(monkeypatch):
    mesh = bumps(6000, size_mm=400)
    system = SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices), points=mesh.vertices)
    values = np.zeros(system.entries)
    for axis in (0, 1):
        values[system.diagonal(axis)] = 1.0 + np.bincount(mesh.edges.vertices.ravel())
        values[system.beside(axis)] = -1.0
    rhs = np.random.default_rng(1).normal(size=2 * system.count)
    assert system.factorise(values.copy())
    one = system.solve(rhs)
    monkeypatch.setattr(factor, "DISSECT_ABOVE", 1000)
    system = SparseSystem(mesh.faces, mesh.edges, len(mesh.vertices), points=mesh.vertices)
    assert system.factorise(values)

    assert_allclose(system.solve(rhs), one, rtol=1e-10)
