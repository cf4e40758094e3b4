"""Covers, cores and corner tapes asked for in the sidebar: cut, kept, out of date, gone again."""

import json
from dataclasses import fields

import bpy
import numpy as np
import pytest

from addon import engine, freshness
from addon.apply import find_patterns

from .making import grid, job_of, ply_on

LEFT_OUT = {"id", "name", "fabric", "ply"}  # asked for by name, or by a menu that keeps them


@pytest.fixture
def mould(scene):
    """One flat square of 200 mm under one ply."""
    return ply_on(grid(size=0.2)).id_data


def add(mould, kind):
    assert bpy.ops.mouldply.add_extra(kind=kind) == {"FINISHED"}
    return mould.mouldply.extras[mould.mouldply.active_extra]


def patterns(mould):
    """Return id of ply or extra -> its patterns."""
    found = {}
    for thing in find_patterns(mould).objects:
        if thing.mouldply.piece.is_pattern:
            found.setdefault(thing.mouldply.ply_id, []).append(thing)
    return found


def known(mould):
    return freshness.known_of(mould, bpy.context.scene)


def test_every_field_of_an_extra_is_offered_with_the_engine_s_default(mould):
    """The group is written out by hand; it may not fall behind the engine."""
    kind = engine.load("laminate.extra").Extra
    extra = add(mould, "cover")
    offered = {field.name for field in fields(kind)} - LEFT_OUT
    assert offered <= set(extra.bl_rna.properties.keys())
    (read,) = job_of(mould).extras
    assert read == kind(id="x1", name="Cover", fabric="peel_ply_85")
    kinds = [item.identifier for item in extra.bl_rna.properties["kind"].enum_items]
    assert tuple(kinds) == engine.load("laminate.extra").KINDS


def test_the_fields_reach_the_job(mould):
    extra = add(mould, "core")
    extra.bevel_deg, extra.angle_deg = 45.0, 30.0
    tapes = add(mould, "corner_tape")
    tapes.width_mm = 25.0
    job = job_of(mould)
    core, tape = job.extras
    assert (core.kind, core.ply, core.bevel_deg, core.angle_deg) == ("core", "p1", 45.0, 30.0)
    assert (tape.kind, tape.ply, tape.width_mm) == ("corner_tape", "", 25.0)
    assert tape.fabric == job.plies[0].fabric  # tapes: what the next ply would be cut from
    assert {fabric.id for fabric in job.fabrics} == {core.fabric, tape.fabric}


def test_a_cover_is_cut_with_the_plies_and_stays_when_one_ply_is_flattened_again(mould):
    """200 mm of part and 30 mm past each edge: a square of 260 mm with corners of 30 mm round."""
    add(mould, "cover")
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    (cover,) = patterns(mould)["x1"]
    assert cover.mouldply.piece.cut_area_mm2 == pytest.approx(
        260.0**2 - (4 - np.pi) * 30.0**2,
        rel=1e-4,  # corners are chords
    )
    assert cover.mouldply.piece.role == "cover"
    assert known(mould).extras == {"x1": "current"}
    name = cover.name

    assert bpy.ops.mouldply.flatten(which="ACTIVE") == {"FINISHED"}
    assert [thing.name for thing in patterns(mould)["x1"]] == [name]
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    assert len(patterns(mould)["x1"]) == 1  # the old one made room


CHANGES = {
    "past the edge": lambda extra, scene: setattr(extra, "trim_mm", 40.0),
    "cloth": lambda extra, scene: setattr(extra, "cloth", scene.mouldply.cloths[0].id),
    "kind": lambda extra, scene: setattr(extra, "kind", "core"),
    "over": lambda extra, scene: setattr(extra, "over", "p1"),
    "angle": lambda extra, scene: setattr(extra, "angle_deg", 45.0),
    "name": lambda extra, scene: setattr(extra, "name", "Release film"),
}


def test_tapes_of_a_mould_without_corners_are_not_forever_to_be_cut(mould, scene):
    """A flat sheet has no sharp corner: no pattern, and nothing left to do about it."""
    tape = add(mould, "corner_tape")
    assert known(mould).extras == {"x1": "to_drape"}
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    assert "x1" not in patterns(mould)
    assert known(mould).extras == {"x1": "current"}
    tape.width_mm = 30.0
    assert known(mould).extras == {"x1": "to_drape"}


