"""Menus of presets: resins and printers kept for other files."""

import bpy
from bl_ui.utils import PresetPanel


class MOULDPLY_PT_resin_presets(PresetPanel, bpy.types.Panel):
    """Resins kept for other files."""

    bl_label = "Resins"
    preset_subdir = "mouldply/resin"
    preset_operator = "script.execute_preset"
    preset_add_operator = "mouldply.keep_resin"


class MOULDPLY_PT_printer_presets(PresetPanel, bpy.types.Panel):
    """Printers kept for other files."""

    bl_label = "Printers"
    preset_subdir = "mouldply/printer"
    preset_operator = "script.execute_preset"
    preset_add_operator = "mouldply.keep_printer"


CLASSES = (MOULDPLY_PT_resin_presets, MOULDPLY_PT_printer_presets)
