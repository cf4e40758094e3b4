"""From an empty file to written files: import, check, ply, drape, cuts, patterns, roll, export.

The mould is made here: a small printed tray, 26 mm deep, that needs cuts at its corners.
"""

import tempfile
from math import cos, pi, radians, sin
from pathlib import Path

import bmesh
import bpy
import hands
from hands import in_view, part, shot
from mathutils import Vector

POINTS, POWER = 64, 5.0  # of each ring; of the superellipse
HALF_MM, DEPTH_MM, FLANGE_MM, FILLET_MM, ROUND_MM = (75.0, 55.0), 26.0, 22.0, 8.0, 3.0


def flow():
    """Every step a person takes, with a picture of it."""
    hands.open_tab()
    yield 3  # the engine is imported in slices
    shot("01_empty")
    for thing in list(bpy.data.objects):
        bpy.data.objects.remove(thing)
    folder = Path(tempfile.mkdtemp(prefix="window-"))
    write_stl(folder / "instrument_tray.stl")
    in_view(bpy.ops.mouldply.import_mould, filepath=str(folder / "instrument_tray.stl"))
    hands.look()
    yield 2
    shot("02_imported")
    select_faces(lambda normal, middle: normal.z > 0.03 and middle.z > 5.0)
    yield 1
    shot("03_selected")
    in_view(bpy.ops.mouldply.new_ply)
    yield 1
    in_view(bpy.ops.object.mode_set, mode="OBJECT")
    mould = bpy.context.object
    own = mould.mouldply
    yield 2
    shot("04_ply")
    in_view(bpy.ops.mouldply.flatten, which="ALL")
    yield 0.3
    hands.look()
    yield 2
    shot("05_flat")
    shading = hands.area().spaces.active.shading
    shading.type, shading.color_type = "WIREFRAME", "RANDOM"
    bpy.context.window_manager.mouldply_view.map = "shear_deg"
    assert (shading.type, shading.color_type) == ("SOLID", "VERTEX")
    look_at(mould)
    yield 1
    shot("06_shear")
    bpy.context.window_manager.mouldply_view.map = "draft_deg"
    yield 1
    shot("07_draft")
    bpy.context.window_manager.mouldply_view.map = "NONE"
    shown = shading.type
    shading.type = "SOLID"
    assert (shown, shading.color_type) == ("WIREFRAME", "RANDOM"), "shading was not put back"
    shading.color_type = "MATERIAL"
    in_view(bpy.ops.mouldply.propose_cuts)
    yield 1
    shot("08_first_ply")
    in_view(bpy.ops.mouldply.clear_message)
    in_view(bpy.ops.mouldply.copy_ply, turn=radians(45))
    own.plies[1].repeat = 2
    in_view(bpy.ops.mouldply.flatten, which="ALL")
    yield 2
    hands.look()
    shot("09_locks")
    in_view(bpy.ops.mouldply.propose_cuts)
    hands.open_panel("MOULDPLY_PT_cuts")
    yield 1
    look_at(mould)
    hands.scroll(1)
    yield 1
    shot("09a_proposed")
    hands.scroll(-3)
    in_view(bpy.ops.mouldply.accept_cuts)
    yield 1
    shot("09b_accepted")
    curve = next(child for child in mould.children if child.mouldply.cut.is_cut)
    look_at(curve)
    in_view(bpy.ops.object.mode_set, mode="EDIT")
    in_view(bpy.ops.curve.select_all, action="SELECT")
    yield 1
    shot("09c_curve")
    in_view(bpy.ops.object.mode_set, mode="OBJECT")
    look_at(mould)
    in_view(bpy.ops.mouldply.flatten, which="ALL")
    yield 2
    hands.look()
    yield 1
    shot("09d_cut")
    hands.open_panel("MOULDPLY_PT_cuts", closed=True)
    show_first_finding(mould)
    yield 1
    shot("10_finding")
    assert_beside_the_sidebar(mould)
    in_view(bpy.ops.mouldply.hide_finding)
    bpy.context.scene.mouldply.nest.seconds = 5
    in_view(bpy.ops.mouldply.nest)
    yield 2
    hands.look()
    shot("11_nested")
    in_view(bpy.ops.mouldply.show_roll)
    yield 1
    shot("12_roll")
    in_view(bpy.ops.mouldply.leave_roll)
    yield 1
    in_view(bpy.ops.mouldply.export, directory=str(folder / "cut"))
    yield 2
    written = sorted(file.name for file in (folder / "cut").iterdir())
    print("WRITTEN", *written)
    assert "result.json" in written, "no files were written"
    shot("13_written")
    in_view(bpy.ops.mouldply.clear_message)
    for kind in ("corner_tape", "core", "cover"):
        in_view(bpy.ops.mouldply.add_extra, kind=kind)
    in_view(bpy.ops.mouldply.flatten, which="ALL")
    yield 2
    hands.look()
    yield 1
    shot("13a_extras")
    in_view(bpy.ops.mouldply.test_sheet, filepath=str(folder / "test sheet.pdf"))
    yield 4
    shot("13b_test_sheet")
    assert (folder / "test sheet.pdf").exists(), "no test sheet was written"
    bpy.context.scene.unit_settings.system = "IMPERIAL"
    yield 1
    shot("14_inches")


