"""Proposed cuts are curves that are accepted, moved or refused: cloth that locks, narrow rolls."""

from functools import partial

import bpy
import numpy as np
import pytest
from cloth.trays import tray

from addon.curves import replace_proposals
from addon.panels.bench import next_step
from flatten.cloth import relief

from .making import grid, job_of, mesh_object, ply_on


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


def test_a_ply_that_lies_down_says_so_instead_of_proposing_nothing():
    ply_on(grid(size=0.2, cells=4))
    bpy.ops.mouldply.flatten(which="ALL")
    assert bpy.ops.mouldply.propose_cuts() == {"FINISHED"}
    message = bpy.context.window_manager.mouldply.message
    assert message == "Ply 'A' lies down without a cut."


def lightness(curve):
    """Return the relative luminance of a cut's colour (Rec. 709 weights)."""
    (material,) = curve.data.materials
    return float(np.dot(material.diffuse_color[:3], (0.2126, 0.7152, 0.0722)))


def test_proposals_are_the_next_step_until_they_are_taken():
    mould = grid(size=0.2, cells=4)
    ply = ply_on(mould)
    bpy.ops.mouldply.flatten(which="ALL")
    path = [[-100.0, 0.0, 0.0], [-50.0, 0.0, 0.0]]
    plain = {"kind": "dart", "path": path, "gain": "", "joint": "butt", "lap_mm": 0.0}
    replace_proposals(bpy.context.scene, mould, ply, [plain | {"under": "left"}])
    text, button, _ = next_step(bpy.context)
    assert text.startswith("Cuts are proposed")
    assert button == "mouldply.accept_cuts"
    (curve,) = (child for child in mould.children if child.mouldply.cut.is_cut)
    assert lightness(curve) > 0.5
    bpy.ops.mouldply.accept_cuts(cut="")
    assert lightness(curve) < 0.25  # three to one is read as darker, whatever the colour
    assert max(curve.dimensions.yz) == pytest.approx(2 * 0.004 * 0.2, rel=0.2)  # a rod to be seen
    assert next_step(bpy.context)[1] == "mouldply.flatten"


def locked(mould):
    """Return the largest share of a pattern that will not lie down, and the number of patterns."""
    home = next(c for c in bpy.data.collections if c.mouldply.owner == mould)
    pieces = [t.mouldply.piece for t in home.objects if t.mouldply.piece.is_pattern]
    return max(piece.locked_share for piece in pieces), len(pieces)


def test_a_ply_that_locks_is_offered_darts_that_are_moved_and_let_it_lie_down(monkeypatch):
    """A tray 40 mm deep: one dart a corner; accepted, curves a person may move on.

    Their lengths are sought on the drape's own mesh, as for a quick look: several times quicker.
    """
    quick = partial(relief.propose_relief, thorough=False, max_edge_mm=9.0)
    monkeypatch.setattr(relief, "propose_relief", quick)
    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=9)
    mould = mesh_object("tray", surface.vertices / 1000, surface.faces)
    ply_on(mould)
    kept = bpy.context.scene.mouldply
    kept.use_edge_mm, kept.edge_mm = True, 9.0
    assert bpy.ops.mouldply.flatten(which="ACTIVE") == {"FINISHED"}
    before, _ = locked(mould)
    assert before > 0.02

    assert bpy.ops.mouldply.propose_cuts() == {"FINISHED"}
    curves = [c for c in bpy.data.objects if c.mouldply.cut.is_cut]
    assert [c.mouldply.cut.kind for c in curves] == 4 * ["dart"]
    assert job_of(mould).plies[0].cuts == ()  # not before they are accepted
    assert bpy.ops.mouldply.accept_cuts(cut="") == {"FINISHED"}
    drawn = {cut.id: cut.path for cut in job_of(mould).plies[0].cuts}
    assert len(drawn) == 4

    point = curves[0].data.splines[0].points[-1]
    point.co.z += 0.002
    moved = {cut.id: cut.path for cut in job_of(mould).plies[0].cuts}
    changed = [name for name in drawn if not np.array_equal(moved[name], drawn[name])]
    assert len(changed) == 1
    assert moved[changed[0]][-1, 2] - drawn[changed[0]][-1, 2] == pytest.approx(2.0, abs=1e-3)
    point.co.z -= 0.002

    assert bpy.ops.mouldply.flatten(which="ACTIVE") == {"FINISHED"}
    after, pieces = locked(mould)
    assert pieces == 1  # darts part nothing
    assert after < 0.2 * before
