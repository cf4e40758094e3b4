"""Maps: right values on the right faces, colours even to the eye."""

import bpy
import numpy as np
import pytest
from numpy.testing import assert_allclose

from addon import colours, maps

from .making import grid, ply_on


def test_colours_are_a_straight_even_line_in_cielab():
    """sRGB to CIELAB by IEC 61966-2-1 and CIE 15, D65; steps differ by less than 5 %."""
    srgb = np.array(colours.SCALE)
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    xyz = linear @ np.transpose(to_xyz) / [0.9505, 1.0, 1.089]
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    lab = np.column_stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])]
    )
    step = np.diff(lab, axis=0)

    assert (np.diff(lab[:, 0]) > 7).all()  # ever lighter: readable in black and white
    assert np.linalg.norm(step, axis=1).std() < 0.05 * np.linalg.norm(step, axis=1).mean()


def test_no_value_is_grey_and_ends_are_the_scale_s():
    shown = colours.colours_of(np.array([0.0, 1.0, np.nan, 9.0]), 0.0, 1.0)
    assert_allclose(shown[0, :3], colours.SCALE[0])
    assert_allclose(shown[1, :3], colours.SCALE[-1])
    assert_allclose(shown[2, :3], colours.UNKNOWN)
    assert_allclose(shown[3, :3], colours.SCALE[-1])


def test_draft_of_a_bump_is_known_on_its_faces(scene):
    """A flat sheet pulled straight up: 90 degrees of draft everywhere."""
    mould = ply_on(grid(size=0.2)).id_data
    mould.mouldply.pull_by, mould.mouldply.pull = "given", (0, 0, 1)
    bpy.ops.mouldply.flatten()

    assert_allclose(maps.values_of(mould, "draft_deg"), 90, atol=1e-3)
    # three plies' fibre over its share of the volume: t = m / (rho Vf), ASTM D3171
    cloth = scene.mouldply.cloths[0]
    expected = cloth.areal_weight_gsm / 1000 / cloth.fibre_density_g_cm3 / 0.35
    assert_allclose(maps.values_of(mould, "thickness_mm"), expected, rtol=1e-4)


def test_showing_a_map_writes_corner_colours_and_none_leaves_the_mesh_alone():
    mould = ply_on(grid(size=0.2, cells=4, height=0.05), faces=range(8)).id_data
    bpy.ops.mouldply.flatten(which="ACTIVE")
    bpy.context.view_layer.objects.active = mould
    view = bpy.context.window_manager.mouldply_view
    view.map = "shear_deg"
    found = np.empty(64 * 4, np.float32)
    mould.data.attributes["mouldply_map"].data.foreach_get("color_srgb", found)
    found = found.reshape(-1, 4)

    assert_allclose(found[32:, :3], np.broadcast_to(colours.UNKNOWN, (32, 3)), atol=0.01)
    assert maps.MEMORY.shown.unit == "°"
    assert maps.MEMORY.shown.limits == (40.0, 50.0)
    view.map = "NONE"
    assert maps.MEMORY.shown is None


def test_with_modifiers_values_land_on_the_mould_s_own_faces():
    mould = ply_on(grid(size=0.2, cells=4)).id_data
    mould.modifiers.new("finer", "SUBSURF").levels = 2
    mould.mouldply.pull_by, mould.mouldply.pull = "given", (0, 0, 1)
    bpy.ops.mouldply.flatten()

    values = maps.values_of(mould, "draft_deg")
    assert values.shape == (16,)
    assert_allclose(values, 90, atol=1e-2)


def test_a_map_that_was_never_worked_out_says_so():
    mould = ply_on(grid(cells=4)).id_data
    bpy.context.view_layer.objects.active = mould
    maps.show_map(bpy.context, "wall_mm")
    assert np.isnan(maps.MEMORY.shown.low)
    maps.show_map(bpy.context, "NONE")


@pytest.mark.parametrize("numbers", [[], [4], [1, 2, 3], [9, 1, 2, 7, 8]])
def test_face_numbers_survive_as_ranges(numbers):
    from addon.apply import numbers_of, ranges_of

    assert numbers_of(ranges_of(numbers)) == sorted(numbers)
