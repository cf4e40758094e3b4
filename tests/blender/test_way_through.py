"""New Ply, Flatten, Nest, Write Files: the whole way without a window."""

import bpy
import numpy as np
import pytest
from numpy.testing import assert_allclose

from .making import activate, grid, job_of, ply_on


def pieces():
    return [thing for thing in bpy.data.objects if thing.mouldply.piece.is_pattern]


def test_a_flat_sheet_flattens_to_itself(scene):
    """A plane is its own pattern: same size, no shear, areas equal."""
    mould = ply_on(grid(size=0.2)).id_data
    assert bpy.ops.mouldply.flatten(which="ACTIVE") == {"FINISHED"}

    (piece,) = pieces()
    size = np.ptp([v.co[:] for v in piece.data.vertices], axis=0) * 1000
    assert_allclose(size, [200, 200, 0], atol=1e-3)
    assert piece.mouldply.piece.net_area_mm2 == pytest.approx(200 * 200, rel=1e-5)
    assert piece.mouldply.piece.max_shear_deg == pytest.approx(0, abs=1e-3)
    assert piece.mouldply.owner == mould
    assert piece.users_collection[0].mouldply.owner == mould


def test_flatten_again_replaces_the_patterns():
    ply_on(grid(size=0.2))
    bpy.ops.mouldply.flatten(which="ACTIVE")
    before = len(bpy.data.objects), len(bpy.data.meshes)
    bpy.ops.mouldply.flatten(which="ACTIVE")

    assert (len(bpy.data.objects), len(bpy.data.meshes)) == before


def test_the_whole_way_writes_files(tmp_path):
    mould = ply_on(grid(size=0.2, height=0.03), angle_deg=45).id_data
    ply_on(mould, faces=range(32))
    mould.mouldply.owner  # noqa: B018
    bpy.context.scene.mouldply.nest.seconds = 0
    assert bpy.ops.mouldply.flatten() == {"FINISHED"}
    activate(mould)
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    assert bpy.ops.mouldply.export(directory=str(tmp_path)) == {"FINISHED"}

    names = {file.name for file in tmp_path.iterdir()}
    assert {"patterns.dxf", "roll.dxf", "templates.pdf", "layup.pdf", "result.json"} <= names
    assert len(pieces()) == 2


def test_files_that_are_older_than_the_patterns_are_to_be_written_again(tmp_path):
    from addon.panels.bench import next_step

    mould = ply_on(grid(size=0.2)).id_data
    bpy.context.scene.mouldply.nest.seconds = 0
    bpy.ops.mouldply.export(directory=str(tmp_path))
    activate(mould)
    assert next_step(bpy.context)[0].startswith("All is written")
    bpy.ops.mouldply.copy_ply(turn=0.5)
    for press in (bpy.ops.mouldply.flatten, bpy.ops.mouldply.nest):
        press()
        activate(mould)
    text, button, _ = next_step(bpy.context)
    assert (text.split()[:4], button) == (["The", "files", "are", "older"], "mouldply.export")
    bpy.ops.mouldply.export(directory=str(tmp_path))
    activate(mould)
    assert next_step(bpy.context)[0].startswith("All is written")


@pytest.mark.parametrize("mode", ["OBJECT", "EDIT"])
def test_a_new_rosette_is_selected_so_that_r_turns_it_and_the_angles_follow(mode):
    mould = ply_on(grid(size=0.2)).id_data
    bpy.ops.object.mode_set(mode=mode)
    bpy.ops.mouldply.add_rosette()
    rosette = mould.mouldply.rosette
    assert bpy.context.object == rosette
    assert mould.mode == "OBJECT"  # else R would turn its points
    assert bpy.context.selected_objects == [rosette]
    rosette.rotation_mode = "XYZ"
    rosette.rotation_euler.z += np.pi / 6
    bpy.context.view_layer.update()
    zero = job_of(mould).rosette.zero  # X of arrows turned by 30 degrees about Z
    assert_allclose(zero, [np.sqrt(3) / 2, 0.5, 0.0], atol=1e-6)


def test_the_button_selects_a_rosette_that_is_there():
    mould = ply_on(grid(size=0.2)).id_data
    bpy.ops.mouldply.add_rosette()
    rosette = mould.mouldply.rosette
    activate(mould)
    bpy.ops.mouldply.add_rosette()
    assert mould.mouldply.rosette == rosette == bpy.context.object
    assert len([t for t in bpy.data.objects if t.type == "EMPTY"]) == 1
