"""By mouse and keys alone: sidebar, tab, our buttons, tack point, Esc, undo, search, rosette.

No operator of ours is called: every step is an event as the mouse and the keys send it. Scripted
are the sidebar's scrolling, the browser's folder, the nest's seconds and which finding is chosen.
A button is found as a person reads it: the mouse goes down the sidebar, and over each button
Ctrl-C copies what it would do. The mould is the shallow tray of `clicks`.

Longer than most files: one walk from end to end, and the eyes and hands it needs.
"""

import tempfile
import time
from math import radians
from pathlib import Path

import bpy
import clicks
import hands
import whole_way
from hands import event, press, shot
from mathutils import Vector

FOLDER = Path(tempfile.mkdtemp(prefix="window-"))
STEP_PX = 9  # between places the mouse looks at, at scale 1; a button is 20 high
PATIENCE = 60  # looks at something that is to come about
KEYS = {" ": "SPACE", "/": "SLASH", ".": "PERIOD", "_": "MINUS", "-": "MINUS"}
KEYS |= dict(zip("0123456789", ["ZERO", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN",
                                "EIGHT", "NINE"], strict=True))  # fmt: skip
ESC_S = 5.0  # in which a stopped nest has written its best so far
COUNT = []


def flow():
    """From the file Blender opens with to a checked DXF, then what else a hand does."""
    yield 2
    yield from sidebar()
    yield from imported()
    yield from first_ply()
    yield from to_the_files()
    print("CLICKS", len(COUNT), *COUNT, sep=" | ")
    assert len(COUNT) <= clicks.MOST
    clicks.look_at_dxf(FOLDER / "cut" / "patterns.dxf")
    yield from undone()
    yield from tacked()
    yield from searched()
    yield from stopped()
    yield from finding()
    yield from rosette_turned()
    yield from by_keys_alone()


def sidebar():
    """N, then a click on our tab."""
    press("N", in_view())
    yield 1
    ui = hands.region("UI")
    assert ui.width > 1, "N opened no sidebar"
    for y in range(ui.y + ui.height - 10, ui.y, -15):
        yield from click((ui.x + ui.width - round(9 * scale()), y))
        if ui.active_panel_category == "mouldply":
            break
    assert ui.active_panel_category == "mouldply", "our tab was not found"
    yield 2
    shot("01_tab")


def imported():
    """Import Mould, the file's folder and name, Enter."""
    whole_way.DEPTH_MM = clicks.SHALLOW_MM
    whole_way.write_stl(FOLDER / "tray.stl")
    press("X", in_view())  # the cube that Blender begins with
    yield 1
    press("RET", in_view())
    yield 1
    yield from push("mouldply.import_mould")
    yield from in_browser(FOLDER, "tray.stl")
    yield from until(lambda: "tray" in bpy.data.objects, "the mould was not imported")
    yield 2
    shot("02_imported")


def first_ply():
    """Tab, 3 for faces, L over the floor, Sharp in the panel of what was done last, New Ply."""
    COUNT.append("Tab")
    press("TAB", in_view())
    yield 1
    assert bpy.context.mode == "EDIT_MESH"
    press("THREE", in_view())
    yield 1
    COUNT.append("L over the floor")
    at = pixel((20.0, 10.0, 10.0))
    event("MOUSEMOVE", "NOTHING", at)
    yield 0.5
    press("L", at)
    yield 1
    yield from delimited()
    shot("03_selected")
    yield from push("mouldply.new_ply", "New Ply")
    yield 2
    mould = bpy.data.objects["tray"]
    assert len(mould.mouldply.plies) == 1, "New Ply made no ply"
    shot("04_ply")


