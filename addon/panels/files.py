"""Files for cutter, scissors and bench; resin and weights."""

import json

import bpy

from ..apply import find_patterns, layout_stamp
from ..moulds import find_mould
from ..properties import words
from . import extras
from .parts import ClosedSection, MouldSection, facts, optional, paragraph, say, tidy
from .presets import MOULDPLY_PT_printer_presets, MOULDPLY_PT_resin_presets

# Of the rates, those in minutes are how fast the work goes.
MINUTES = ("_per_min", "min_per_m2", "min_per_piece", "min_per_batch", "min_per_m")


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
            if home.mouldply.written != layout_stamp(home.mouldply):
                paragraph(
                    layout, context, "These files are of an older state.", icon="FILE_REFRESH"
                )
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


class MOULDPLY_PT_coats(ClosedSection, bpy.types.Panel):
    """Layers of resin without cloth."""

    bl_label = "Coats"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw(self, context):
        """Draw each coat in a box."""
        layout, coats = self.layout, context.scene.mouldply.coats
        if not coats:
            paragraph(layout, context, "None: cloth goes straight onto the released mould.")
        for number, coat in enumerate(coats):
            box = layout.box()
            row = box.row()
            row.prop(coat, "kind", text="")
            remove = row.operator("mouldply.remove_coat", text="", icon="X", emboss=False)
            remove.number = number
            column = tidy(box)
            for name in ("thickness", "density_g_cm3", "mix_resin", "mix_hardener", "loss"):
                column.prop(coat, name)
        if coats:
            paragraph(layout, context, "Ratio by weight: the data sheet decides.")
        layout.operator("mouldply.add_coat", icon="ADD")


class MOULDPLY_PT_consumed(ClosedSection, bpy.types.Panel):
    """What is used up beside cloth and resin."""

    bl_label = "Used Up"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw(self, context):
        """Draw what is used, how much of it, and the resin it holds back."""
        used, column = context.scene.mouldply.consumed, tidy(self.layout)
        column.prop(used, "peel_ply")
        column.prop(used, "breather")
        column.separator()
        column.label(text=say("Per m² of Part (Tape: per m of Edge)"), translate=False)
        for name in ("peel_ply", "film", "breather", "flow_mesh", "bag", "tape"):
            column.prop(used, f"{name}_factor")
        column.separator()
        column.label(text=say("Release Agent"), translate=False)
        column.prop(used, "release_coats")
        column.prop(used, "release_gsm")
        column.separator()
        column.label(text=say("Resin Held Back (g/m²)"), translate=False)
        for name in ("peel_ply", "breather", "flow_mesh"):
            column.prop(used, f"{name}_uptake_gsm", text=_goods(name), translate=False)
        column.prop(used, "lines_g")


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
        self.layout.operator("mouldply.test_sheet", icon="FILE_BLANK")


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
        """Draw prices; cloth is priced on its roll."""
        rates, column = context.scene.mouldply.rates, tidy(self.layout)
        column.prop(rates, "currency")
        column.prop(rates, "labour_per_hour")
        column.separator()
        column.prop(rates, "resin_per_kg")
        column.prop(rates, "coat_per_kg")
        column.prop(rates, "release_per_kg")
        column.separator()
        column.label(text=say("Goods per m²"), translate=False)
        for name in ("peel_ply", "film", "breather", "flow_mesh", "bag"):
            column.prop(rates, f"{name}_per_m2", text=_goods(name), translate=False)
        column.prop(rates, "tape_per_m")


class MOULDPLY_PT_pace(ClosedSection, bpy.types.Panel):
    """How fast the work goes."""

    bl_label = "Working Pace"
    bl_parent_id = "MOULDPLY_PT_files"

    def draw(self, context):
        """Draw the speeds the time is worked out from."""
        rates, column = context.scene.mouldply.rates, tidy(self.layout)
        for name in words.RATES:
            if name.endswith(MINUTES):
                column.prop(rates, name)
        column.prop(context.scene.mouldply.laminate, "spread_g_per_min")


def _goods(name):
    """Return what a film or fleece is called, where its unit stands above."""
    return say(words.CONSUMED[f"{name}_factor"].label)


CLASSES = (
    MOULDPLY_PT_files, MOULDPLY_PT_resin, MOULDPLY_PT_coats, *extras.CLASSES,
    MOULDPLY_PT_consumed, MOULDPLY_PT_paper, MOULDPLY_PT_cutter, MOULDPLY_PT_rates,
    MOULDPLY_PT_pace,
)  # fmt: skip
