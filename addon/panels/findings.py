"""What the checks found; a click shows where."""

import bpy

from ..apply import find_patterns
from ..moulds import find_mould
from ..said import said, title_of
from .parts import MouldSection, paragraph

SIGNS = {"note": "INFO", "warning": "ERROR", "stop": "CANCEL"}


class MOULDPLY_UL_findings(bpy.types.UIList):
    """Findings, gravest first."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index):
        """Draw sign, the finding's word, the ply it is about and a button that shows it."""
        row = layout.row()
        row.label(text=title_of(item.code), icon=SIGNS[item.severity], translate=False)
        mould = data.owner
        ids = [ply.id for ply in mould.mouldply.plies]
        ply = f"{ids.index(item.ply_id) + 1}" if item.ply_id in ids else ""
        right = row.row()
        right.alignment = "RIGHT"
        right.label(text=ply, translate=False)
        if item.faces:
            show = right.operator("mouldply.show_finding", text="", icon="VIEWZOOM", emboss=False)
            show.number = index
        else:
            right.label(icon="BLANK1")

    def filter_items(self, context, data, name):
        """Sort by gravity; filter by the typed text."""
        items = getattr(data, name)
        rank = {"stop": 0, "warning": 1, "note": 2}
        order = sorted(range(len(items)), key=lambda i: (rank[items[i].severity], i))
        places = [0] * len(items)
        for place, index in enumerate(order):
            places[index] = place
        text = self.filter_name.lower()
        shown = [self.bitflag_filter_item if text in said(i.message).lower() else 0 for i in items]
        return shown, places


class MOULDPLY_PT_findings(MouldSection, bpy.types.Panel):
    """Findings."""

    bl_label = "Findings"
    bl_order = 7

    @classmethod
    def poll(cls, context):
        """Need findings."""
        mould = find_mould(context)
        home = find_patterns(mould) if mould else None
        return home is not None and len(home.mouldply.findings) > 0

    def draw_header_preset(self, context):
        """Show how many there are."""
        findings = find_patterns(find_mould(context)).mouldply.findings
        self.layout.label(text=f"{len(findings)}", translate=False)

    def draw(self, context):
        """Draw the list, then the active one in full."""
        layout, results = self.layout, find_patterns(find_mould(context)).mouldply
        layout.template_list(
            "MOULDPLY_UL_findings", "", results, "findings", results, "active_finding", rows=3,
            sort_lock=True,
        )  # fmt: skip
        finding = results.findings[min(results.active_finding, len(results.findings) - 1)]
        box = layout.box()
        paragraph(box, context, said(finding.message))
        if finding.hint:
            paragraph(box, context, said(finding.hint), icon="FORWARD")
        row = box.row(align=True)
        row.enabled = bool(finding.faces)
        row.operator("mouldply.show_finding", icon="VIEWZOOM")
        if results.lit == results.active_finding:
            row.operator("mouldply.hide_finding", text="", icon="X")
            paragraph(box, context, "Its faces are selected: press Tab to work on them.")
        if finding.code == "joint_stagger":
            box.operator("mouldply.stagger_cut").ply = finding.ply_id


CLASSES = (MOULDPLY_UL_findings, MOULDPLY_PT_findings)
