"""Making and changing plies, and what cannot be a ply.

Longer than most files: one test for each thing that can be done to a ply.
"""

import bpy
import numpy as np
import pytest

from .making import activate, grid, job_of, mesh_object, ply_on, select


def region(mould, ply):
    values = np.zeros(len(mould.data.polygons), bool)
    mould.data.attributes[f"mouldply_{ply.id}"].data.foreach_get("value", values)
    return np.flatnonzero(values).tolist()


def test_a_ply_covers_exactly_the_selected_faces():
    mould = grid(cells=4)
    ply = ply_on(mould, faces=[1, 2, 5])

    assert region(mould, ply) == [1, 2, 5]
    assert ply.fabric == bpy.context.scene.mouldply.cloths[0].id
    assert len(bpy.context.scene.mouldply.rolls) == 1


def test_in_edit_mode_the_selection_counts_and_the_mode_stays():
    mould = grid(cells=4)
    select(mould, [3, 7])
    bpy.ops.object.mode_set(mode="EDIT")
    assert bpy.ops.mouldply.new_ply() == {"FINISHED"}

    assert mould.mode == "EDIT"
    bpy.ops.object.mode_set(mode="OBJECT")
    assert region(mould, mould.mouldply.plies[0]) == [3, 7]


def test_add_and_take_out_change_the_region():
    mould = grid(cells=4)
    ply = ply_on(mould, faces=[0, 1])
    select(mould, [2])
    bpy.ops.mouldply.change_faces(how="ADD")
    assert region(mould, ply) == [0, 1, 2]
    select(mould, [0])
    bpy.ops.mouldply.change_faces(how="TAKE")
    assert region(mould, ply) == [1, 2]


def test_grow_and_shrink_move_the_rim_by_rows():
    mould = grid(cells=5)
    ply = ply_on(mould, faces=[12])
    bpy.ops.mouldply.grow_faces(by=1)
    assert len(region(mould, ply)) == 5
    bpy.ops.mouldply.grow_faces(by=-1)
    assert region(mould, ply) == [12]


def test_fill_stops_at_sharp_edges():
    """A cube: from one face only that face is reached, its edges turn by 90 degrees."""
    bpy.ops.mesh.primitive_cube_add(size=0.2)
    cube = bpy.context.object
    ply = ply_on(cube, faces=[0])
    bpy.ops.mouldply.fill_faces(angle=np.radians(30))
    assert region(cube, ply) == [0]
    bpy.ops.mouldply.fill_faces(angle=np.radians(100))
    assert len(region(cube, ply)) == 6


def test_copy_move_and_remove_keep_regions_and_order():
    mould = grid(cells=4)
    first = ply_on(mould, faces=[0, 1], angle_deg=30.0)
    assert first.id == "p1"
    ply_on(mould, faces=[2])
    mould.mouldply.active_ply = 0
    bpy.ops.mouldply.copy_ply(turn=np.radians(15))
    assert [ply.id for ply in mould.mouldply.plies] == ["p1", "p3", "p2"]
    assert mould.mouldply.plies[1].angle_deg == pytest.approx(45)
    assert region(mould, mould.mouldply.plies[1]) == [0, 1]
    bpy.ops.mouldply.move_ply(by="DOWN")
    assert [ply.id for ply in mould.mouldply.plies] == ["p1", "p2", "p3"]
    bpy.ops.mouldply.remove_ply()
    assert [ply.id for ply in mould.mouldply.plies] == ["p1", "p2"]
    assert "mouldply_p3" not in mould.data.attributes


def test_undo_takes_a_ply_back():
    mould = grid(cells=4)
    name = mould.name
    bpy.ops.ed.undo_push(message="before")
    select(mould)
    bpy.ops.mouldply.new_ply("EXEC_DEFAULT", True)
    assert len(bpy.data.objects[name].mouldply.plies) == 1
    bpy.ops.ed.undo()
    assert len(bpy.data.objects[name].mouldply.plies) == 0


def refused(operator, **options):
    """Return the message an operator refuses with."""
    with pytest.raises(RuntimeError) as caught:
        operator(**options)
    return str(caught.value)


def test_an_empty_selection_is_refused():
    select(grid(cells=4), [])
    assert "No faces are selected" in refused(bpy.ops.mouldply.new_ply)


def test_hidden_faces_do_not_count():
    mould = grid(cells=4)
    select(mould, [0, 1])
    mould.data.polygons[0].hide = True
    assert bpy.ops.mouldply.new_ply() == {"FINISHED"}
    assert region(mould, mould.mouldply.plies[0]) == [1]


