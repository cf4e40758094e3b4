"""The coarse start of a large drape lies on the mould, flat floors or not."""

import numpy as np
from shapes import tray

from flatten.cloth.coarse import coarse_surface
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
