"""Seek Tack Point: a ply tacked at its corner gets a better place, one in the middle keeps it."""

import bpy
import numpy as np

from addon import engine

from .making import grid, ply_on


def test_a_tack_point_in_the_corner_moves_inwards(monkeypatch):
    monkeypatch.setattr(engine.load("cloth.tack"), "TRIAL_TRIANGLES", 200)
    ply = ply_on(grid(size=0.2, height=0.08))
    ply.use_tack, ply.tack = True, (0.09, 0.09, 0.0)

    assert bpy.ops.mouldply.seek_tack() == {"FINISHED"}

    assert "instead of" in ply.tack_gain
    assert np.abs(np.array(ply.tack[:2])).max() < 0.085


def test_it_needs_a_ply():
    grid(size=0.2)
    assert not bpy.ops.mouldply.seek_tack.poll()
