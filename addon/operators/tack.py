"""The tack point: clicked on the mould, dragged, and the ply draped again on release."""

import time

import bpy

from .. import bridge, engine, overlays, preview, work
from ..moulds import need_mould, need_ply
from ..props import CONTEXT, FloatVectorProperty
from .base import EngineOperator, NeedsPly

POLL_S = 0.02
PATIENCE_S = 1.0  # for the quick drape after the button is let go


class MOULDPLY_OT_place_tack(NeedsPly, EngineOperator, bpy.types.Operator):
    """Click on the mould where the cloth is pressed down first; hold and drag to try places"""

    bl_idname = "mouldply.place_tack"
    bl_label = "Place Tack Point"
    bl_options = {"REGISTER", "UNDO"}

    at: FloatVectorProperty(
        name="At", description="In the mould's own space", size=3, subtype="XYZ", precision=4
    )

    def run(self, context):
        """Set the point, on the mould's nearest face."""
        mould = need_mould(context)
        ply = need_ply(mould)
        found, place, _, _ = mould.closest_point_on_mesh(self.at)
        if not found:
            raise engine.load("errors").InputError(
                f"There is no face of '{mould.name}' near that point.", "Click on the mould."
            )
        self.at = ply.tack = place
        ply.use_tack = True

    def invoke(self, context, event):
        """Wait for the click."""
        self._mould, self._dragging = need_mould(context), False
        self._seen = self._shown = None  # the place last asked for, and last shown
        if context.window_manager.mouldply.running:
            self.report({"WARNING"}, "Wait for the work under way, or stop it")
            return {"CANCELLED"}
        self._warm = False  # the worker reads the mould while the mouse is on its way
        if self.tried(context, lambda: {self._warm_up(context)}) is None:
            return {"CANCELLED"}
        self._before = need_ply(self._mould).use_tack, tuple(need_ply(self._mould).tack)
        context.workspace.status_text_set(
            bpy.app.translations.pgettext_iface(
                "Click on the mould to tack the ply there, drag to try places. Esc: cancel", CONTEXT
            )
        )
        self._settling = 0.0  # when the button was let go
        context.window.cursor_modal_set("CROSSHAIR")
        self._timer = context.window_manager.event_timer_add(POLL_S, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        """Follow the mouse while the button is held; drape on release."""
        if event.type in {"ESC", "RIGHTMOUSE"}:
            ply = need_ply(self._mould)
            ply.use_tack, ply.tack = self._before
            return self._leave(context, {"CANCELLED"})
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            self._dragging = self._point(context, event)
            return {"RUNNING_MODAL"} if self._dragging else {"PASS_THROUGH"}
        if event.type == "MOUSEMOVE" and self._dragging:
            self._point(context, event)
            return {"RUNNING_MODAL"}
        if event.type == "TIMER":
            if self.tried(context, lambda: {self._preview(context)}) is None:
                return self._leave(context, {"CANCELLED"})
            if self._settling and self._is_settled():
                return self._flatten(context)
            return {"PASS_THROUGH"}
        if self._settling:  # the drape of the chosen place is on its way
            return {"PASS_THROUGH"}
        if event.type == "LEFTMOUSE" and event.value == "RELEASE" and self._dragging:
            self._settling = time.monotonic()
            context.workspace.status_text_set(None)
            return {"RUNNING_MODAL"}
        if event.type in {"MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE"}:
            return {"PASS_THROUGH"}
        return {"RUNNING_MODAL"}

    def _point(self, context, event):
        """Move the tack point under the mouse; return whether the mould is there."""
        place = bridge.under_mouse(self._mould, context, event)
        if place is None:
            return False
        ply = need_ply(self._mould)
        ply.tack, ply.use_tack = place, True
        context.area.tag_redraw()
        return True

    def _preview(self, context):
        """Show the drape from the point under the mouse as soon as the worker has it."""
        answer = preview.take()
        if answer is not None and self._seen is not None:
            self._shown = self._seen
            overlays.show_preview(context, self._mould, answer)
        ply = need_ply(self._mould)
        if not self._dragging:
            self._warm_up(context)
        elif tuple(ply.tack) != self._seen and preview.ask(
            context, self._mould, last=bool(self._settling)
        ):
            self._warm, self._seen = True, tuple(ply.tack)

    def _warm_up(self, context):
        """Ask once for the drape as it is, as soon as the worker can be asked."""
        self._warm = self._warm or preview.ask(context, self._mould)

    def _is_settled(self):
        """Whether the drape of the chosen place is shown, or does not come."""
        chosen = tuple(need_ply(self._mould).tack)
        return self._shown == chosen or time.monotonic() - self._settling > PATIENCE_S

    def _flatten(self, context):
        """Make the pattern; the drape stays on the mould until it is there."""
        self.at = need_ply(self._mould).tack
        done = self._leave(context, {"FINISHED"})
        preview.drop()
        bpy.ops.mouldply.flatten("EXEC_DEFAULT", which="ACTIVE")
        return done

    def _leave(self, context, result):
        context.workspace.status_text_set(None)
        context.window.cursor_modal_restore()
        context.window_manager.event_timer_remove(self._timer)
        if result == {"CANCELLED"}:
            overlays.show_preview(context, self._mould, None)
        if result == {"CANCELLED"}:
            preview.drop()
        return result


class MOULDPLY_OT_clear_tack(NeedsPly, EngineOperator, bpy.types.Operator):
    """Lay the active ply from the middle of its faces again"""

    bl_idname = "mouldply.clear_tack"
    bl_label = "Clear Tack Point"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context):
        """Forget the point."""
        need_ply(need_mould(context)).use_tack = False


class MOULDPLY_OT_seek_tack(NeedsPly, EngineOperator, bpy.types.Operator):
    """Try tack points all over the active ply and take the one where least of it locks"""

    bl_idname = "mouldply.seek_tack"
    bl_label = "Seek Tack Point"
    bl_options = {"REGISTER"}

    def run(self, context):
        """Start the search."""
        mould = need_mould(context)
        work.begin(context, mould, "Seek Tack Point", seek=need_ply(mould).id)


CLASSES = (MOULDPLY_OT_place_tack, MOULDPLY_OT_clear_tack, MOULDPLY_OT_seek_tack)
