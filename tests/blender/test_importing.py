"""Moulds from files: true size whatever the unit, welded, on the grid."""

import struct
import zipfile

import bpy
import numpy as np
import pytest
from numpy.testing import assert_allclose

from addon import bridge

from .making import select

CORNERS = np.array(
    [[0, 0, 0], [100, 0, 0], [100, 60, 0], [0, 60, 0], [0, 0, 30], [100, 0, 30], [100, 60, 30],
     [0, 60, 30]], float,
)  # fmt: skip
BOX = [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5],
       [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]  # fmt: skip


def write_stl(file, corners=CORNERS, faces=BOX):
    triangles = corners[np.array(faces)]
    rows = b"".join(struct.pack("<12fH", 0, 0, 0, *t.ravel(), 0) for t in triangles)
    file.write_bytes(b" " * 80 + struct.pack("<I", len(triangles)) + rows)
    return str(file)


def size_mm(thing):
    matrix = np.array(thing.matrix_world)[:3, :3]
    points = np.array([v.co[:] for v in thing.data.vertices]) @ matrix.T
    return np.ptp(points, axis=0) * bridge.mm_per_unit(bpy.context.scene)


@pytest.mark.parametrize(("unit", "mm"), [("MM", 1.0), ("CM", 10.0), ("M", 1000.0), ("IN", 25.4)])
@pytest.mark.parametrize("scale_length", [1.0, 0.001])
def test_an_stl_comes_in_at_its_true_size(tmp_path, scene, unit, mm, scale_length):
    scene.unit_settings.scale_length = scale_length
    file = write_stl(tmp_path / "box.stl")
    assert bpy.ops.mouldply.import_mould(filepath=file, unit=unit) == {"FINISHED"}

    box = bpy.context.object
    assert_allclose(size_mm(box), mm * np.array([100, 60, 30]), rtol=1e-5)
    assert scene.unit_settings.length_unit == "MILLIMETERS"
    points = np.array([v.co[:] for v in box.data.vertices])
    assert_allclose(points.min(axis=0) + points.max(axis=0), [0, 0, points[:, 2].max()], atol=1e-4)


def test_an_stl_is_welded_and_its_sharp_edges_are_marked(tmp_path):
    bpy.ops.mouldply.import_mould(filepath=write_stl(tmp_path / "box.stl"))
    mesh = bpy.context.object.data

    assert len(mesh.vertices) == 8
    sharp = np.zeros(len(mesh.edges), bool)
    mesh.edges.foreach_get("use_edge_sharp", sharp)
    assert sharp.sum() == 12  # the diagonals of the sides are not


def test_obj_and_ply_come_in(tmp_path):
    text = "".join(f"v {x} {y} {z}\n" for x, y, z in CORNERS)
    (tmp_path / "box.obj").write_text(
        text + "".join(f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in BOX)
    )
    bpy.ops.mouldply.import_mould(filepath=str(tmp_path / "box.obj"))
    assert sorted(size_mm(bpy.context.object).round(2)) == [30, 60, 100]

    head = "ply\nformat ascii 1.0\nelement vertex 8\nproperty float x\nproperty float y\n"
    head += (
        "property float z\nelement face 12\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = "".join(f"{x} {y} {z}\n" for x, y, z in CORNERS)
    rows += "".join(f"3 {a} {b} {c}\n" for a, b, c in BOX)
    (tmp_path / "box.ply").write_text(head + rows)
    bpy.ops.mouldply.import_mould(filepath=str(tmp_path / "box.ply"))
    assert_allclose(size_mm(bpy.context.object), [100, 60, 30], rtol=1e-5)


def write_3mf(
    file, *, unit="inch", head="", items='<item objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>'
):
    vertices = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in CORNERS)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in BOX)
    space = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    model = (
        f'{head}<model unit="{unit}" xmlns="{space}"><resources><object id="1" type="model"><mesh>'
        f"<vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh></object>"
        f"</resources><build>{items}</build></model>"
    )
    with zipfile.ZipFile(file, "w") as packed:
        packed.writestr("3D/3dmodel.model", model)
    return str(file)


def test_a_3mf_knows_its_own_unit(tmp_path):
    """The file says inch; the choice of the dialog does not matter, nor does the shift."""
    bpy.ops.mouldply.import_mould(filepath=write_3mf(tmp_path / "box.3mf"), unit="MM")
    assert_allclose(size_mm(bpy.context.object), 25.4 * np.array([100, 60, 30]), rtol=1e-5)


def refused(**options):
    with pytest.raises(RuntimeError) as caught:
        bpy.ops.mouldply.import_mould(**options)
    return str(caught.value)


def test_files_that_are_no_moulds_are_named(tmp_path):
    assert "There is no file" in refused(filepath=str(tmp_path / "no.stl"))
    (tmp_path / "text.txt").write_text("hello")
    assert "no moulds" in refused(filepath=str(tmp_path / "text.txt"))
    (tmp_path / "bad.3mf").write_text("hello")
    assert "not a 3MF" in refused(filepath=str(tmp_path / "bad.3mf"))
    write_3mf(tmp_path / "dtd.3mf", head='<!DOCTYPE a [<!ENTITY b "c">]>')
    assert "document type" in refused(filepath=str(tmp_path / "dtd.3mf"))
    write_3mf(tmp_path / "empty.3mf", items="")
    assert "no triangles" in refused(filepath=str(tmp_path / "empty.3mf"))
    assert "no faces" in refused(
        filepath=write_stl(tmp_path / "none.stl", faces=np.zeros((0, 3), int))
    )


def test_a_mould_in_the_wrong_unit_is_scaled_with_its_tack_points(tmp_path, scene):
    bpy.ops.mouldply.import_mould(filepath=write_stl(tmp_path / "box.stl"), unit="M")
    mould = bpy.context.object
    select(mould)
    bpy.ops.mouldply.new_ply()
    ply = mould.mouldply.plies[0]
    ply.use_tack, ply.tack = True, (10, 0, 0)
    bpy.ops.mouldply.rescale(factor=0.001)

    assert_allclose(size_mm(mould), [100, 60, 30], rtol=1e-5)
    assert tuple(ply.tack) == pytest.approx((0.01, 0, 0))
