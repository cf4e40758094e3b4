"""Cuts drawn over the mould, as curves on it."""

import json

import bpy

from .. import bridge, engine, work
from ..curves import accept, add_cut, cuts_of, move_cut, remove_curve
from ..moulds import need_mould, need_ply
from ..props import CONTEXT, EnumProperty, StringProperty
from ..scene_job import read_job
from .base import EngineOperator, NeedsPly


class MOULDPLY_OT_draw_cut(NeedsPly, EngineOperator, bpy.types.Operator):
    """Click points on the mould; the active ply is cut straight from each to the next"""

    bl_idname = "mouldply.draw_cut"
    bl_label = "Draw Cut"
    bl_options = {"REGISTER", "UNDO"}

    kind: EnumProperty(
        name="Cut",
        items=[("dart", "Dart", "Ends inside the cloth"), ("splice", "Splice", "Parts the cloth")],
    )
    points: StringProperty(
        name="Points", description="In the mould's own space, as JSON: [[x, y, z], ...]",
        options={"HIDDEN"},
    )  # fmt: skip

    def run(self, context):
        """Make the curve."""
        mould = need_mould(context)
        ply = need_ply(mould)
        points = _points(self.points)
        places = [mould.closest_point_on_mesh(point)[1] for point in points]
        add_cut(context.scene, mould, ply, [tuple(place) for place in places], self.kind)

    def invoke(self, context, event):
        """Collect clicks."""
        self._mould, self._found = need_mould(context), []
        context.workspace.status_text_set(
            bpy.app.translations.pgettext_iface(
                "Click from the rim inwards. Enter: done, Backspace: one back, Esc: cancel", CONTEXT
            )
        )
        context.window.cursor_modal_set("CROSSHAIR")
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        """Add a point with each click; Enter ends the cut."""
        if event.type == "ESC":
            return self._leave(context, {"CANCELLED"})
        if event.type in {"RET", "NUMPAD_ENTER", "RIGHTMOUSE"} and event.value == "PRESS":
            self._leave(context, None)
            self.points = json.dumps([list(point) for point in self._found])
            return self.execute(context)
        if event.type == "BACK_SPACE" and event.value == "PRESS" and self._found:
            self._found.pop()
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            place = bridge.under_mouse(self._mould, context, event)
            if place is None:
                return {"PASS_THROUGH"}
            self._found.append(tuple(place))
        if event.type in {"MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE"}:
            return {"PASS_THROUGH"}
        from .. import overlays

        overlays.show_path(context, self._found)
        return {"RUNNING_MODAL"}

    def _leave(self, context, result):
        from .. import overlays

        overlays.show_path(context, None)
        context.workspace.status_text_set(None)
        context.window.cursor_modal_restore()
        return result


class MOULDPLY_OT_remove_cut(NeedsPly, EngineOperator, bpy.types.Operator):
    """Remove this cut"""

    bl_idname = "mouldply.remove_cut"
    bl_label = "Remove Cut"
    bl_options = {"REGISTER", "UNDO"}

    cut: StringProperty(name="Cut", description="Name of its curve")

    def run(self, context):
        """Remove the curve."""
        curve = bpy.data.objects.get(self.cut)
        if curve is None or not curve.mouldply.cut.is_cut:
            raise engine.load("errors").InputError(f"There is no cut '{self.cut}'.", "Choose one.")
        remove_curve(curve)


class MOULDPLY_OT_propose_cuts(NeedsPly, EngineOperator, bpy.types.Operator):
    """Look for the few cuts that let the active ply lie down; you accept or refuse each"""

    bl_idname = "mouldply.propose_cuts"
    bl_label = "Propose Cuts"
    bl_options = {"REGISTER"}

    def run(self, context):
        """Start the search."""
        mould = need_mould(context)
        work.begin(context, mould, "Propose Cuts", propose=need_ply(mould).id)


class MOULDPLY_OT_accept_cuts(NeedsPly, EngineOperator, bpy.types.Operator):
    """Make proposed cuts real ones; flatten the ply again to see what they do"""

    bl_idname = "mouldply.accept_cuts"
    bl_label = "Accept Cuts"
    bl_options = {"REGISTER", "UNDO"}

    cut: StringProperty(name="Cut", description="Name of its curve; empty: all of the active ply")

    def run(self, context):
        """Clear the mark of a proposal."""
        mould = need_mould(context)
        for curve in cuts_of(mould, need_ply(mould).id):
            if self.cut in ("", curve.name):
                accept(curve)


class MOULDPLY_OT_refuse_cuts(NeedsPly, EngineOperator, bpy.types.Operator):
    """Remove all cuts that are only proposed for the active ply"""

    bl_idname = "mouldply.refuse_cuts"
    bl_label = "Refuse Proposals"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Remove their curves."""
        mould = need_mould(context)
        for curve in cuts_of(mould, need_ply(mould).id):
            if curve.mouldply.cut.proposed:
                remove_curve(curve)


class MOULDPLY_OT_stagger_cut(NeedsPly, EngineOperator, bpy.types.Operator):
    """Move a cut of the active ply that lies over a joint of the ply below until it is clear"""

    bl_idname = "mouldply.stagger_cut"
    bl_label = "Take Moved Copy"
    bl_options = {"REGISTER", "UNDO"}

    ply: StringProperty(name="Ply", description="Its id; empty: the active ply")

    def run(self, context):
        """Replace the cut's path by that of the moved copy."""
        mould = need_mould(context)
        ply_id = self.ply or need_ply(mould).id
        job = read_job(mould, context.scene, context.evaluated_depsgraph_get())
        laid = engine.load("laminate.stack").Stack.of(job.plies, job.settings.laminate).laid
        found = engine.load("laminate.stagger").clear_copy(
            job.mould,
            [one.ply for one in laid],
            {fabric.id: fabric for fabric in job.fabrics},
            ply_id,
            seams=job.seams,
        )
        if found is None:
            raise engine.load("errors").InputError(
                "No cut of this ply lies too near a joint below.", "Choose another ply."
            )
        old, moved = found
        number = int(old.id.removeprefix(f"{ply_id}c")) - 1
        drawn = [c for c in cuts_of(mould, ply_id) if not c.mouldply.cut.proposed]
        move_cut(context.scene, drawn[number], moved.path)


def _points(text):
    """Return the points written as JSON."""
    error = engine.load("errors").InputError
    try:
        points = [tuple(float(value) for value in point) for point in json.loads(text or "[]")]
    except (ValueError, TypeError) as wrong:
        raise error(
            f"The points '{text[:60]}' cannot be read.", "Write [[x, y, z], ...]."
        ) from wrong
    if len(points) < 2 or any(len(point) != 3 for point in points):
        raise error(
            f"A cut needs two points on the mould, not {len(points)}.", "Click at least two."
        )
    return points


CLASSES = (
    MOULDPLY_OT_draw_cut, MOULDPLY_OT_remove_cut, MOULDPLY_OT_propose_cuts,
    MOULDPLY_OT_accept_cuts, MOULDPLY_OT_refuse_cuts, MOULDPLY_OT_stagger_cut,
)  # fmt: skip
