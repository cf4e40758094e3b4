"""States of plies: a pattern whose inputs changed is never shown as current."""

from types import SimpleNamespace

import bpy
import pytest

from addon import freshness
from addon.panels.bench import next_step

from .making import grid, ply_on


@pytest.fixture
def two_plies(scene):
    mould = ply_on(grid(size=0.2, height=0.02), angle_deg=0.0).id_data
    ply_on(mould, angle_deg=45.0)
    assert states(mould) == {"p1": "to_drape", "p2": "to_drape"}
    assert bpy.ops.mouldply.flatten() == {"FINISHED"}
    assert states(mould) == {"p1": "current", "p2": "current"}
    return mould


def states(mould):
    return freshness.known_of(mould, bpy.context.scene).states


CHANGES = {
    "angle": lambda mould, scene: setattr(mould.mouldply.plies[1], "angle_deg", 30.0),
    "method": lambda mould, scene: setattr(mould.mouldply.plies[1], "method", "least_shear"),
    "own trim": lambda mould, scene: setattr(mould.mouldply.plies[1], "use_trim_mm", True),
    "tack": lambda mould, scene: setattr(mould.mouldply.plies[1], "use_tack", True),
    "seams": lambda mould, scene: setattr(mould.mouldply.plies[1], "use_seams", False),
    "faces": lambda mould, scene: drop_a_face(mould),
}


def drop_a_face(mould):
    mould.data.attributes["mouldply_p2"].data[0].value = False
    mould.data.update()


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_of_the_upper_ply_leaves_the_lower_one_current(two_plies, change, scene):
    CHANGES[change](two_plies, scene)
    assert states(two_plies) == {"p1": "current", "p2": "out_of_date"}


FOR_ALL = {
    "shape": lambda mould, scene: setattr(mould.data.vertices[40], "co", (0, 0, 0.05)),
    "scale": lambda mould, scene: setattr(mould, "scale", (1.1, 1, 1)),
    "trim": lambda mould, scene: setattr(scene.mouldply.dressing, "trim_mm", 20.0),
    "cloth": lambda mould, scene: setattr(scene.mouldply.cloths[0], "shear_lock_deg", 60.0),
    "triangles": lambda mould, scene: setattr(scene.mouldply, "use_edge_mm", True),
    "unit": lambda mould, scene: setattr(scene.unit_settings, "scale_length", 0.5),
    "part": lambda mould, scene: setattr(mould.mouldply, "part", "another"),
}


@pytest.mark.parametrize("change", FOR_ALL)
def test_a_change_of_mould_cloth_or_settings_ages_every_ply(two_plies, change, scene):
    FOR_ALL[change](two_plies, scene)
    bpy.context.view_layer.update()
    assert set(states(two_plies).values()) == {"out_of_date"}


def test_the_lower_ply_ages_the_upper_one(two_plies):
    """The upper ply lies on the lower one: a repeat below moves its surface."""
    two_plies.mouldply.plies[0].repeat = 2
    assert states(two_plies) == {"p1": "out_of_date", "p2": "out_of_date"}


def test_a_ply_without_faces_is_named(two_plies):
    data = two_plies.data.attributes["mouldply_p1"].data
    data.foreach_set("value", [False] * len(data))
    assert states(two_plies)["p1"] == "no_faces"


def test_settings_that_contradict_each_other_are_told_in_the_sidebar(two_plies, scene):
    scene.mouldply.laminate.use_fibre_volume_fraction = True
    scene.mouldply.laminate.use_fibre_mass_fraction = True
    assert "both given" in freshness.known_of(two_plies, scene).problem


def test_the_whole_is_current_until_stock_changes(two_plies, scene):
    assert freshness.known_of(two_plies, scene).whole_is_current
    scene.mouldply.rolls[0].width_mm = 1000.0
    known = freshness.known_of(two_plies, scene)
    assert not known.whole_is_current
    assert set(known.states.values()) == {"current"}


def test_an_undo_leaves_next_step_as_it_was_until_the_next_look(two_plies, scene, monkeypatch):
    """In a window. It used to say that the plies are to be laid flat, and back; and on opening."""
    known = freshness.work_out(two_plies, scene)
    timers = SimpleNamespace(is_registered=lambda which: True)
    window = SimpleNamespace(app=SimpleNamespace(background=False, timers=timers))
    monkeypatch.setattr(freshness, "bpy", window)
    monkeypatch.setattr(freshness, "MEMORY", freshness.Memory())
    freshness.MEMORY.known[two_plies.session_uid] = known
    before = next_step(bpy.context)

    freshness.after_step()

    assert before[1] == "mouldply.nest"
    assert next_step(bpy.context) == before
    freshness.after_load()
    assert next_step(bpy.context) == ("Looking at the mould.", "", {})


def test_views_are_as_deep_as_the_mould_asks_for():
    """A mould of 400 units (mm as units): seen whole, nothing behind shows through.

    A depth buffer of 24 bits steps by z^2 / (near 2^24): at a distance of the mould's size with
    near at a thousandth of it by 0.024 units; with near at 0.01, as Blender has it, by 0.95.
    """
    bpy.ops.wm.read_factory_settings()
    mould = grid(size=400.0)
    views = [
        area.spaces.active
        for window in bpy.context.window_manager.windows
        for area in window.screen.areas
        if area.type == "VIEW_3D"
    ]
    assert views

    freshness._widen_views(mould, 400.0)

    for view in views:
        assert view.clip_start == pytest.approx(0.4)
        assert view.clip_end == pytest.approx(40_000)
        assert 400.0**2 / (view.clip_start * 2**24) < 0.03


def test_a_view_that_begins_further_off_is_left_alone():
    bpy.ops.wm.read_factory_settings()
    mould = grid(size=0.2)
    (view,) = (
        area.spaces.active
        for area in bpy.context.window_manager.windows[0].screen.areas
        if area.type == "VIEW_3D"
    )
    view.clip_start = 0.05

    freshness._widen_views(mould, 0.2)

    assert view.clip_start == pytest.approx(0.05)


def test_another_file_ends_a_look_that_is_under_way():
    """Its moulds are gone; a window that was busy loading calls the timer late."""
    ply_on(grid())
    steps = freshness._steps(bpy.context.scene)
    next(steps)
    freshness.MEMORY.steps = steps
    bpy.ops.wm.read_homefile(use_empty=True)
    assert freshness.MEMORY.steps is None
