"""The top of the tab: what to do next, or what is being done."""

import bpy

from .. import freshness, warm
from ..apply import layout_stamp
from ..curves import cuts_of
from ..moulds import find_mould
from ..said import said
from .parts import BUTTON_PX, Section, paragraph, say


class MOULDPLY_PT_bench(Section, bpy.types.Panel):
    """The next step, or progress."""

    bl_label = "Next Step"
    bl_order = 0

    def draw(self, context):
        """Draw progress while there is work, else the last message and the next step."""
        warm.start()
        layout, progress = self.layout, context.window_manager.mouldply
        if progress.running:
            _draw_progress(layout, progress)
            return
        if progress.message:
            row = layout.row(align=False)
            message = said(progress.message)
            paragraph(row.column(), context, message, icon="INFO", taken_px=BUTTON_PX)
            row.operator("mouldply.clear_message", text="", icon="X", emboss=False)
        text, button, options = next_step(context)
        paragraph(layout, context, text)
        if button:
            row = layout.row()
            row.scale_y = 1.4
            asked = row.operator(button)
            for name, value in options.items():
                setattr(asked, name, value)
        if button == "mouldply.new_ply" and find_mould(context) is None:
            layout.operator("mouldply.import_mould", icon="IMPORT")


def next_step(context):
    """Return what helps now: a sentence, a button's operator and its options."""
    if context.scene.mouldply.roll_of:
        return "The patterns as they lie on the roll.", "mouldply.leave_roll", {}
    mould = find_mould(context)
    if mould is None:
        return _before_the_mould(context)
    own = mould.mouldply
    if not own.plies:
        return "In edit mode, select the faces the first ply covers.", "mouldply.new_ply", {}
    known = freshness.known_of(mould, context.scene)
    if known.problem:
        return said(known.problem), "", {}
    if not known.looked and mould.mode != "EDIT":  # nor is it looked at in edit mode
        return "Looking at the mould.", "", {}
    ply = own.plies[min(own.active_ply, len(own.plies) - 1)]
    if any(curve.mouldply.cut.proposed for curve in cuts_of(mould, ply.id)):
        return (
            "Cuts are proposed for the selected ply, drawn on the mould. Take them all, or one by "
            "one under Cuts and Proposals.",
            "mouldply.accept_cuts",
            {"cut": ""},
        )
    states = set(known.states.values())
    if "no_faces" in states:
        return "A ply has no faces: select its faces and set them.", "", {}
    if not states or states & {"to_drape", "out_of_date"}:  # not known yet: nothing is nested
        return "Lay the plies flat.", "mouldply.flatten", {"which": "ALL"}
    if known.states.get(ply.id) == "needs_cut":
        return (
            "The selected ply will not lie down everywhere. Move its tack point, or cut it.",
            "mouldply.propose_cuts",
            {},
        )
    home = freshness.find_patterns(mould)
    if home is None or not home.mouldply.nests or not known.whole_is_current:
        return "Lay the patterns on the roll.", "mouldply.nest", {}
    if not home.mouldply.files:
        return "Write cutter files, templates and the lay-up sheet.", "mouldply.export", {}
    if home.mouldply.written != layout_stamp(home.mouldply):
        return (
            "The files are older than patterns and roll: write them again.",
            "mouldply.export",
            {},
        )
    return "All is written and current. Weigh, cut, lay.", "", {}


def _before_the_mould(context):
    moulds = [thing for thing in context.scene.objects if thing.mouldply.is_mould]
    if moulds:
        return "There are several moulds: select the one to work on.", "", {}
    if context.object is None or context.object.type != "MESH":
        return "Import the mould, or select it.", "mouldply.import_mould", {}
    if context.mode != "EDIT_MESH":
        return (
            "Press Tab for edit mode and select the faces the first ply covers. Sharp-edged "
            "moulds: press L over a face, delimit by Sharp.",
            "mouldply.new_ply",
            {},
        )
    return "Select the faces the first ply covers.", "mouldply.new_ply", {}


def _draw_progress(layout, progress):
    row = layout.row(align=True)
    row.progress(factor=progress.share, text=said(progress.what))
    row.operator("mouldply.stop", text="", icon="X")
    if progress.left_s >= 0:
        minutes, seconds = divmod(int(progress.left_s + 0.5), 60)
        left = f"{minutes} min {seconds} s" if minutes else f"{seconds} s"
        layout.label(text=say("About {} left").format(left))


CLASSES = (MOULDPLY_PT_bench,)
