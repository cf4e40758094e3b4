"""Cloth of the file, cloth of the person, stock, and the roll."""

import json
from pathlib import Path

import bpy
import numpy as np
import pytest
from numpy.testing import assert_allclose

import addon
from addon import engine, library
from addon.scene_job import read_cloth

from .making import activate, grid, job_of, ply_on


@pytest.fixture(autouse=True)
def no_own_cloths():
    folder = library.own_folder()
    for file in folder.glob("*.json") if folder else ():
        file.unlink()


@pytest.mark.parametrize("cloth_id", sorted(engine.load("cloth.library").load_fabrics()))
def test_every_cloth_of_the_library_survives_the_file(scene, cloth_id):
    """Copied into the file and read back: the same cloth, to single precision."""
    bpy.ops.mouldply.add_cloth(cloth=cloth_id)
    given = library.all_cloths()[cloth_id]

    assert read_cloth(scene.mouldply.cloths[0]) == given
    assert scene.mouldply.rolls[0].width_mm == given.roll_width_mm


def test_a_cloth_in_use_is_not_removed(scene):
    ply_on(grid(cells=4))
    with pytest.raises(RuntimeError, match="Ply 'A' of 'tile' is cut from"):
        bpy.ops.mouldply.remove_cloth()
    assert len(scene.mouldply.cloths) == 1


def test_removing_a_cloth_takes_its_rolls_along(scene):
    bpy.ops.mouldply.add_cloth(cloth="glass_twill_163")
    bpy.ops.mouldply.add_roll()
    bpy.ops.mouldply.add_offcut()
    assert (len(scene.mouldply.rolls), len(scene.mouldply.offcuts)) == (2, 1)
    bpy.ops.mouldply.remove_cloth()
    kept = scene.mouldply
    assert (len(kept.cloths), len(kept.rolls), len(kept.offcuts)) == (0, 0, 0)


def test_an_own_cloth_is_kept_for_other_files_and_shared(scene, tmp_path):
    bpy.ops.mouldply.add_cloth(cloth="glass_twill_163")
    bpy.ops.mouldply.duplicate_cloth(name="Shed glass")
    scene.mouldply.cloths[1].areal_weight_gsm = 170
    bpy.ops.mouldply.keep_cloth()
    bpy.ops.wm.read_homefile(use_empty=True)

    assert library.all_cloths()["shed_glass"].areal_weight_gsm == 170
    bpy.ops.mouldply.add_cloth(cloth="shed_glass")
    file = tmp_path / "mine.json"
    bpy.ops.mouldply.export_cloths(filepath=str(file))
    bpy.ops.mouldply.forget_cloth(cloth="shed_glass")
    assert "shed_glass" not in library.all_cloths()
    bpy.ops.mouldply.import_cloths(filepath=str(file))
    assert library.all_cloths()["shed_glass"].name == "Shed glass"


def test_a_damaged_cloth_file_is_refused(tmp_path):
    (tmp_path / "bad.json").write_text("{")
    with pytest.raises(RuntimeError, match="not valid JSON"):
        bpy.ops.mouldply.import_cloths(filepath=str(tmp_path / "bad.json"))


def test_a_wrong_value_is_refused_by_name(scene):
    ply_on(grid(cells=4))
    scene.mouldply.cloths[0].fibre_angles_deg = "0, ninety"
    with pytest.raises(RuntimeError, match="fibre_angles_deg is '0, ninety'"):
        bpy.ops.mouldply.flatten(which="ACTIVE")


@pytest.fixture
def nested(scene):
    scene.mouldply.nest.seconds = 0
    mould = ply_on(grid(size=0.3)).id_data
    scene.mouldply.rolls[0].endless = False
    scene.mouldply.rolls[0].length_mm = 5000
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    activate(mould)
    return mould


