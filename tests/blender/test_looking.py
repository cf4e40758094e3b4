"""A finding is shown: its faces lit and selected, looked at, and the mode left as it was."""

import bpy
import numpy as np
import pytest

from addon import lit, mesh_data
from addon.apply import find_patterns, ranges_of
from addon.bridge import corners_of
from addon.operators.checks import in_world

from .making import grid, ply_on, select

show = bpy.ops.mouldply.show_finding


def laid(faces, cells=8):
    """A flat sheet of 200 mm in squares, laid; its first finding is about these polygons."""
    made = ply_on(grid(size=0.2, cells=cells)).id_data
    bpy.ops.mouldply.flatten(which="ALL")
    results = find_patterns(made).mouldply
    finding = results.findings[0] if results.findings else results.findings.add()
    finding.code, finding.ply_id = "corner_bridged", "p1"
    finding.faces = ranges_of([2 * face + half for face in faces for half in (0, 1)])
    results.active_finding = 0
    return made, results


def chosen(mould):
    found = np.empty(len(mould.data.polygons), bool)
    mould.data.polygons.foreach_get("select", found)
    return np.flatnonzero(found).tolist()


def test_the_box_is_round_the_faces_wherever_the_mould_stands():
    """One face of 8 x 8 on 200 mm, its object moved and scaled: 25 mm times the scale wide."""
    mould = grid(size=0.2, cells=8)
    mould.location, mould.scale = (1.0, 2.0, 3.0), (2.0, 1.0, 1.0)
    bpy.context.view_layer.update()
    corners = in_world(mould, corners_of(mould, bpy.context, [0, 1]))
    assert corners.min(axis=0) == pytest.approx([1.0 - 0.2, 2.0 - 0.1, 3.0], abs=1e-6)
    assert corners.max(axis=0) == pytest.approx([1.0 - 0.15, 2.0 - 0.075, 3.0], abs=1e-6)


def test_the_box_turns_with_the_mould():
    """A quarter turn about z: what was 25 mm to the left in front lies in front to the right."""
    mould = grid(size=0.2, cells=8)
    mould.rotation_euler = (0.0, 0.0, np.pi / 2)
    bpy.context.view_layer.update()
    corners = in_world(mould, corners_of(mould, bpy.context, [0, 1]))
    assert corners.min(axis=0) == pytest.approx([0.075, -0.1, 0.0], abs=1e-6)
    assert corners.max(axis=0) == pytest.approx([0.1, -0.075, 0.0], abs=1e-6)


def test_no_faces_are_nowhere():
    mould = grid(cells=2)
    assert not len(corners_of(mould, bpy.context, [10_000]))


def test_faces_are_lit_where_the_modifiers_put_them():
    """Two copies side by side: the second half of the job's triangles is 1.5 widths away."""
    mould = grid(size=0.2, cells=2)
    copies = mould.modifiers.new("array", "ARRAY")
    copies.count, copies.relative_offset_displace = 2, (1.5, 0.0, 0.0)
    bpy.context.view_layer.update()
    assert corners_of(mould, bpy.context, range(8, 16))[..., 0].min() == pytest.approx(0.2)


@pytest.mark.parametrize("mode", ["OBJECT", "EDIT"])
def test_a_finding_is_shown_in_object_mode_with_its_faces_selected(mode):
    mould, _ = laid(faces=[3, 4])
    select(mould, faces=[60])
    bpy.ops.object.mode_set(mode=mode)
    assert show() == {"FINISHED"}
    assert mould.mode == "OBJECT"
    assert chosen(mould) == [3, 4]
    area = np.linalg.norm(
        np.cross(*np.moveaxis(np.diff(lit.lit_faces(mould, bpy.context), axis=1), 1, 0)), axis=1
    )
    assert area.sum() / 2 == pytest.approx(2 * 0.025**2, rel=1e-5)


def test_a_finding_is_shown_from_its_row_in_the_list():
    mould, results = laid(faces=[3])
    other = results.findings.add()
    other.faces = "10-11"
    number = len(results.findings) - 1
    show(number=number)
    assert results.active_finding == number
    assert chosen(mould) == [5]  # of two triangles each


def test_edit_mode_has_the_faces_of_a_finding_even_those_that_were_hidden():
    mould, _ = laid(faces=[3, 4])
    hidden = np.zeros(64, bool)
    hidden[[3, 50]] = True
    mould.data.polygons.foreach_set("hide", hidden)
    show()
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.object.mode_set(mode="OBJECT")
    assert chosen(mould) == [3, 4]
    assert mesh_data.face_values(mould.data, ".hide_poly").nonzero()[0].tolist() == [50]


def test_in_edit_mode_blender_itself_shows_the_faces():
    mould, _ = laid(faces=[3])
    show()
    bpy.ops.object.mode_set(mode="EDIT")
    assert lit.lit_faces(mould, bpy.context) is None
    bpy.ops.object.mode_set(mode="OBJECT")
    assert len(lit.lit_faces(mould, bpy.context)) == 2


def test_two_squares_side_by_side_have_one_rim():
    """50 x 25 mm: 150 mm round them; the edge between them and the diagonals are not the rim."""
    mould, _ = laid(faces=[3, 4])
    show()
    ends = lit.rim_of(lit.lit_faces(mould, bpy.context))
    assert np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum() == pytest.approx(0.15, rel=1e-5)


def test_another_finding_or_new_patterns_put_the_light_out():
    mould, results = laid(faces=[3])
    results.findings.add()
    show()
    assert lit.lit_faces(mould, bpy.context) is not None
    results.active_finding = 1
    assert lit.lit_faces(mould, bpy.context) is None
    results.active_finding = 0
    bpy.ops.mouldply.hide_finding()
    assert lit.lit_faces(mould, bpy.context) is None
    show()
    bpy.ops.mouldply.flatten(which="ALL")
    assert lit.lit_faces(mould, bpy.context) is None


def test_undo_takes_light_and_selection_back_and_redo_brings_them_again():
    mould, _ = laid(faces=[3, 4])
    select(mould, faces=[60])
    name = mould.name
    bpy.ops.ed.undo_push(message="before")
    assert show("EXEC_DEFAULT", True) == {"FINISHED"}
    bpy.ops.ed.undo()
    mould = bpy.data.objects[name]
    assert (chosen(mould), lit.lit_faces(mould, bpy.context)) == ([60], None)
    bpy.ops.ed.redo()
    mould = bpy.data.objects[name]
    assert chosen(mould) == [3, 4]
    assert len(lit.lit_faces(mould, bpy.context)) == 4
