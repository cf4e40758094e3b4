"""How long each flow holds the window up, by a timer in the window; on a sample (--blend).

A timer asks to be called every 5 ms; the longest time between two calls is the stall. Meanwhile
the 3D view is swapped for a text editor, since without a graphics card drawing a view takes most
of a second, with or without us; what we draw is timed by itself, in processor time of the
window's thread. FACES in the environment divides the mould until it has at least as many.
"""

import os
import time
from pathlib import Path

import bpy
import hands
import numpy as np
from hands import part

BEAT_S = 0.005
LIMIT_MS = 100.0
QUEUE = Path("/proc/thread-self/schedstat")
KEPT = 0.15  # of the plies' faces on a divided mould


class Pulse:
    """The longest time between two calls of a timer, without waiting for a processor.

    Under Linux the kernel tells how long a thread was ready and other programs had the
    processors; what is left is the window's own, waiting for its own threads included.
    """

    def __init__(self):
        self.clear()

    def clear(self):
        self.last = self.clocks()
        self.worst = (0.0, 0.0, 0.0)  # ms: without waiting, with it, of the processor

    @staticmethod
    def clocks():
        queued = 0
        if QUEUE.exists():
            queued = int(QUEUE.read_text("ascii").split()[1])
        return time.perf_counter(), time.thread_time(), 1e-9 * queued

    def beat(self):
        now = self.clocks()
        wall, spent, queued = (1000 * (new - old) for new, old in zip(now, self.last, strict=True))
        self.worst = max(self.worst, (wall - queued, wall, spent))
        self.last = now
        return BEAT_S


PULSE, DRAWN = Pulse(), {}


def flow():
    """Every flow, then the table."""
    watch_drawing()
    bpy.app.timers.register(PULSE.beat, persistent=True)
    divide(bpy.context.object)
    faces = len(bpy.context.object.data.polygons)
    yield 2
    hands.open_tab()
    yield 1
    area, rows = hands.area(), []
    area.type = "TEXT_EDITOR"
    PULSE.clear()
    while not part("warm").done():  # begun by the tab, where nothing else has
        yield 0.2
    rows.append(("the engine's imports", *PULSE.worst))
    only = tuple(os.environ.get("ONLY", "").split(","))  # "" begins every label
    for label, act, pause in (flow for flow in FLOWS if flow[0].replace(" ", "_").startswith(only)):
        yield 1
        rows.append((label, *(yield from measured(label, act, pause))))
        print("{1:.0f} ms, {2:.0f} with waiting, {3:.0f} busy".format(*rows[-1]), flush=True)
    area.type = "VIEW_3D"
    yield from drawn()
    area.type = "TEXT_EDITOR"
    yield 1
    for label, act, pause in alone():
        rows.append((f"without mouldply: {label}", *(yield from measured(label, act, pause))))
        yield 1
    print(f"{faces} faces")
    print("STALL: ms, with waiting for a processor, of the processor")
    for label, own_ms, wall_ms, cpu_ms in rows:
        late = "  OVER" if own_ms > LIMIT_MS else ""
        print(f"STALL {own_ms:6.0f} {wall_ms:6.0f} {cpu_ms:6.0f}  {label}{late}")
    for label, seconds in sorted(DRAWN.items(), key=lambda pair: -pair[1]):
        print(f"DRAWN {1000 * seconds:6.1f} ms  {label}")


def drawn():
    """Let the view draw all of ours."""
    follow_finding()
    bpy.context.window_manager.mouldply_view.map = "shear_deg"
    for _ in range(3):
        hands.redraw()
        yield 0.5
    bpy.context.window_manager.mouldply_view.map = "NONE"


def alone():
    """Switch ourselves off; yield what Blender does by itself on the same mould."""
    thing = mould()
    hands.window().scene = next(one for one in bpy.data.scenes if thing.name in one.objects)
    with bpy.context.temp_override(window=hands.window()):
        for other in bpy.context.selected_objects:
            other.select_set(False)
        thing.select_set(True)
        bpy.context.view_layer.objects.active = thing
        bpy.ops.preferences.addon_disable(module=hands.EXTENSION)
    for mode in ("EDIT", "OBJECT"):
        yield f"{mode.lower()} mode", pressed(bpy.ops.object.mode_set, mode=mode), 1
    yield "undo", undo, 1
    yield "redo", redo, 1


def measured(label, act, pause):
    """Do something and return the longest stall until it has ended."""
    print("FLOW", label, flush=True)
    PULSE.clear()
    act()
    yield 0.1  # until no work is under way; then its end, and what follows, are timed too
    yield pause
    progress = getattr(bpy.context.window_manager, "mouldply", None)
    if progress is not None and progress.message:
        print("SAYS", progress.message)
    return PULSE.worst


def view():
    return bpy.context.window_manager.mouldply_view


def mould():
    return next(t for t in bpy.data.objects if t.mouldply.is_mould)


def shows(name):
    return lambda: setattr(view(), "map", name)


def undo():
    with bpy.context.temp_override(window=hands.window()):
        bpy.ops.ed.undo() if bpy.ops.ed.undo.poll() else print("REFUSED: nothing to undo")


def redo():
    with bpy.context.temp_override(window=hands.window()):
        bpy.ops.ed.redo() if bpy.ops.ed.redo.poll() else print("REFUSED: nothing to redo")