def delimited():
    """Open Blender's panel of the last operation and click Sharp."""
    COUNT.append("last operation")
    for _ in range(5):
        hands.redraw()  # a loaded machine may not have drawn it yet
        hud = hands.region("HUD")
        closed = hud.height
        yield from click((hud.x + 30, hud.y + hud.height // 2))
        yield 1
        if hud.height > 2 * closed:
            break
    shot("03_last_operation")
    COUNT.append("Sharp")
    for y in range(hud.y + hud.height - 40, hud.y, -8):
        yield from click((hud.x + round(0.7 * hud.width), y))
        if bpy.context.window_manager.operators[-1].properties.delimit == {"SHARP"}:
            return
    shot("lost")
    raise AssertionError("Sharp was not found in the panel of the last operation")


def to_the_files():
    """Press what Next Step offers until all is written."""
    for number in range(clicks.MOST_STEPS):
        _, button, _ = hands.part("panels.bench").next_step(bpy.context)
        if not button:
            break
        yield from push(button, button.split(".")[1])
        if button == "mouldply.export":
            COUNT.append("Accept")
            yield from in_browser(FOLDER / "cut", "")
        yield 3
        shot(f"05_{number}_{button.split('.')[1]}")
    text, _, _ = hands.part("panels.bench").next_step(bpy.context)
    assert text.startswith("All is written"), text


def undone():
    """Ctrl-Z takes the last result back, Ctrl-Shift-Z brings it again."""
    if bpy.context.mode != "OBJECT":
        press("TAB", in_view())
        yield 1
    before = state()
    steps = 0
    while state() == before:
        press("Z", in_view(), ctrl=True)
        yield 1
        steps += 1
        assert steps < 6, "Ctrl-Z takes nothing back"
    for _ in range(steps):
        press("Z", in_view(), ctrl=True, shift=True)
        yield 1
    assert state() == before, "Ctrl-Shift-Z does not bring it again"
    shot("06_redone")


def tacked():
    """Place Tack Point, a click on the mould; the ply is draped from there."""
    before = stamps()
    yield from push("mouldply.place_tack")
    at = pixel((25.0, 12.0, 10.0))
    event("MOUSEMOVE", "NOTHING", at)
    yield 0.5
    shot("07_tacking")
    yield from click(at)
    yield from until(lambda: stamps() != before, "no new pattern after the click on the mould")
    ply = mould().mouldply.plies[0]
    where = mould().matrix_world @ Vector(ply.tack)
    assert abs(where.x - unit(25.0)) < unit(2), f"tacked at {where}"
    shot("08_tacked")
    before = tuple(ply.tack)
    yield from push("mouldply.place_tack")
    event("MOUSEMOVE", "NOTHING", pixel((0.0, 0.0, 10.0)))
    yield 0.3
    press("ESC", pixel((0.0, 0.0, 10.0)))
    yield 0.5
    assert tuple(mould().mouldply.plies[0].tack) == before, "Esc moved the tack point"


def searched():
    """F3, a few letters, Enter: the operator runs."""
    before = len(mould().mouldply.plies)
    yield from search("Copy Ply", "09_search")
    yield from until(lambda: len(mould().mouldply.plies) == before + 1, "F3 ran nothing")


def stopped():
    """Esc while a nest runs: it ends, and keeps the best so far."""
    bpy.context.scene.mouldply.nest.seconds = 60
    yield from search("Flatten All")
    yield 1
    ended = {}
    bpy.app.timers.register(lambda: escape(ended), first_interval=0.2)
    yield from search("Nest")
    yield 1
    print("ESC", ended, bpy.context.window_manager.mouldply.message)
    assert ended["after_s"] < ESC_S, "Esc did not stop the nest"
    shot("10_stopped")
    bpy.context.scene.mouldply.nest.seconds = 3


def escape(ended):
    """Press Esc some seconds into the work, then wait for its end: the driver waits, too."""
    running = not free()
    if "begun" not in ended:
        if running:
            ended["begun"] = time.monotonic()
        return 0.1
    if "asked" not in ended:
        if time.monotonic() > ended["begun"] + 6:
            press("ESC", in_view())
            ended["asked"] = time.monotonic()
        return 0.1
    if running:
        return 0.05
    ended["after_s"] = time.monotonic() - ended["asked"]
    return None


def free():
    return not bpy.context.window_manager.mouldply.running


def finding():
    """Show on the Mould lights the faces, Tab has them selected."""
    home = hands.part("apply").find_patterns(mould())
    with_place = [n for n, one in enumerate(home.mouldply.findings) if one.faces]
    if not with_place:
        print("NO FINDING WITH A PLACE")
        return
    home.mouldply.active_finding = with_place[0]
    yield 1
    yield from push("mouldply.show_finding")
    yield 1
    shot("11_finding")
    press("TAB", in_view())
    yield 1
    import bmesh

    faces = bmesh.from_edit_mesh(mould().data).faces
    assert any(face.select for face in faces), "Tab shows no face selected"
    shot("12_finding_edit")
    press("TAB", in_view())
    yield 1


def rosette_turned():
    """The rosette's +, then R Z 3 0 Enter: the ply is out of date."""
    yield from push("mouldply.add_rosette")
    yield 1
    rosette = next(t for t in bpy.data.objects if mould().mouldply.rosette == t)
    assert bpy.context.object == rosette, "the new rosette is not the active object"
    yield from search("Flatten All")
    yield 3
    was = freshness()
    assert "out_of_date" not in was.values()
    at = in_view()
    event("MOUSEMOVE", "NOTHING", at)
    yield 0.5
    for key, letter in (("R", "r"), ("Z", "z"), ("THREE", "3"), ("ZERO", "0"), ("RET", "")):
        typed(key, letter, at)
        yield 0.4
    assert abs(abs(rosette.rotation_euler.z) - radians(30)) < 0.01, rosette.rotation_euler
    yield 2
    print("STATES", was, freshness())
    assert "out_of_date" in freshness().values()
    shot("13_rosette")


def freshness():
    return dict(hands.part("freshness").known_of(mould(), bpy.context.scene).states)


def by_keys_alone():
    """Flatten, nest and write by F3 alone."""
    for words in ("Flatten All", "Nest"):
        yield from search(words)
        yield from until(free, words)
        yield 1
    yield from search("Write Files")
    yield from in_browser(FOLDER / "keys", "")
    yield from until(lambda: (FOLDER / "keys" / "result.json").exists(), "nothing was written")
    shot("14_keys")


# What hands do.


def scale():
    return bpy.context.preferences.system.ui_scale


def unit(mm):
    return mm / (1000 * bpy.context.scene.unit_settings.scale_length)


def mould():
    return next(t for t in bpy.data.objects if t.mouldply.is_mould)


def pixel(mm):
    return hands.pixel_of(Vector(mm) * unit(1.0))


def in_view():
    """A place in the view where nothing of ours is."""
    part = hands.region()
    return part.x + part.width // 4, part.y + part.height // 4


def click(at):
    event("MOUSEMOVE", "NOTHING", at)
    yield 0.1
    press("LEFTMOUSE", at)
    yield 0.3


def push(operator, counted=""):
    """Find a button of the sidebar, press it."""
    if counted:
        COUNT.append(counted)
    at = yield from found(f"bpy.ops.{operator}(")
    yield from click(at)


def found(command):
    """Go down the sidebar, page by page, until Ctrl-C over a button copies this command."""
    ui = hands.region("UI")
    manager = bpy.context.window_manager
    hands.scroll(-20)
    yield 0.3
    step = max(4, round(STEP_PX * scale()))
    for _ in range(8):
        for y in range(ui.y + ui.height - 5, ui.y + 5, -step):
            for share in (0.45, 0.83):
                at = round(ui.x + share * ui.width), y
                manager.clipboard = ""
                event("MOUSEMOVE", "NOTHING", at)
                yield 0.02
                press("C", at, ctrl=True)
                yield 0.02
                if manager.clipboard.startswith(command):
                    return at
        hands.scroll(1)
        yield 0.3
    shot("lost")
    raise AssertionError(f"no button of the sidebar does {command}")


def typed(key, letter, at):
    """Press and let go a key that stands for a letter."""
    event(key, "PRESS", at, **({"unicode": letter} if letter else {}))
    event(key, "RELEASE", at)


def search(words, picture=""):
    """F3, type, Enter."""
    at = in_view()
    event("MOUSEMOVE", "NOTHING", at)
    press("F3", at)
    yield 1
    for letter in words:
        typed(KEYS.get(letter, letter.upper()), letter, at)
        yield 0.05
    yield 1
    if picture:
        shot(picture)
    press("RET", at)
    yield 1


def in_browser(folder, name):
    """Choose a file in the browser that has opened; Enter."""
    folder.mkdir(exist_ok=True)
    window = bpy.context.window_manager.windows[-1]
    browser = next(one for one in window.screen.areas if one.type == "FILE_BROWSER")
    yield 1
    params = browser.spaces.active.params
    params.directory = bytes(f"{folder}/", "utf-8")
    if name:  # a browser for folders has no field for it
        params.filename = name
    yield 1
    part = next(one for one in browser.regions if one.type == "WINDOW")
    at = part.x + part.width // 2, part.y + part.height // 2
    window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=at[0], y=at[1])
    yield 0.5
    for value in ("PRESS", "RELEASE"):
        window.event_simulate(type="RET", value=value, x=at[0], y=at[1])
    yield 2


def until(wanted, otherwise):
    for _ in range(PATIENCE):
        if wanted():
            return
        yield 0.5
    shot("lost")
    raise AssertionError(otherwise)


def stamps():
    return sorted(t.mouldply.piece.stamp for t in bpy.data.objects if t.mouldply.piece.is_pattern)


def state():
    """Return what a result changes."""
    homes = [one.mouldply for one in bpy.data.collections if one.mouldply.owner]
    return stamps(), [(home.job_digest, home.nests, home.files) for home in homes]
