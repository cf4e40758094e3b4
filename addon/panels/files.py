"""Files for cutter, scissors and bench; resin and weights."""

import json

import bpy

from ..apply import find_patterns
from ..moulds import find_mould
from .parts import ClosedSection, MouldSection, facts, optional, paragraph, say, tidy
from .presets import MOULDPLY_PT_printer_presets, MOULDPLY_PT_resin_presets


class MOULDPLY_PT_files(MouldSection, bpy.types.Panel):
    """What is written."""

    bl_label = "Files"
    bl_order = 9

    @classmethod
    def poll(cls, context):
        """Need a ply."""
        mould = find_mould(context)
        return mould is not None and len(mould.mouldply.plies) > 0

    def draw(self, context):
        """Draw the button, the folder and the weights."""
        layout = self.layout
        layout.operator("mouldply.export", icon="EXPORT")
        home = find_patterns(find_mould(context))
        if home is None:
            return
        if home.mouldply.files:
            layout.operator(
                "wm.path_open", text=say("Open the Folder"), icon="FILE_FOLDER"
            ).filepath = home.mouldply.files
        numbers = json.loads(home.mouldply.quantities) if home.mouldply.quantities else None
        if numbers:
            facts(layout, [
                ("Dry Cloth", f"{numbers['dry_g']:.0f} g"),
                ("Resin to Weigh", f"{numbers['resin_to_weigh_g']:.0f} g"),
                ("Thickness", f"{numbers['thickness_mm']:.2f} mm"),
                ("Part", f"{numbers['part_g']:.0f} g"),
            ])  # fmt: skip
            paragraph(layout, context, "The resin's data sheet decides. Gloves, fresh air.")


class MOULDPLY_PT_resin(ClosedSection, bpy.types.Panel):
    """Process and resin."""

    bl_label = "Resin"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw_header_preset(self, context):
        """Draw the menu of presets."""
        MOULDPLY_PT_resin_presets.draw_panel_header(self.layout)

    def draw(self, context):
        """Draw process, ratio, pot."""
        laminate, column = context.scene.mouldply.laminate, tidy(self.layout)
        column.prop(laminate, "process")
        optional(column, laminate, "fibre_volume_fraction")
        optional(column, laminate, "fibre_mass_fraction")
        column.separator()
        column.prop(laminate, "mix_by")
        column.prop(laminate, "mix_resin")
        column.prop(laminate, "mix_hardener")
        column.prop(laminate, "resin_density_g_cm3")
        if laminate.mix_by == "volume":
            optional(column, laminate, "liquid_resin_density_g_cm3")
            optional(column, laminate, "hardener_density_g_cm3")
        column.separator()
        for name in (
            "brush_loss",
            "small_loss",
            "small_job_g",
            "pot_limit_g",
            "pot_life_min",
            "pot_life_at_c",
            "shop_c",
        ):
            column.prop(laminate, name)


class MOULDPLY_PT_paper(ClosedSection, bpy.types.Panel):
    """Paper templates."""

    bl_label = "Paper"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw_header_preset(self, context):
        """Draw the menu of presets."""
        MOULDPLY_PT_printer_presets.draw_panel_header(self.layout)

    def draw(self, context):
        """Draw sheet and printer."""
        paper, column = context.scene.mouldply.paper, tidy(self.layout)
        column.prop(paper, "sheet")
        column.prop(paper, "orientation")
        optional(column, paper, "roll_width_mm")
        for name in ("margin", "lap", "scale_x", "scale_y"):
            column.prop(paper, name)


class MOULDPLY_PT_cutter(ClosedSection, bpy.types.Panel):
    """Cutter files."""

    bl_label = "Cutter"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw(self, context):
        """Draw what differs between cutters, and the engraved mould."""
        files, column = context.scene.mouldply.files, tidy(self.layout)
        for name in ("dxf", "one_file_per_piece", "only_cut_lines", "text_as_strokes", "arcs"):
            column.prop(files, name)
        column.separator()
        column.prop(files, "engrave")
        if files.engrave:
            column.prop(files, "groove_depth")
            column.prop(files, "groove_width")


class MOULDPLY_PT_rates(ClosedSection, bpy.types.Panel):
    """Prices."""

    bl_label = "Prices"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw(self, context):
        """Draw prices."""
        rates, column = context.scene.mouldply.rates, tidy(self.layout)
        for name in (
            "currency",
            "resin_per_kg",
            "peel_ply_per_m2",
            "bag_per_m2",
            "labour_per_hour",
        ):
            column.prop(rates, name)


CLASSES = (
    MOULDPLY_PT_files, MOULDPLY_PT_resin, MOULDPLY_PT_paper, MOULDPLY_PT_cutter,
    MOULDPLY_PT_rates,
)  # fmt: skip
