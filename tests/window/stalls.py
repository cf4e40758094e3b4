"""In a real window: how long each of our own steps holds the window up, worst of a whole flow.

Processor time of the window's thread, so that a busy machine does not count. Drawing itself is
left out: without a graphics card it takes most of a second, with or without us.
"""

import importlib
import sys
import time

import bpy

WORST = {}
STATE = {"at": 0, "wait": time.monotonic() + 20.0}  # slow drawing slows the imports too
PACKAGE = next(m for m in sys.modules if m.endswith(".mouldply") and m.startswith("bl_ext"))


def timed(owner, name):
    """Replace a function by one that remembers its longest time."""
    inner = getattr(owner, name)

    def outer(*given, **named):
        began = time.thread_time()
        try:
            return inner(*given, **named)
        finally:
            label = f"{getattr(owner, '__name__', owner)}.{name}".removeprefix(f"{PACKAGE}.")
            WORST[label] = max(WORST.get(label, 0.0), time.thread_time() - began)

    setattr(owner, name, outer)


def part(name):
    return importlib.import_module(f"{PACKAGE}.{name}")


work, freshness, maps, overlays = (part(n) for n in ("work", "freshness", "maps", "overlays"))
for owner, names in {
    work: ("begin", "read_job", "_in_worker", "finish", "show"),
    freshness: ("work_out",),
    part("warm"): ("step",),
    maps: ("show_map", "paint"),
    overlays: ("lines_of",),
    part("worker").Worker: ("submit", "look"),
    part("roll_scene"): ("make_roll_scene",),
    part("apply"): ("make_pattern", "place_beside", "_write_maps", "_remove"),
}.items():
    for name in names:
        timed(owner, name)
work.read_job, freshness.read_job = work.read_job, freshness.read_job
FLOW = [
    lambda: bpy.ops.mouldply.flatten(which="ALL"),
    lambda: setattr(bpy.context.window_manager.mouldply_view, "map", "shear_deg"),
    lambda: setattr(bpy.context.window_manager.mouldply_view, "map", "draft_deg"),
    lambda: setattr(bpy.context.object.mouldply.plies[0], "angle_deg", 20.0),
    lambda: bpy.ops.mouldply.flatten(which="ACTIVE"),
    lambda: bpy.ops.mouldply.nest(),
    lambda: bpy.ops.mouldply.show_roll(),
]


def done():
    """Take the steps one by one; print the worst times at the end."""
    if bpy.context.window_manager.mouldply.running or time.monotonic() < STATE["wait"]:
        return False
    if STATE["at"] == len(FLOW):
        for label, seconds in sorted(WORST.items(), key=lambda pair: -pair[1]):
            print(f"STALL {1000 * seconds:7.0f} ms  {label}")
        return True
    FLOW[STATE["at"]]()
    STATE["at"] += 1
    STATE["wait"] = time.monotonic() + 1.5
    return False


sidebar("mouldply")  # noqa: F821
