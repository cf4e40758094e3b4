"""Resins and printers kept under a name come back in another file."""

from pathlib import Path

import bpy
import pytest


@pytest.fixture(autouse=True)
def menus_keep_their_label():
    """Blender writes the chosen preset's name on the menu's class."""
    kinds = [bpy.types.MOULDPLY_PT_resin_presets, bpy.types.MOULDPLY_PT_printer_presets]
    labels = [kind.bl_label for kind in kinds]
    yield
    for kind, label in zip(kinds, labels, strict=True):
        kind.bl_label = label


def test_a_resin_comes_back_in_another_file():
    laminate = bpy.context.scene.mouldply.laminate
    laminate.mix_hardener, laminate.pot_life_min = 27.0, 45.0
    assert bpy.ops.mouldply.keep_resin(name="Slow one") == {"FINISHED"}
    bpy.ops.wm.read_homefile(use_empty=True)
    (folder,) = bpy.utils.preset_paths("mouldply/resin")
    (file,) = Path(folder).glob("*.py")
    bpy.ops.script.execute_preset(filepath=str(file), menu_idname="MOULDPLY_PT_resin_presets")

    laminate = bpy.context.scene.mouldply.laminate
    assert laminate.mix_hardener == pytest.approx(27)
    assert laminate.pot_life_min == pytest.approx(45)


def test_a_printer_keeps_its_scale():
    bpy.context.scene.mouldply.paper.scale_x = 0.993
    assert bpy.ops.mouldply.keep_printer(name="Shed printer") == {"FINISHED"}
    bpy.ops.wm.read_homefile(use_empty=True)
    (folder,) = bpy.utils.preset_paths("mouldply/printer")
    (file,) = Path(folder).glob("*.py")
    bpy.ops.script.execute_preset(filepath=str(file), menu_idname="MOULDPLY_PT_printer_presets")
    assert bpy.context.scene.mouldply.paper.scale_x == pytest.approx(0.993)
