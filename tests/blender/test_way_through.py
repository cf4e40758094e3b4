"""New Ply, Flatten, Nest, Write Files: the whole way without a window."""

import bpy
import numpy as np
import pytest
from numpy.testing import assert_allclose

from .making import activate, grid, ply_on


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
