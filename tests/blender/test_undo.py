"""One press, one undo step: undone, the file is as it was; redone, as it was after the press."""

import bpy
import numpy as np
import pytest

from .making import activate, grid, ply_on, select

ours = bpy.ops.mouldply
NAME = "tile"  # undo puts other objects in place of the old ones
DART = "[[-0.1, 0, 0], [-0.02, 0, 0]]"


def mould():
    return bpy.data.objects[NAME]


def state():
    """Return all that a person made: plies, faces, cuts, patterns, shelf, coats, laminate."""
    kept, own = bpy.context.scene.mouldply, mould().mouldply
    homes = [one for one in bpy.data.collections if one.mouldply.owner]
    return {
        "plies": plain(own.plies),
        "faces": {
            one.name: [bool(v.value) for v in one.data]
            for one in mould().data.attributes
            if one.name.startswith("mouldply_p")
        },
        "cuts": sorted(
            (t.name, t.mouldply.cut.proposed) for t in bpy.data.objects if t.mouldply.cut.is_cut
        ),
        "patterns": sorted(
            (t.name, tuple(t.location)) for t in bpy.data.objects if t.mouldply.piece.is_pattern
        ),
        "nests": [home.mouldply.nests for home in homes],
        "shelf": [plain(rows) for rows in (kept.cloths, kept.rolls, kept.offcuts, kept.coats)],
        "laminate": plain([kept.laminate]),
    }


def plain(rows):
    """Return the values of property groups."""
    return [
        {
            prop.identifier: str(getattr(row, prop.identifier))
            if not getattr(prop, "is_array", False)
            else list(getattr(row, prop.identifier))
            for prop in row.bl_rna.properties
            if prop.type not in ("POINTER", "COLLECTION")
        }
        for row in rows
    ]


def with_a_cut():
    ours.draw_cut(points=DART)


def with_a_proposal():
    with_a_cut()
    next(t for t in bpy.data.objects if t.mouldply.cut.is_cut).mouldply.cut.proposed = True


def with_a_nest():
    bpy.context.scene.mouldply.nest.seconds = 0
    ours.nest()
    activate(mould())


def with_half_selected():
    select(mould(), range(8))


def with_a_coat():
    ours.add_coat()


PRESSES = {  # what was there before, the button, its options
    "new_ply": (with_half_selected, {}),
    "copy_ply": (None, {"turn": 0.5}),
    "remove_ply": (None, {}),
    "move_ply": (ours.copy_ply, {"by": "UP"}),
    "change_faces": (with_half_selected, {"how": "TAKE"}),
    "paint_faces": (None, {"faces": "0-3", "off": True}),
    "grow_faces": (None, {"by": -1}),
    "draw_cut": (None, {"points": DART}),
    "accept_cuts": (with_a_proposal, {}),
    "refuse_cuts": (with_a_proposal, {}),
    "add_coat": (None, {}),
    "remove_coat": (with_a_coat, {"number": 0}),
    "add_roll": (None, {}),
    "add_offcut": (None, {}),
    "book_nest": (with_a_nest, {}),
    "show_roll": (with_a_nest, {}),
    "place_tack": (None, {"at": (0.03, 0.02, 0)}),
}


@pytest.mark.parametrize("name", PRESSES)
def test_one_press_is_one_step_back_and_forth(name):
    before, options = PRESSES[name]
    ply_on(grid(NAME, cells=4))
    if before is not None:
        before()
    bpy.ops.ed.undo_push(message="before")
    old = state()
    scenes = len(bpy.data.scenes)
    assert getattr(ours, name)("EXEC_DEFAULT", True, **options) == {"FINISHED"}
    new = state()
    if name != "show_roll":  # which only adds a scene
        assert new != old

    bpy.ops.ed.undo()
    assert state() == old
    assert len(bpy.data.scenes) == scenes
    bpy.ops.ed.redo()
    assert state() == new


def test_a_nest_is_one_step_back_and_forth():
    """Without a window the operator works at once; its result carries the step, as in a window."""
    ply_on(grid(NAME, cells=4))
    bpy.context.scene.mouldply.nest.seconds = 0
    bpy.ops.ed.undo_push(message="before")
    old = state()
    ours.nest("EXEC_DEFAULT", True)
    bpy.ops.ed.undo_push(message="result")  # apply_result's, which there is no need of here
    new = state()
    assert new["nests"] != old["nests"]
    bpy.ops.ed.undo()
    assert state() == old
    bpy.ops.ed.redo()
    assert state() == new


def test_a_preset_is_one_step_back_and_forth(tmp_path, monkeypatch):
    menu = bpy.types.MOULDPLY_PT_resin_presets
    monkeypatch.setattr(menu, "bl_label", menu.bl_label)  # Blender writes the preset's name there
    ply_on(grid(NAME, cells=4))
    kept = bpy.context.scene.mouldply.laminate
    file = tmp_path / "slow.py"
    file.write_text(
        "import bpy\nbpy.context.scene.mouldply.laminate.pot_life_min = 123.0\n", "utf-8"
    )
    assert kept.pot_life_min != 123.0
    bpy.ops.ed.undo_push(message="before")
    old = state()
    bpy.ops.script.execute_preset(
        "EXEC_DEFAULT", True, filepath=str(file), menu_idname="MOULDPLY_PT_resin_presets"
    )
    bpy.ops.ed.undo_push(message="preset")
    new = state()
    assert new["laminate"] != old["laminate"]
    bpy.ops.ed.undo()
    assert state() == old
    bpy.ops.ed.redo()
    assert state() == new


def test_the_step_compares_faces_too():
    """The comparison itself: it would not see a step that left the regions changed otherwise."""
    ply_on(grid(NAME, cells=4))
    old = state()
    values = np.zeros(16, bool)
    mould().data.attributes["mouldply_p1"].data.foreach_set("value", values)
    assert state() != old