def test_the_roll_is_a_scene_with_the_patterns_where_they_lie(nested, scene):
    bpy.ops.mouldply.show_roll()
    roll = bpy.data.scenes[f"Roll of {nested.name}"]
    home = next(c for c in bpy.data.collections if c.mouldply.owner == nested)
    (nest,) = json.loads(home.mouldply.nests).values()
    (placed,) = nest["sheets"][0]["placements"]
    copy = next(t for t in roll.objects if t.mouldply.ply_id == "p1" and t.parent is None)

    assert copy.location.x * 1000 == pytest.approx(placed["x_mm"], abs=1e-2)
    assert copy.rotation_euler.z == pytest.approx(np.radians(placed["angle_deg"]))
    bpy.ops.mouldply.show_roll()  # again: made anew, not doubled
    assert len([t for t in roll.objects if t.mouldply.ply_id == "p1" and t.parent is None]) == 1


@pytest.mark.parametrize("system", ["METRIC", "IMPERIAL", "NONE"])
def test_the_roll_has_the_units_of_its_mould_s_scene_which_stay(nested, scene, system):
    """Blender resets the units of the window's scene where another scene's system is set."""
    units = scene.unit_settings
    units.system = system
    if system != "NONE":
        units.length_unit = {"METRIC": "MILLIMETERS", "IMPERIAL": "INCHES"}[system]
        units.mass_unit = {"METRIC": "GRAMS", "IMPERIAL": "OUNCES"}[system]
    kept = system, units.length_unit, units.mass_unit, units.scale_length
    bpy.ops.mouldply.show_roll()
    for one in bpy.data.scenes:
        now = one.unit_settings
        assert (now.system, now.length_unit, now.mass_unit, now.scale_length) == kept


def test_in_german_the_roll_has_a_german_name_and_is_found_again(nested, scene, monkeypatch):
    """Made in English, shown again in German: the same scene, not a second one.

    The bpy module carries no languages: our own list is looked up instead of Blender.
    """
    words = json.loads((Path(addon.__file__).parent / "languages" / "de.json").read_text("utf-8"))

    def german(template, value):
        return words[template].format(value)

    bpy.ops.mouldply.show_roll()
    monkeypatch.setattr("addon.roll_scene.new_name", german)
    monkeypatch.setattr("addon.operators.cloth.new_name", german)
    bpy.ops.mouldply.show_roll()
    assert len(bpy.data.scenes) == 2

    bpy.data.scenes.remove(bpy.data.scenes[f"Roll of {nested.name}"])
    bpy.ops.mouldply.show_roll()
    assert f"Rolle von {nested.name}" in bpy.data.scenes
    bpy.ops.mouldply.add_roll()
    assert scene.mouldply.rolls[-1].name == f"Rolle {scene.mouldply.cloths[0].name} 1"


def test_booking_shortens_the_roll_and_keeps_offcuts(nested, scene):
    home = next(c for c in bpy.data.collections if c.mouldply.owner == nested)
    (nest,) = json.loads(home.mouldply.nests).values()
    used, kept = nest["sheets"][0]["used_length_mm"], nest["sheets"][0]["kept"]
    bpy.ops.mouldply.book_nest()

    assert scene.mouldply.rolls[0].length_mm == pytest.approx(5000 - used, abs=0.01)
    assert len(scene.mouldply.offcuts) == len(kept) >= 1
    with pytest.raises(RuntimeError, match="Press Nest first"):
        bpy.ops.mouldply.book_nest()


def test_offcuts_reach_the_job(scene):
    mould = ply_on(grid(cells=4)).id_data
    bpy.ops.mouldply.add_offcut()
    scene.mouldply.offcuts[0].length_mm, scene.mouldply.offcuts[0].width_mm = 400, 250
    (offcut,) = job_of(mould).stock.offcuts
    assert_allclose(offcut.outline, [[0, 0], [400, 0], [400, 250], [0, 250]])


def test_a_piece_wider_than_the_roll_is_a_finding_not_an_error(scene):
    mould = ply_on(grid(size=0.3)).id_data
    scene.mouldply.rolls[0].width_mm = 200
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    home = next(c for c in bpy.data.collections if c.mouldply.owner == mould)
    assert "stop" in {finding.severity for finding in home.mouldply.findings}
