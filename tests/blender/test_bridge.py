"""Blender's data to mm: matrices, mirroring, unit scale, modifiers, seams."""

import bpy
import numpy as np
import pytest
from numpy.testing import assert_allclose

from addon import bridge, mesh_data

from .making import grid, job_of, mesh_object, ply_on


def test_a_metre_is_a_thousand_mm_and_normals_look_up():
    job = job_of(ply_on(grid(size=0.2)).id_data)

    assert_allclose(np.ptp(job.mould.vertices, axis=0), [200, 200, 0], rtol=1e-6)
    assert job.mould.areas.sum() == pytest.approx(200 * 200, rel=1e-6)
    assert_allclose(job.mould.normals[:, 2], 1)


def test_the_scene_unit_scale_counts(scene):
    scene.unit_settings.scale_length = 0.001
    job = job_of(ply_on(grid(size=200)).id_data)

    assert_allclose(np.ptp(job.mould.vertices, axis=0), [200, 200, 0], rtol=1e-6)


@pytest.mark.parametrize("scale", [(-1, 1, 1), (1, -1, 1), (-1, -1, -1), (-2, 1, 3)])
def test_a_mirrored_mould_keeps_its_lay_up_side(scale):
    """Blender shows a mirrored object's faces the same way round; so must the job."""
    mould = ply_on(grid(size=0.2, height=0.05)).id_data
    mould.scale = scale
    bpy.context.view_layer.update()
    job = job_of(mould)

    up = np.sign(scale[2])
    assert (np.sign(job.mould.normals[:, 2]) == up).all()
    assert_allclose(np.ptp(job.mould.vertices[:, 0]), 200 * abs(scale[0]), rtol=1e-6)


def test_modifiers_are_applied_and_regions_survive_them():
    mould = ply_on(grid(cells=4), faces=range(8)).id_data
    mould.modifiers.new("finer", "SUBSURF").levels = 2
    job = job_of(mould)

    assert len(job.mould.faces) == 16 * 16 * 2
    assert len(job.plies[0].faces) == 8 * 16 * 2


def test_seams_are_vertex_pairs_of_the_mould():
    mould = ply_on(grid(cells=4)).id_data
    mould.data.edges[5].use_seam = True
    job = job_of(mould)

    assert sorted(job.seams[0].tolist()) == sorted(mould.data.edges[5].vertices)


def test_polygons_say_where_each_triangle_came_from():
    job = job_of(ply_on(grid(cells=4)).id_data)

    assert np.bincount(job.polygons).tolist() == [2] * 16


def test_points_go_to_mm_and_back(scene):
    from addon import bridge

    mould = grid()
    mould.location, mould.rotation_euler, mould.scale = (1, 2, 3), (0.3, 0.2, 0.1), (1, -2, 0.5)
    bpy.context.view_layer.update()
    points = np.random.default_rng(1).normal(size=(20, 3))

    there = bridge.points_to_mm(mould, scene, points)
    assert_allclose(bridge.points_from_mm(mould, scene, there), points, atol=1e-6)
    assert_allclose(
        there[0],
        np.array(mould.matrix_world @ mould.data.vertices[0].co.__class__(points[0])) * 1000,
        rtol=1e-5,
    )


def test_edit_mode_is_read_as_it_stands():
    mould = ply_on(grid(cells=4), faces=range(4)).id_data
    bpy.ops.object.mode_set(mode="EDIT")
    job = job_of(mould)

    assert len(job.plies[0].faces) == 8
    assert mould.mode == "EDIT"


def test_quads_are_parted_as_blender_parts_them():
    """Rough and hollow quads too, against Blender's own list: the same triangles in its order."""
    sheet = grid(cells=30)
    points = np.empty((len(sheet.data.vertices), 3), np.float32)
    sheet.data.attributes["position"].data.foreach_get("vector", points.ravel())
    points += np.random.default_rng(5).normal(0, 0.004, points.shape).astype(np.float32)
    sheet.data.attributes["position"].data.foreach_set("vector", points.ravel())
    sheet.data.update()
    sheet.data.calc_loop_triangles()
    wanted = [tuple(triangle.vertices) for triangle in sheet.data.loop_triangles]

    triangles, polygons = mesh_data.triangles_of(sheet.data, mirrored=False)

    assert triangles.tolist() == [list(t) for t in wanted]
    assert polygons.tolist() == [t.polygon_index for t in sheet.data.loop_triangles]
    plain = [list(p.vertices[:3]) for p in sheet.data.polygons]
    assert plain != triangles[::2].tolist()  # some are parted along the other diagonal


FIVE = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (2, 0, 0), (2.5, 1, 0), (1.5, 2, 0)]


def split(thing):
    """Part every polygon of a mesh into triangles for good."""
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.mesh.quads_convert_to_tris()
    bpy.ops.object.mode_set(mode="OBJECT")
    return thing


@pytest.mark.parametrize(
    "make",
    [
        lambda: grid(cells=6),
        lambda: split(grid(cells=6)),
        lambda: mesh_object("mixed", FIVE, [(0, 1, 2), (1, 3, 4, 5, 2)]),
    ],
    ids=["quads", "triangles", "mixed"],
)
def test_polygons_under_triangles_are_those_of_blender_s_list(make):
    thing = make()
    thing.data.calc_loop_triangles()
    below = [triangle.polygon_index for triangle in thing.data.loop_triangles]
    faces = mesh_data.take_faces(thing.data)
    chosen = np.array([len(below) - 1, 0, 2])

    assert faces.triangle_count == len(below)
    assert faces.under(chosen).tolist() == [below[t] for t in chosen]


def test_under_a_modifier_the_polygon_below_is_selected():
    """Each quad becomes four: triangles 8 to 15 of the job are polygon 1, those beyond are none."""
    sheet = grid(cells=4)
    divided = sheet.modifiers.new("divided", "SUBSURF")
    divided.subdivision_type, divided.levels = "SIMPLE", 1

    assert bridge.source_polygons(sheet, bpy.context, [8, 9, 15, 10_000]).tolist() == [1]


def test_faces_of_three_four_and_five_corners_are_parted_by_blender():
    """A triangle and a pentagon have as many corners as two quads."""
    mesh = mesh_object(
        "mixed", [(0, 0, 0), (1, 0, 0), (0, 1, 0), (2, 0, 0), (2.5, 1, 0), (1.5, 2, 0)],
        [(0, 1, 2), (1, 3, 4, 5, 2)],
    ).data  # fmt: skip
    triangles, polygons = mesh_data.triangles_of(mesh, mirrored=False)

    assert polygons.tolist() == [0, 1, 1, 1]
    assert sorted({v for t in triangles[1:].tolist() for v in t}) == [1, 2, 3, 4, 5]