def test_shared_mesh_data_is_refused_with_the_way_out():
    mould = grid(cells=4)
    twin = bpy.data.objects.new("twin", mould.data)
    bpy.context.scene.collection.objects.link(twin)
    select(mould)
    assert "Make Single User" in refused(bpy.ops.mouldply.new_ply)


def test_a_linked_mesh_is_refused_with_the_way_out(tmp_path):
    grid("lent", cells=4)
    link_in(tmp_path, "lent")
    message = refused(bpy.ops.mouldply.new_ply)
    assert "linked" in message
    assert "Make Local" in message


def link_in(folder, name):
    """Save the file, begin an empty one and link the object of this name into it."""
    file = folder / f"{name}.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    bpy.ops.wm.read_homefile(use_empty=True)
    with bpy.data.libraries.load(str(file), link=True) as (_, wanted):
        wanted.objects = [name]
    lent = bpy.data.objects[name]
    bpy.context.scene.collection.objects.link(lent)
    activate(lent)
    return lent


def test_a_linked_mould_without_its_cloth_says_where_to_add_it(tmp_path):
    """And once it is there, the ply lies flat though the mould itself is read only."""
    ply_on(grid("lent", cells=4))
    fabric = bpy.context.scene.mouldply.cloths[0].id
    link_in(tmp_path, "lent")
    message = refused(bpy.ops.mouldply.flatten)
    assert f"asks for cloth '{fabric}', which this file does not have" in message
    assert "add it under Cloth and Stock" in message

    bpy.ops.mouldply.add_cloth(cloth=fabric)
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    assert [t for t in bpy.data.objects if t.mouldply.piece.is_pattern]


def test_every_button_on_a_linked_mould_works_or_says_how(tmp_path):
    """Light, map, roll and files need no mesh of one's own; what would change it says so."""
    lent = ply_on(grid("lent", cells=4)).id_data
    for name in (".select_poly", ".select_edge", ".select_vert"):
        lent.data.attributes.remove(lent.data.attributes[name])
    fabric = bpy.context.scene.mouldply.cloths[0].id
    link_in(tmp_path, "lent")
    bpy.ops.mouldply.add_cloth(cloth=fabric)
    bpy.context.scene.mouldply.nest.seconds = 0
    bpy.ops.mouldply.export(directory=str(tmp_path / "cut"))
    assert (tmp_path / "cut" / "result.json").is_file()
    (home,) = [one for one in bpy.data.collections if one.mouldply.owner]
    finding = home.mouldply.findings.add()
    finding.faces = "0-1"
    number = len(home.mouldply.findings) - 1
    assert bpy.ops.mouldply.show_finding(number=number) == {"FINISHED"}
    assert bpy.ops.mouldply.show_roll() == {"FINISHED"}
    activate(bpy.data.objects["lent"])
    for name in ("shear_deg", "draft_deg", "NONE"):
        bpy.context.window_manager.mouldply_view.map = name
    assert bpy.ops.mouldply.select_ply() == {"FINISHED"}  # a selection is nobody's property
    for press in ("new_ply", "change_faces", "grow_faces", "fill_faces", "remove_ply",
                  "new_mould_part"):  # fmt: skip
        assert "linked" in refused(getattr(bpy.ops.mouldply, press)), press


def test_a_removed_cloth_is_asked_for_by_its_ply():
    ply_on(grid(cells=4))
    bpy.context.scene.mouldply.cloths.clear()
    assert "Choose the ply's cloth again" in refused(bpy.ops.mouldply.flatten)


def test_a_pattern_is_no_mould():
    ply_on(grid(cells=4))
    bpy.ops.mouldply.flatten(which="ACTIVE")
    pattern = next(t for t in bpy.data.objects if t.mouldply.piece.is_pattern)
    activate(pattern)
    select(pattern)
    assert "is a pattern of" in refused(bpy.ops.mouldply.new_ply)


def test_of_two_moulds_a_greyed_button_asks_for_one():
    """Not for a ply, which both have."""
    for name in ("left", "right"):
        ply_on(grid(name))
    bpy.context.view_layer.objects.active = None
    with pytest.raises(RuntimeError, match="There are several moulds"):
        bpy.ops.mouldply.flatten()


def test_two_moulds_need_a_selection():
    ply_on(grid("left", cells=4))
    ply_on(grid("right", cells=4))
    bpy.context.view_layer.objects.active = None
    assert bpy.ops.mouldply.flatten.poll() is False
    activate(bpy.data.objects["left"])
    assert bpy.ops.mouldply.flatten.poll() is True


