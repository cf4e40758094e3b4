"""Faces beside each other: the same as the engine finds by other means, on triangles; seams too."""

import bmesh
import bpy
import numpy as np
import pytest

from addon import bridge, mesh_data
from addon.neighbours import Neighbours
from flatten.surface import region as engine_regions
from flatten.surface.mesh import MouldMesh

from .making import activate, grid, ply_on


@pytest.fixture
def bowl():
    """A ball of triangles with steps in its curvature, scaled unevenly, open at one place."""
    bpy.ops.mesh.primitive_uv_sphere_add(segments=14, ring_count=9, radius=0.1)
    ball = bpy.context.object
    ball.scale = (1.0, 0.4, 1.7)
    work = bmesh.new()
    work.from_mesh(ball.data)
    bmesh.ops.triangulate(work, faces=work.faces)
    work.faces.ensure_lookup_table()
    bmesh.ops.delete(work, geom=[work.faces[3], work.faces[40]], context="FACES_ONLY")
    work.to_mesh(ball.data)
    work.free()
    bpy.context.view_layer.update()
    return ball


def engine_mesh(thing):
    points = mesh_data.values_of(thing.data, "position", np.float32, 3)
    triangles, _ = mesh_data.triangles_of(thing.data, mirrored=False)
    return MouldMesh(bridge.points_to_mm(thing, bpy.context.scene, points), triangles)


def chosen(thing, *faces):
    region = np.zeros(len(thing.data.polygons), bool)
    region[list(faces)] = True
    return region


def grown(mesh, inside, rows):
    """Faces that share an edge with one inside join it, `rows` times."""
    inside, pairs = inside.copy(), mesh.edges.faces[mesh.edges.count == 2]
    for _ in range(rows):
        inside[pairs[inside[pairs].any(axis=1)]] = True
    return inside


def shrunk(mesh, inside, rows):
    """Faces on the rim, or at an edge of the mould, leave, `rows` times."""
    inside, edges = inside.copy(), mesh.edges
    for _ in range(rows):
        rim = (edges.count == 1) | (inside[edges.faces].sum(axis=1) == 1)
        inside &= ~rim[edges.of_face].any(axis=1)
    return inside


@pytest.mark.parametrize("rows", [1, 2, 5])
def test_rows_grow_and_shrink_over_the_edges_faces_share(bowl, rows):
    mesh, beside = engine_mesh(bowl), Neighbours(bowl.data)
    start = chosen(bowl, 10, 60)
    assert beside.grown(start, rows).tolist() == grown(mesh, start, rows).tolist()
    wide = grown(mesh, start, 6)
    assert beside.shrunk(wide, rows).tolist() == shrunk(mesh, wide, rows).tolist()


@pytest.mark.parametrize("angle_deg", [10, 25, 40, 90])
def test_edges_are_as_sharp_as_the_engine_finds_them_in_the_world(bowl, angle_deg):
    mesh, beside = engine_mesh(bowl), Neighbours(bowl.data)
    for face in (0, 50, 120):
        wanted = engine_regions.grow_to_sharp_edges(mesh, face, angle_deg)
        found = beside.filled(chosen(bowl, face), np.radians(angle_deg), bowl.matrix_world)
        assert np.flatnonzero(found).tolist() == wanted.tolist()


def test_filling_stops_at_a_seam():
    """A flat sheet of 6 x 6 with a seam right across it: the half the ply lies in is filled."""
    sheet = grid(cells=6)
    bpy.ops.object.mode_set(mode="EDIT")
    work = bmesh.from_edit_mesh(sheet.data)
    for edge in work.edges:
        edge.seam = all(abs(vertex.co.x) < 1e-6 for vertex in edge.verts)
    bmesh.update_edit_mesh(sheet.data)
    bpy.ops.object.mode_set(mode="OBJECT")
    ply = ply_on(sheet, faces=[0])
    bpy.ops.mouldply.fill_faces()
    faces = mesh_data.face_values(sheet.data, mesh_data.region_attribute(ply.id))
    left = np.array([polygon.center.x < 0 for polygon in sheet.data.polygons])
    assert (faces == left).all()


def test_a_ply_is_not_shrunk_to_nothing():
    ply_on(grid(cells=2))
    activate(bpy.context.object)
    with pytest.raises(RuntimeError, match=r"would have no faces left\. Shrink it by less"):
        bpy.ops.mouldply.grow_faces(by=-1)
