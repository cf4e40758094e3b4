"""Presets by Blender's own means: resins and printers, kept in the user's scripts folder."""

import bpy
from bl_operators.presets import AddPresetBase

RESIN = (
    "process", "resin_density_g_cm3", "mix_by", "mix_resin", "mix_hardener", "pot_life_min",
    "pot_life_at_c", "pot_limit_g", "use_liquid_resin_density_g_cm3", "liquid_resin_density_g_cm3",
    "use_hardener_density_g_cm3", "hardener_density_g_cm3",
)  # fmt: skip
PRINTER = (
    "sheet", "orientation", "use_roll_width_mm", "roll_width_mm", "margin_mm", "lap_mm", "scale_x",
    "scale_y",
)  # fmt: skip


class MOULDPLY_OT_keep_resin(AddPresetBase, bpy.types.Operator):
    """Keep the resin's values under a name, for other files"""

    bl_idname = "mouldply.keep_resin"
    bl_label = "Keep Resin"
    preset_menu = "MOULDPLY_PT_resin_presets"
    preset_defines = ["laminate = bpy.context.scene.mouldply.laminate"]
    preset_values = [f"laminate.{name}" for name in RESIN]
    preset_subdir = "mouldply/resin"


class MOULDPLY_OT_keep_printer(AddPresetBase, bpy.types.Operator):
    """Keep paper and printer scale under a name, for other files"""

    bl_idname = "mouldply.keep_printer"
    bl_label = "Keep Printer"
    preset_menu = "MOULDPLY_PT_printer_presets"
    preset_defines = ["paper = bpy.context.scene.mouldply.paper"]
    preset_values = [f"paper.{name}" for name in PRINTER]
    preset_subdir = "mouldply/printer"


CLASSES = (MOULDPLY_OT_keep_resin, MOULDPLY_OT_keep_printer)