def test_a_change_ages_the_extra_and_the_whole_but_no_ply(mould, scene):
    extra = add(mould, "cover")
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    assert known(mould).whole_is_current
    before = {name: getattr(extra, name) for name in ("trim_mm", "fabric", "kind", "ply",
                                                      "angle_deg", "name")}  # fmt: skip
    for change, make in CHANGES.items():
        make(extra, scene)
        now = known(mould)
        assert now.extras == {"x1": "out_of_date"}, change
        assert now.states == {"p1": "current"}, change
        assert not now.whole_is_current, change
        for name, value in before.items():
            setattr(extra, name, value)
        assert known(mould).extras == {"x1": "current"}, change


def test_a_ply_ages_the_cover_that_lies_on_it(mould):
    add(mould, "cover")
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    mould.mouldply.plies[0].repeat = 2
    assert known(mould).extras == {"x1": "out_of_date"}


def test_a_core_ages_the_later_plies_only(mould):
    ply_on(mould, angle_deg=45.0)
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    add(mould, "core").over = "p1"
    assert known(mould).states == {"p1": "current", "p2": "out_of_date"}


def test_a_removed_extra_loses_its_patterns(mould):
    add(mould, "cover")
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    assert set(patterns(mould)) == {"p1", "x1"}
    assert bpy.ops.mouldply.remove_extra() == {"FINISHED"}
    assert set(patterns(mould)) == {"p1"}
    assert not mould.mouldply.extras
    assert add(mould, "cover").id == "x2"  # an id is never given twice


def test_an_extra_taken_out_by_a_script_loses_its_patterns_with_the_next_flatten(mould):
    add(mould, "cover")
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    mould.mouldply.extras.clear()
    assert bpy.ops.mouldply.flatten(which="ACTIVE") == {"FINISHED"}
    assert set(patterns(mould)) == {"p1"}


def test_they_are_moved_in_the_list(mould):
    for kind in ("cover", "corner_tape"):
        add(mould, kind)
    own = mould.mouldply
    assert bpy.ops.mouldply.move_extra(by="UP") == {"FINISHED"}
    assert [extra.kind for extra in own.extras] == ["corner_tape", "cover"]
    assert own.active_extra == 0
    assert bpy.ops.mouldply.move_extra(by="UP") == {"FINISHED"}  # at the end already: stays
    assert [extra.kind for extra in own.extras] == ["corner_tape", "cover"]
    assert [extra.id for extra in job_of(mould).extras] == ["x2", "x1"]


def test_the_cloth_of_a_cover_stays_in_the_file(mould, scene):
    add(mould, "cover")
    scene.mouldply.active_cloth = 1
    with pytest.raises(RuntimeError, match="'Cover' of 'tile' is cut from"):
        bpy.ops.mouldply.remove_cloth()
    assert len(scene.mouldply.cloths) == 2


def test_a_cover_over_a_ply_that_is_gone_says_so(mould):
    ply_on(mould)
    add(mould, "cover").over = "p2"
    mould.mouldply.active_ply = 1
    assert bpy.ops.mouldply.remove_ply() == {"FINISHED"}
    assert "'Cover' lies on ply 'p2', which the job does not have." in known(mould).problem


def test_a_stock_too_short_takes_the_stale_roll_away(mould, scene):
    """Two pieces of 230 mm, and a roll that holds one."""
    ply_on(mould)
    scene.mouldply.nest.seconds = 0
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    results = find_patterns(mould).mouldply
    assert results.nests
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    assert results.nests  # patterns only: the roll is not asked
    roll = scene.mouldply.rolls[0]
    roll.endless, roll.length_mm, roll.width_mm = False, 300.0, 300.0
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    assert {"stock_short"} == {f.code for f in results.findings if f.severity == "stop"}
    assert not results.nests


def test_a_cloth_too_short_loses_its_roll_and_the_other_keeps_its_own(mould, scene):
    scene.mouldply.nest.seconds = 0
    add(mould, "cover")
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    results = find_patterns(mould).mouldply
    ply_cloth = mould.mouldply.plies[0].fabric
    assert set(json.loads(results.nests)) == {ply_cloth, "peel_ply_85"}
    roll = next(roll for roll in scene.mouldply.rolls if roll.fabric == "peel_ply_85")
    roll.endless, roll.length_mm = False, 100.0
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    assert set(json.loads(results.nests)) == {ply_cloth}
