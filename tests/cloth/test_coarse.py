"""The coarse start of a large drape lies on the mould, flat floors or not."""

import numpy as np
from shapes import irregular_cap, tray

from flatten.cloth.coarse import coarse_surface
from flatten.cloth.lay import lay
from flatten.cloth.laying import Task
from flatten.cloth.library import load_fabrics
from flatten.progress import silent
from flatten.surface.mesh import MouldMesh


def test_a_coarse_surface_keeps_to_the_vertices_of_the_fine_one():
    """On what is flat the least of a quadric is anywhere: metres off in one case of two. Turned
    out of the axes, or rounding would hide it."""
    mesh = tray(depth=40, draft_deg=5, fillet=10, flange=20, edge=6)
    for seed in range(4):
        turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
        faces = mesh.faces if np.linalg.det(turn) > 0 else mesh.faces[:, ::-1]
        fine = MouldMesh(mesh.vertices @ turn.T, faces)

        coarse = coarse_surface(fine)

        assert coarse is not None
        kept = {tuple(place) for place in fine.vertices.tolist()}
        assert all(tuple(place) in kept for place in coarse.surface.vertices.tolist())
        assert len(coarse.near) == len(fine.vertices)


def test_a_carried_start_that_is_folded_costs_steps_and_no_more(monkeypatch):
    """A start sheared to 85 degrees looks locked; the cloth laid anew does not lock."""
    mesh = irregular_cap(150.0, 40.0, 6000, seed=3)
    fabric = load_fabrics()["carbon_twill_210"]
    middle = mesh.vertices[np.linalg.norm(mesh.vertices[:, :2], axis=1).argmin()]
    task = Task(
        fabric=fabric, tack_mm=middle, warp=np.array([1.0, 0, 0]), turn=0.0, method="worked_out"
    )
    wanted = lay(mesh, task, silent)
    folded = wanted.layout.flat.copy()
    folded[0] += 12 * folded[1]

    def never(*given):
        raise AssertionError("threads that bend were tried")

    monkeypatch.setattr("flatten.cloth.laying.Bending", never)
    monkeypatch.setattr("flatten.cloth.lay.carry", lambda *given: folded)
    laid = lay(mesh, task, silent)

    assert laid.layout.converged
    assert not laid.locks
    assert np.abs(laid.layout.flat - wanted.layout.flat).max() < 1e-3
