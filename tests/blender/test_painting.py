"""Painting faces on and off a ply: what the brush touches, and the region it leaves."""

import bpy
import numpy as np
import pytest

from addon import brush, mesh_data

from .making import grid, ply_on
from .test_plies import region

CELL = 0.025  # of the 0.2 wide sheet of 8 x 8 cells


def touched(thing, place, normal, radius, under):
    found = brush.Faces(thing.data).touched(place, normal, radius, under)
    return set(np.flatnonzero(found).tolist())


def test_a_brush_touches_the_faces_whose_middles_it_covers():
    """From the middle of cell (3, 3): its four neighbours are one cell off, diagonals 1.41."""
    sheet = grid(cells=8)
    middle = sheet.data.polygons[27].center

    assert touched(sheet, middle, (0, 0, 1), 1.01 * CELL, 27) == {27, 26, 28, 19, 35}
    assert touched(sheet, middle, (0, 0, 1), 1.42 * CELL, 27) == {
        18, 19, 20, 26, 27, 28, 34, 35, 36,
    }  # fmt: skip


def test_a_brush_smaller_than_a_face_touches_the_one_under_the_mouse():
    sheet = grid(cells=8)
    corner = sheet.data.vertices[sheet.data.polygons[27].vertices[0]].co

    assert touched(sheet, corner, (0, 0, 1), 0.1 * CELL, 27) == {27}


def test_round_a_corner_is_painted_the_far_side_of_a_wall_is_not():
    """A cube of 2 mm: the brush reaches everything, but not the face that looks away."""
    bpy.ops.mesh.primitive_cube_add(size=0.002)
    cube = bpy.context.object
    faces = brush.Faces(cube.data)
    top = int(faces.normals[:, 2].argmax())
    below = int(faces.normals[:, 2].argmin())

    found = touched(cube, (0, 0, 0.001), (0, 0, 1), 0.1, top)

    assert found == set(range(6)) - {below}


def test_hidden_faces_are_not_painted():
    sheet = grid(cells=8)
    sheet.data.polygons[27].hide = sheet.data.polygons[28].hide = True
    middle = sheet.data.polygons[27].center

    assert touched(sheet, middle, (0, 0, 1), 1.01 * CELL, 27) == {26, 19, 35}


def test_the_nearest_face_stands_for_one_that_modifiers_made():
    sheet = grid(cells=8)
    place = sheet.data.polygons[41].center + sheet.data.polygons[41].normal * 0.001

    assert brush.Faces(sheet.data).nearest(place) == 41


@pytest.mark.parametrize("mode", ["OBJECT", "EDIT"])
def test_faces_are_painted_on_and_off_by_number(mode):
    mould = grid(cells=4)
    ply = ply_on(mould, faces=[5])
    bpy.ops.object.mode_set(mode=mode)

    bpy.ops.mouldply.paint_faces(faces="6-8,12")
    bpy.ops.mouldply.paint_faces(faces="5,7", off=True)

    assert mould.mode == mode
    bpy.ops.object.mode_set(mode="OBJECT")
    attribute = mould.data.attributes[mesh_data.region_attribute(ply.id)]
    assert (attribute.domain, attribute.data_type) == ("FACE", "BOOLEAN")
    assert region(mould, ply) == [6, 8, 12]


def test_painting_is_one_undo_step():
    mould = grid(cells=4)
    ply_on(mould, faces=[5])
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.mouldply.paint_faces("EXEC_DEFAULT", True, faces="0-3")
    bpy.ops.ed.undo()

    mould = bpy.data.objects["tile"]
    assert region(mould, mould.mouldply.plies[0]) == [5]


@pytest.mark.parametrize(
    ("faces", "off", "words"),
    [
        ("3,999", False, "Face 999 is not on 'tile', which has 16. Name faces of the mould."),
        ("three", False, "The faces 'three' cannot be read. Write numbers such as 3-17,40."),
        ("5", True, "Ply 'A' would have no faces left. Remove the ply instead."),
    ],
)
def test_what_cannot_be_painted_is_said(faces, off, words):
    mould = grid(cells=4)
    ply = ply_on(mould, faces=[5])
    with pytest.raises(RuntimeError, match=words.replace(".", r"\.")):
        bpy.ops.mouldply.paint_faces(faces=faces, off=off)
    assert region(mould, ply) == [5]
