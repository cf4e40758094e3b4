"""Paint the active ply's faces on and off, with a brush on the mould."""

import bpy

from .. import brush, engine, mesh_data
from ..apply import numbers_of
from ..moulds import need_editable, need_mould, need_ply
from ..props import CONTEXT, BoolProperty, StringProperty
from .base import EngineOperator, NeedsPly

LEAST_PX, MOST_PX, STEP = 4.0, 400.0, 1.2
LARGER = {"RIGHT_BRACKET", "PLUS", "NUMPAD_PLUS", "UP_ARROW"}
SMALLER = {"LEFT_BRACKET", "MINUS", "NUMPAD_MINUS", "DOWN_ARROW"}
DONE = {"RET", "NUMPAD_ENTER", "TAB"}
STROKE_STEP = 0.5  # of the radius, between the places a quick stroke is painted at


class MOULDPLY_OT_paint_faces(NeedsPly, EngineOperator, bpy.types.Operator):
    """Paint faces of the mould onto the active ply; with Ctrl, paint them off"""

    bl_idname = "mouldply.paint_faces"
    bl_label = "Paint Faces"
    bl_options = {"UNDO"}  # not REGISTER: what was painted cannot be painted again from values

    faces: StringProperty(
        name="Faces", description="Numbers of the mould's faces, for scripts: 3-17,40",
        options={"HIDDEN", "SKIP_SAVE"},
    )  # fmt: skip
    off: BoolProperty(name="Paint Off", description="Take the faces out of the ply", default=False)

    radius_px = 30.0  # kept between strokes and calls; changed by its keys

    def run(self, context):
        """Paint the faces named, as a script does."""
        import numpy as np

        mould = need_mould(context)
        ply = need_ply(mould)
        need_editable(mould)
        numbers = np.array(_numbers(self.faces), np.int64)
        with mesh_data.object_mode(mould):
            region = mesh_data.face_values(mould.data, mesh_data.region_attribute(ply.id))
            if len(numbers) and numbers.max() >= len(region):
                raise engine.load("errors").InputError(
                    f"Face {numbers.max()} is not on '{mould.name}', which has {len(region)}.",
                    "Name faces of the mould.",
                )
            region[numbers] = not self.off
            _keep(mould, ply, region)

    def invoke(self, context, event):
        """Start painting."""
        mould = need_mould(context)
        if self.tried(context, lambda: {need_editable(mould)}) is None:
            return {"CANCELLED"}
        if context.space_data is None or context.space_data.type != "VIEW_3D":
            self.report({"WARNING"}, "Paint in a 3D view")
            return {"CANCELLED"}
        self._mode = mould.mode
        if mould.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        self._mould, self._ply = mould.name, need_ply(mould).id
        self._faces = brush.Faces(mould.data)
        attribute = mesh_data.region_attribute(self._ply)
        self._region = mesh_data.face_values(mould.data, attribute)
        self._before = [self._region.copy()]  # the strokes so far, for Ctrl Z
        self._stroke = None  # where the stroke was last painted, in pixels
        self._picture = brush.Picture(mould, self._faces)
        self._picture.show(self._region)
        self._say(context)
        context.window.cursor_modal_set("PAINT_BRUSH")
        context.window_manager.modal_handler_add(self)
        context.area.tag_redraw()
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        """Paint while the button is held; keys change the brush, Enter ends."""
        if context.area is None or bpy.data.objects.get(self._mould) is None:
            return self._leave(context, keep=False)
        context.area.tag_redraw()
        if event.type in {"ESC", "RIGHTMOUSE"} and event.value == "PRESS":
            return self._leave(context, keep=False)
        if event.type in DONE and event.value == "PRESS":
            return self._leave(context, keep=True)
        at = event.mouse_region_x, event.mouse_region_y
        self._picture.ring, self._picture.off = (*at, self.radius_px), self._is_off(event)
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            if not _in_view(context, at):
                return {"PASS_THROUGH"}
            self._before.append(self._region.copy())
            self._stroke = at
            self._paint(context, event, at)
        elif event.type == "MOUSEMOVE" and self._stroke is not None:
            self._follow(context, event, at)
        elif event.type == "LEFTMOUSE" and event.value == "RELEASE":
            self._stroke = None
        elif not self._key(context, event):
            return {"PASS_THROUGH"}
        return {"RUNNING_MODAL"}

    def cancel(self, context):
        """Blender ends us: another file, or the window closes."""
        self._picture.close()

    def _is_off(self, event):
        return event.ctrl != self.off

    def _key(self, context, event):
        """Change the brush, or take the last stroke back; return whether the key was ours."""
        if event.value != "PRESS":
            return False
        if event.type == "Z" and (event.ctrl or event.oskey):
            if len(self._before) > 1:
                self._region = self._before.pop()
                self._picture.show(self._region)
            return True
        wheel = event.ctrl and event.type in {"WHEELUPMOUSE", "WHEELDOWNMOUSE"}
        if not wheel and event.type not in LARGER | SMALLER:
            return False
        grows = event.type in LARGER or event.type == "WHEELUPMOUSE"
        radius = self.radius_px * (STEP if grows else 1 / STEP)
        type(self).radius_px = min(max(radius, LEAST_PX), MOST_PX)
        self._say(context)
        return True

    def _follow(self, context, event, at):
        """Paint on the way from where the stroke was to the mouse, without gaps."""
        x, y = self._stroke
        way = ((at[0] - x) ** 2 + (at[1] - y) ** 2) ** 0.5
        steps = max(1, round(way / (STROKE_STEP * self.radius_px)))
        for step in range(1, steps + 1):
            share = step / steps
            self._paint(context, event, (x + share * (at[0] - x), y + share * (at[1] - y)))
        self._stroke = at

    def _paint(self, context, event, at):
        """Paint at one place of the view."""
        from bpy_extras import view3d_utils

        mould = bpy.data.objects[self._mould]
        view = context.region, context.region_data
        back = mould.matrix_world.inverted()
        origin = view3d_utils.region_2d_to_origin_3d(*view, at)
        along = view3d_utils.region_2d_to_vector_3d(*view, at)
        evaluated = mould.evaluated_get(context.evaluated_depsgraph_get())
        found, place, normal, under = evaluated.ray_cast(
            back @ origin, (back.to_3x3() @ along).normalized()
        )
        if not found:
            return
        world = mould.matrix_world @ place
        beside = view3d_utils.region_2d_to_location_3d(
            *view, (at[0] + self.radius_px, at[1]), world
        )
        scale = sum(mould.matrix_world.to_scale()) / 3  # of an uneven one the mean
        radius = (beside - world).length / max(abs(scale), 1e-12)
        if len(evaluated.data.polygons) != len(self._region):
            under = self._faces.nearest(place)  # modifiers change the faces
        touched = self._faces.touched(place, normal, radius, under)
        self._region[touched] = not self._is_off(event)
        self._picture.show(self._region)

    def _say(self, context):
        words = bpy.app.translations.pgettext_iface(
            "Drag to paint faces onto '{}', Ctrl: off. [ ] or Ctrl wheel: radius {} px. "
            "Ctrl Z: last stroke back, Enter: done, Esc: cancel",
            CONTEXT,
        )
        name = need_ply(bpy.data.objects[self._mould]).name
        context.workspace.status_text_set(words.format(name, round(self.radius_px)))

    def _leave(self, context, *, keep):
        self._picture.close()
        context.workspace.status_text_set(None)
        context.window.cursor_modal_restore()
        mould = bpy.data.objects.get(self._mould)
        result = {"CANCELLED"}
        if keep and mould is not None:
            ply = next((ply for ply in mould.mouldply.plies if ply.id == self._ply), None)
            if ply is not None and (self._region != self._before[0]).any():
                kept = self.tried(context, lambda: {_keep(mould, ply, self._region)})
                result = {"CANCELLED"} if kept is None else {"FINISHED"}
        if mould is not None and self._mode != mould.mode:
            bpy.ops.object.mode_set(mode=self._mode)
        return result


def _keep(mould, ply, region):
    """Write the faces of a ply; a ply without any is refused."""
    if not region.any():
        raise engine.load("errors").InputError(
            f"Ply '{ply.name}' would have no faces left.", "Remove the ply instead."
        )
    mesh_data.write_region(mould.data, ply.id, region)


def _numbers(text):
    """Return the face numbers in "3-17,40"."""
    try:
        return list(numbers_of(text)) if text else []
    except ValueError as wrong:
        raise engine.load("errors").InputError(
            f"The faces '{text[:60]}' cannot be read.", "Write numbers such as 3-17,40."
        ) from wrong


def _in_view(context, at):
    """Whether a place is in the view itself, not on the sidebar over it."""
    x, y = at[0] + context.region.x, at[1] + context.region.y
    for region in context.area.regions:
        if region.type not in {"WINDOW", "XR"} and region.width > 1:
            inside_x = region.x <= x < region.x + region.width
            if inside_x and region.y <= y < region.y + region.height:
                return False
    return 0 <= at[0] < context.region.width and 0 <= at[1] < context.region.height


CLASSES = (MOULDPLY_OT_paint_faces,)
