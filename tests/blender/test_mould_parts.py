"""Parts of a split mould: faces and pull go into the job, and come off one by one."""

import bpy
import numpy as np
from mathutils import Euler
from numpy.testing import assert_allclose

from addon import scene_job

from .making import grid, ply_on, select


def job_of(mould):
    context = bpy.context
    return scene_job.read_job(mould, context.scene, context.evaluated_depsgraph_get())


def test_parts_reach_the_job_with_their_pull():
    mould = ply_on(grid(size=0.2, cells=4)).id_data
    select(mould, range(8))
    assert bpy.ops.mouldply.new_mould_part(name="left half") == {"FINISHED"}
    select(mould, range(8, 16))
    bpy.ops.mouldply.new_mould_part()
    second = mould.mouldply.parts[1]
    second.pull_by, second.pull = "given", (1.0, 0.0, 1.0)

    left, right = job_of(mould).parts

    assert (left.name, right.name) == ("left half", "Part 2")
    assert len(left.faces) == len(right.faces) == 16  # triangles of eight quads each
    assert left.pull == "auto"
    assert_allclose(np.array(right.pull) / np.linalg.norm(right.pull), [0.5**0.5, 0, 0.5**0.5])


def test_a_face_belongs_to_the_part_it_was_given_last():
    mould = ply_on(grid(size=0.2, cells=4)).id_data
    for faces in (range(8), range(4, 12)):
        select(mould, faces)
        bpy.ops.mouldply.new_mould_part()

    first, second = job_of(mould).parts

    assert not set(first.faces.tolist()) & set(second.faces.tolist())
    assert (len(first.faces), len(second.faces)) == (8, 16)


def test_a_removed_part_leaves_nothing_behind():
    mould = ply_on(grid(size=0.2, cells=4)).id_data
    select(mould, range(8))
    bpy.ops.mouldply.new_mould_part()
    before = len(mould.data.attributes)

    bpy.ops.mouldply.remove_mould_part(part=mould.mouldply.parts[0].id)

    assert job_of(mould).parts == ()
    assert len(mould.data.attributes) == before - 1


def view_3d():
    """Return a 3D view of the window, as a person has it."""
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    return {"window": window, "area": area, "region": area.regions[-1]}


def test_the_way_one_looks_is_the_pull():
    """From the right (numpad 3) a part comes off along +X; obliquely, along the line of sight."""
    mould = ply_on(grid(size=0.2, cells=4)).id_data
    own, place = mould.mouldply, view_3d()
    select(mould, range(8))
    bpy.ops.mouldply.new_mould_part(name="left half")
    view = place["area"].spaces.active.region_3d
    with bpy.context.temp_override(**place):
        view.view_rotation = (0.5, 0.5, 0.5, 0.5)
        assert bpy.ops.mouldply.pull_from_view() == {"FINISHED"}
        view.view_rotation = Euler((np.radians(60), 0, 0)).to_quaternion()
        assert bpy.ops.mouldply.pull_from_view(part=own.parts[0].id) == {"FINISHED"}

    assert (own.pull_by, tuple(own.pull)) == ("given", (1.0, 0.0, 0.0))
    assert own.parts[0].pull_by == "given"
    assert_allclose(own.parts[0].pull, [0, -np.sin(np.radians(60)), 0.5], atol=1e-5)
    assert_allclose(job_of(mould).parts[0].pull, own.parts[0].pull, atol=1e-6)