def test_with_several_objects_in_edit_mode_only_the_active_one_is_meant():
    other, mould = grid("other", cells=4), grid("mould", cells=4)
    select(other), select(mould, [5])
    other.select_set(True)
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mouldply.new_ply()
    bpy.ops.object.mode_set(mode="OBJECT")
    assert not other.mouldply.is_mould
    assert region(mould, mould.mouldply.plies[0]) == [5]


def test_modifiers_that_lose_the_faces_are_named():
    mould = ply_on(grid(cells=4)).id_data
    mould.modifiers.new("again", "REMESH").voxel_size = 0.02
    message = refused(bpy.ops.mouldply.flatten)
    assert "lose the faces of ply 'A'" in message


def test_a_mesh_without_faces_is_refused():
    wire = mesh_object("wire", [[0, 0, 0], [1, 0, 0]], [])
    activate(wire)
    assert "No faces are selected" in refused(bpy.ops.mouldply.new_ply)


def test_a_scale_of_zero_is_refused():
    mould = ply_on(grid(cells=4)).id_data
    mould.scale = (1, 1, 0)
    bpy.context.view_layer.update()
    assert "scaled to nothing" in refused(bpy.ops.mouldply.flatten)


def test_a_mould_of_a_newer_mouldply_is_left_alone():
    mould = grid(cells=4)
    ply_on(mould)
    mould.mouldply.format = 99
    select(mould)
    for operator in (bpy.ops.mouldply.new_ply, bpy.ops.mouldply.flatten):
        words = refused(operator)
        assert "saved by a newer mouldply (format 99; this one knows 1). Update mouldply." in words
    assert (mould.mouldply.format, len(mould.mouldply.plies)) == (99, 1)


def test_uneven_scale_counts_as_it_is_seen(scene):
    """A sheet of 200 mm, twice as long and half as wide by its object's scale: 400 x 100 mm."""
    mould = grid(size=0.2, cells=4)
    mould.scale = (2.0, 0.5, 1.0)
    ply_on(mould)
    bpy.context.scene.mouldply.dressing.trim_mm = 0.0
    assert bpy.ops.mouldply.flatten(which="ALL") == {"FINISHED"}
    (piece,) = (t.mouldply.piece for t in bpy.data.objects if t.mouldply.piece.is_pattern)
    assert piece.net_area_mm2 == pytest.approx(400.0 * 100.0, rel=1e-4)  # corners are smoothed


def test_without_a_mouse_a_tack_point_and_a_cut_are_placed_by_numbers():
    """By script or from the search: the point goes to the nearest face, the cut along them."""
    mould = grid(size=0.2, cells=4)
    ply = ply_on(mould)
    assert bpy.ops.mouldply.place_tack(at=(0.03, 0.02, 0.5)) == {"FINISHED"}
    assert (ply.use_tack, tuple(ply.tack)) == (True, pytest.approx((0.03, 0.02, 0.0)))
    points = "[[0.1, 0.0, 0.2], [0.05, 0.0, 0.2]]"
    assert bpy.ops.mouldply.draw_cut(points=points) == {"FINISHED"}
    (curve,) = (child for child in mould.children if child.mouldply.cut.is_cut)
    places = [tuple(point.co)[:3] for point in curve.data.splines[0].points]
    assert places == [pytest.approx((0.1, 0.0, 0.0)), pytest.approx((0.05, 0.0, 0.0))]
    assert "needs two points" in refused(bpy.ops.mouldply.draw_cut, points="[[0, 0, 0]]")


def test_faces_of_an_error_get_selected():
    """Two islands: the smaller one's faces are selected."""
    mould = ply_on(grid(cells=4), faces=[0, 1, 4, 5, 15]).id_data
    assert "pieces" in refused(bpy.ops.mouldply.flatten, which="ACTIVE")
    chosen = np.zeros(16, bool)
    mould.data.polygons.foreach_get("select", chosen)
    assert np.flatnonzero(chosen).tolist() == [15]


def test_two_plies_of_a_duplicated_mould_stay_apart():
    mould = ply_on(grid(cells=4), faces=[0, 1]).id_data
    bpy.ops.object.duplicate()
    twin = bpy.context.object
    assert twin.data is not mould.data
    select(twin, [2])
    bpy.ops.mouldply.change_faces(how="ADD")
    assert region(mould, mould.mouldply.plies[0]) == [0, 1]
    assert len(job_of(twin).plies[0].faces) == 6
