"""Place the tack point by dragging over the mould: previews on the way, drape on release.

Prints how long the first threads took to show, how many previews came a second, how long after
the release the drape from there was shown (asked: 0.5 s), and how long until the pattern was made;
and how long the worker was at each, which does not count the drawing of a window without a
graphics card. A sample is open (--blend).
"""

import time

import bpy
import hands
from hands import in_view, part, pixel_of
from mathutils import Vector

STEPS = 40


def flow():
    """Warm the worker, drag, let go, wait for the pattern."""
    hands.open_tab()
    yield 4
    in_view(bpy.ops.mouldply.flatten, which="ALL")
    yield 1
    mould = next(t for t in bpy.data.objects if t.mouldply.is_mould)
    middle = sum((mould.matrix_world @ Vector(c) for c in mould.bound_box), Vector()) / 8
    hands.look(only=True, turn_deg=(0, 0, 0))
    yield 2
    size = max(mould.dimensions)
    shown, overlays = [], part("overlays")
    inner = overlays.show_preview

    def show_preview(context, thing, answer):
        if answer is not None:
            shown.append(time.perf_counter())
        inner(context, thing, answer)

    overlays.show_preview = show_preview
    asked = watch_worker()
    begun = time.perf_counter()
    in_view(bpy.ops.mouldply.place_tack, "INVOKE_DEFAULT")
    yield 0.2
    at = pixel_of(middle)
    hands.event("MOUSEMOVE", "NOTHING", at)
    hands.event("LEFTMOUSE", "PRESS", at)
    begun = time.perf_counter()
    for step in range(STEPS):
        at = pixel_of(middle + Vector((0.1 * size * step / STEPS, 0.05 * size * step / STEPS, 0)))
        hands.event("MOUSEMOVE", "NOTHING", at)
        yield 0.05
    hands.shot("tack_dragged")
    spent = time.perf_counter() - begun
    first = f"first after {shown[0] - begun:.2f} s, " if shown else ""
    print(f"PREVIEWS {first}{len(shown) / spent:.1f} a second")
    before = stamps()
    at = at[0] + 6, at[1] + 4  # a last place, whose drape nobody has asked for yet
    hands.event("MOUSEMOVE", "NOTHING", at)
    hands.event("LEFTMOUSE", "RELEASE", at)
    released = time.perf_counter()
    while stamps() == before:
        yield 0.0
        if time.perf_counter() - released > 30:
            raise RuntimeError("no new pattern after the release")
    late = max(shown) - released  # one of an earlier place may come just after the release
    assert late > 0, "no drape was shown after the release"
    print(f"SHOWN {late:.2f} s after the release: the drape from there (asked: 0.5)")
    print(f"PATTERN {time.perf_counter() - released:.2f} s after the release")
    for what, out, at, clock in asked:
        answer = out / "answer.json"
        if answer.exists():
            took = answer.stat().st_mtime - clock
            print(f"WORKER {what}, asked {at - released:+.2f} s after the release, took {took:.2f}")
    yield 1
    hands.shot("tack_released")


def watch_worker():
    """Note every request of the worker; return the list that fills: what, folder, two clocks."""
    kind, asked = part("worker").Worker, []
    inner = kind.submit

    def submit(self, request):
        out = inner(self, request)
        what = "preview" if "change" in request else "pattern"
        asked.append((what, out, time.perf_counter(), time.time()))
        return out

    kind.submit = submit
    return asked


def stamps():
    """Return the patterns' fingerprints: they change when new ones are there."""
    return sorted(t.mouldply.piece.stamp for t in bpy.data.objects if t.mouldply.piece.is_pattern)