def pressed(operator, **options):
    """Call an operator as a person does, with its undo step."""

    def act():
        with bpy.context.temp_override(window=hands.window()):
            try:
                operator("EXEC_DEFAULT", True, **options)
            except RuntimeError as refused:  # the others are still worth measuring
                print("REFUSED", refused)

    return act


def follow_finding():
    home = next((one for one in bpy.data.collections if one.mouldply.owner), None)
    findings = home.mouldply.findings if home is not None else ()
    if not findings:
        return
    home.mouldply.active_finding = next((n for n, one in enumerate(findings) if one.faces), 0)
    if findings[home.mouldply.active_finding].faces:
        pressed(bpy.ops.mouldply.show_finding)()


def another():
    view().map, own = "shear_deg", mould().mouldply
    own.active_ply = (own.active_ply + 1) % len(own.plies)
    view().map = "NONE"


def turn():
    mould().mouldply.plies[0].angle_deg += 20


def quick_nest():
    bpy.context.scene.mouldply.nest.seconds = 3
    pressed(bpy.ops.mouldply.nest)()


ours = bpy.ops.mouldply
FLOWS = [  # what is done, and the seconds after it in which nothing may stall either
    ("flatten all plies", pressed(ours.flatten, which="ALL"), 2),
    ("shear map", shows("shear_deg"), 1),
    ("draft map", shows("draft_deg"), 1),
    ("no map", shows("NONE"), 1),
    ("turn the fibre angle", turn, 2),
    ("flatten one ply", pressed(ours.flatten, which="ACTIVE"), 2),
    ("new ply from the selection", pressed(ours.new_ply), 2),
    ("grow faces", pressed(ours.grow_faces, by=-1), 2),
    ("fill up to edges", pressed(ours.fill_faces), 2),
    ("select its faces", pressed(ours.select_ply), 2),
    ("set its faces", pressed(ours.change_faces, how="SET"), 2),
    ("duplicate a ply", pressed(ours.copy_ply), 2),
    ("move a ply", pressed(ours.move_ply, by="UP"), 2),
    ("remove a ply", pressed(ours.remove_ply), 2),
    ("remove another", pressed(ours.remove_ply), 2),
    ("add a cover", pressed(ours.add_extra, kind="cover"), 2),
    ("select another ply under its map", another, 2),
    ("add a rosette", pressed(ours.add_rosette), 2),
    ("nest", quick_nest, 2),
    ("show the roll", pressed(ours.show_roll), 2),
    ("leave the roll", pressed(ours.leave_roll), 2),
    ("show a finding", follow_finding, 1),
    ("hide the finding", pressed(ours.hide_finding), 1),
    ("undo the hiding", undo, 2),
    ("undo the showing", undo, 2),
    ("redo the showing", redo, 2),
    ("write files", pressed(ours.export, directory=str(hands.OUT / "cut")), 2),
    ("undo", undo, 2),
    ("redo", redo, 2),
]


def divide(thing):
    """Divide the mould's faces until there are as many as asked; plies keep the inner ones."""
    wanted = int(os.environ.get("FACES", "0"))
    if not wanted:
        return
    while len(thing.data.polygons) < wanted:
        divided = thing.modifiers.new("divided", "SUBSURF")
        divided.subdivision_type, divided.levels = "SIMPLE", 1
        with bpy.context.temp_override(window=hands.window(), object=thing):
            bpy.ops.object.modifier_apply(modifier="divided")
    mesh_data, mesh = part("mesh_data"), thing.data
    middles = np.empty(3 * len(mesh.polygons), np.float32)
    mesh.polygons.foreach_get("center", middles)
    away = np.linalg.norm(middles.reshape(-1, 3)[:, :2], axis=1)
    for ply in thing.mouldply.plies:
        faces = mesh_data.face_values(mesh, mesh_data.region_attribute(ply.id))
        inner = faces & (away < np.quantile(away[faces], KEPT))
        mesh_data.write_region(mesh, ply.id, inner)


def watch_drawing():
    """Time what Blender calls of ours for each redraw."""
    for module in part("panels").MODULES:
        for kind in module.CLASSES:
            if "draw" in vars(kind):
                timed_panel(kind)
    for label, names in (("overlays", ("lines_of", "draw_lines")), ("legend", ("draw",)),
                         ("lit", ("draw",))):  # fmt: skip
        for name in names:
            timed(part(label), name, label)
        part(label).unregister()
        part(label).register()


def timed(owner, name, label):
    """Replace a function without arguments by one that remembers its longest time."""
    inner = getattr(owner, name)

    def outer(*given):
        began = time.thread_time()
        try:
            return inner(*given)
        finally:
            key = f"{label}.{name}"
            DRAWN[key] = max(DRAWN.get(key, 0.0), time.thread_time() - began)

    setattr(owner, name, outer)


def timed_panel(kind):
    """The same for a panel: Blender counts the arguments of its `draw`."""
    inner = kind.draw

    def draw(self, context):
        began = time.thread_time()
        try:
            inner(self, context)
        finally:
            key = kind.__name__
            DRAWN[key] = max(DRAWN.get(key, 0.0), time.thread_time() - began)

    kind.draw = draw
