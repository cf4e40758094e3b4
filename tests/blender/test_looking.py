"""Where a finding is looked at: the box round the selected faces, in the world."""

import bpy
import numpy as np
import pytest

from addon.operators.checks import _corners

from .making import grid, select


@pytest.mark.parametrize("mode", ["OBJECT", "EDIT"])
def test_the_box_is_round_the_selected_faces_wherever_the_mould_stands(mode):
    """One face of 8 x 8 on 200 mm, its object moved and scaled: 25 mm times the scale wide."""
    mould = grid(size=0.2, cells=8)
    mould.location, mould.scale = (1.0, 2.0, 3.0), (2.0, 1.0, 1.0)
    bpy.context.view_layer.update()
    select(mould, faces=[0])
    if mode == "EDIT":
        bpy.ops.object.mode_set(mode="EDIT")
    corners = np.array(_corners(mould))
    bpy.ops.object.mode_set(mode="OBJECT")
    assert corners.min(axis=0) == pytest.approx([1.0 - 0.2, 2.0 - 0.1, 3.0], abs=1e-6)
    assert corners.max(axis=0) == pytest.approx([1.0 - 0.15, 2.0 - 0.075, 3.0], abs=1e-6)


def test_nothing_selected_is_nowhere():
    mould = grid(cells=2)
    select(mould, faces=[])
    assert _corners(mould) == []