def show_first_finding(mould):
    """Look at the first finding that has a place."""
    home = next(one for one in bpy.data.collections if one.mouldply.owner == mould)
    findings = home.mouldply.findings
    home.mouldply.active_finding = next((n for n, one in enumerate(findings) if one.faces), 0)
    in_view(bpy.ops.mouldply.show_finding)


def assert_beside_the_sidebar(mould):
    """The lit faces are in the part of the view that is free, by Blender's own projection."""
    faces = part("lit").lit_faces(mould, bpy.context).reshape(-1, 3)
    left, right = hands.region("TOOLS"), hands.region("UI")
    for point in faces[:: max(1, len(faces) // 200)]:
        x, _ = hands.pixel_of(mould.matrix_world @ Vector(point))
        assert left.x + left.width <= x <= right.x


def look_at(thing):
    """Select one object and look at it."""
    for other in bpy.context.selected_objects:
        other.select_set(False)
    thing.select_set(True)
    bpy.context.view_layer.objects.active = thing
    hands.look(only=True)


def select_faces(wanted):
    """Select faces of the active mesh in edit mode by normal and middle in mm."""
    in_view(bpy.ops.object.mode_set, mode="EDIT")
    in_view(bpy.ops.mesh.select_mode, type="FACE")
    mesh = bmesh.from_edit_mesh(bpy.context.object.data)
    per_unit = 1000 * bpy.context.scene.unit_settings.scale_length
    for face in mesh.faces:
        face.select = wanted(face.normal, face.calc_center_median() * per_unit)
    bmesh.update_edit_mesh(bpy.context.object.data)


def profile():
    """Return (inset, height) in mm of each ring, from the flange's rim to the floor."""
    rings = [(-FLANGE_MM, 0.0), (-ROUND_MM - 8, 0.0)]
    for step in range(7):  # over the rim's edge
        turn = step / 6 * radians(85)
        rings.append((-ROUND_MM + ROUND_MM * sin(turn), -ROUND_MM + ROUND_MM * cos(turn)))
    lean = FILLET_MM * (1 - sin(radians(5)))
    for step in range(9):  # the wall
        down = ROUND_MM + (DEPTH_MM - ROUND_MM - lean) * step / 8
        rings.append((0.0875 * down, -down))
    last = rings[-1][0]
    for step in range(1, 9):  # the hollow corner of wall and floor
        turn = step / 8 * pi / 2
        rings.append((last + FILLET_MM * (1 - cos(turn)), -DEPTH_MM + lean * (1 - sin(turn))))
    rings += [(rings[-1][0] + inset, -DEPTH_MM) for inset in (8, 16, 24, 32)]
    return rings


def write_stl(file):
    """Write the tray as a closed block of triangles."""
    rings = [ring(inset, height + DEPTH_MM + 10) for inset, height in profile()]
    below = [(x, y, 0.0) for x, y, _ in rings[0]]
    triangles = [t for outer, inner in zip([below, *rings], rings, strict=False)
                 for t in band(outer, inner)]  # fmt: skip
    triangles += fan(rings[-1], (0.0, 0.0, rings[-1][0][2]))
    triangles += [t[::-1] for t in fan(below, (0.0, 0.0, 0.0))]
    text = ["solid tray"]
    for triangle in triangles:
        corners = "".join(f"vertex {x:.5f} {y:.5f} {z:.5f}\n" for x, y, z in triangle)
        text.append(f"facet normal 0 0 0\nouter loop\n{corners}endloop\nendfacet")
    file.write_text("\n".join([*text, "endsolid tray\n"]), "ascii")


def ring(inset, height):
    """Return POINTS points of the outline moved inwards."""
    places = []
    for number in range(POINTS):
        turn = 2 * pi * number / POINTS
        a, b = (half - inset for half in HALF_MM)
        size = (abs(cos(turn) / a) ** POWER + abs(sin(turn) / b) ** POWER) ** (-1 / POWER)
        places.append((size * cos(turn), size * sin(turn), height))
    return places


def band(outer, inner):
    """Join two rings by triangles that look up and inwards."""
    for n in range(POINTS):
        m = (n + 1) % POINTS
        yield outer[n], outer[m], inner[m]
        yield outer[n], inner[m], inner[n]


def fan(rim, middle):
    """Close a ring by triangles that look up."""
    return [(middle, rim[n], rim[(n + 1) % POINTS]) for n in range(POINTS)]
