"""Paint faces on and off a ply with the mouse, take a stroke back, end; a sample is open (--blend).

Prints how long each move of the mouse held the window up, in processor time of its thread.
"""

import time

import bpy
import hands
import numpy as np
from hands import event, in_view, part, pixel_of, press
from mathutils import Vector

STEPS = 12


def flow():
    """One stroke on, one off, one taken back, Enter; then undo."""
    hands.open_tab()
    yield 3
    mould = next(t for t in bpy.data.objects if t.mouldply.is_mould)
    name, middle = mould.name, sum((Vector(c) for c in mould.bound_box), Vector()) / 8
    in_view(bpy.ops.mouldply.change_faces, how="SET") if select_few(mould) else None
    hands.look(only=True, turn_deg=(25, 0, 0))
    yield 1
    spent = watch()
    start = count(name)
    bpy.ops.ed.undo_push(message="before painting")
    in_view(bpy.ops.mouldply.paint_faces, "INVOKE_DEFAULT")
    yield 0.5
    size = max(mould.dimensions)
    ends = [mould.matrix_world @ (middle + Vector((x * size, 0, 0))) for x in (-0.3, 0.3)]
    yield from stroke(*ends)
    hands.shot("paint_1_on")
    yield from stroke(*(end + Vector((0, 0.05 * size, 0)) for end in ends), ctrl=True)
    hands.shot("paint_2_off")
    yield from stroke(*(end - Vector((0, 0.1 * size, 0)) for end in ends))
    at = pixel_of(ends[1])
    for _ in range(6):
        press("RIGHT_BRACKET", at)
    event("MOUSEMOVE", "NOTHING", at)
    yield 0.5
    hands.shot("paint_3_larger")
    press("Z", at, ctrl=True)
    yield 0.5
    press("RET", at)
    yield 1
    painted = count(name)
    print(f"PAINTED {start} -> {painted} faces; a move took {1000 * max(spent):.1f} ms at most")
    assert painted != start, "nothing was painted"
    with bpy.context.temp_override(window=hands.window()):
        bpy.ops.ed.undo()
    yield 1
    assert count(name) == start, f"undo left {count(name)} faces, not {start}"
    hands.shot("paint_4_undone")


def select_few(mould):
    """Select every face in a band, so that there is something to paint beside it."""
    mesh_data = part("mesh_data")
    middles = np.empty(3 * len(mould.data.polygons), np.float32)
    mould.data.polygons.foreach_get("center", middles)
    x = middles.reshape(-1, 3)[:, 0]
    own = mesh_data.face_values(mould.data, mesh_data.region_attribute(mould.mouldply.plies[0].id))
    mould.mouldply.active_ply = 0
    few = own & (x > np.median(x))
    mesh_data.select_polygons(mould.data, few)
    return few.any()


def count(name):
    """Return how many faces the first ply covers."""
    mesh_data, mould = part("mesh_data"), bpy.data.objects[name]
    attribute = mesh_data.region_attribute(mould.mouldply.plies[0].id)
    return int(mesh_data.face_values(mould.data, attribute).sum())


def stroke(start, end, **keys):
    """Drag from one place of the world to another."""
    event("MOUSEMOVE", "NOTHING", pixel_of(start), **keys)
    event("LEFTMOUSE", "PRESS", pixel_of(start), **keys)
    for step in range(1, STEPS + 1):
        event("MOUSEMOVE", "NOTHING", pixel_of(start.lerp(end, step / STEPS)), **keys)
        yield 0.05
    event("LEFTMOUSE", "RELEASE", pixel_of(end), **keys)
    yield 0.3


def watch():
    """Time every event the brush is handed; return the list that fills."""
    kind, spent = part("operators.paint").MOULDPLY_OT_paint_faces, [0.0]
    inner = kind.modal

    def modal(self, context, event):
        began = time.thread_time()
        try:
            return inner(self, context, event)
        finally:
            spent.append(time.thread_time() - began)

    kind.modal = modal
    return spent
