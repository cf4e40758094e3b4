"""Proposed cuts are curves that are accepted, moved or refused: for a roll too narrow."""

import bpy
import numpy as np

from .making import grid, job_of, ply_on


def test_a_ply_wider_than_its_roll_is_offered_splices_that_make_it_fit():
    """400 mm of cloth and trim on a roll of 250 mm: accepted, the pieces are nested."""
    mould = grid(size=0.4, cells=10)
    ply_on(mould)
    bpy.context.scene.mouldply.rolls[0].width_mm = 250.0

    assert bpy.ops.mouldply.propose_cuts() == {"FINISHED"}
    curves = [c for c in bpy.data.objects if c.mouldply.cut.is_cut]
    assert {c.mouldply.cut.kind for c in curves} == {"splice"}
    assert all(c.mouldply.cut.proposed and "fits the roll" in c.mouldply.cut.gain for c in curves)
    assert job_of(mould).plies[0].cuts == ()

    assert bpy.ops.mouldply.accept_cuts(cut="") == {"FINISHED"}
    cuts = job_of(mould).plies[0].cuts
    assert len(cuts) == len(curves)
    for cut in cuts:  # along the warp, which runs along x
        assert np.ptp(cut.path[:, 1]) < 1.0
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    home = next(c for c in bpy.data.collections if c.mouldply.owner == mould)
    assert [f.message for f in home.mouldply.findings if f.severity == "stop"] == []
