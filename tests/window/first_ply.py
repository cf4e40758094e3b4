"""In a real window: from an empty file to a first ply, and every empty state on the way.

MOULD is an STL in mm; the runner makes its folder visible.
"""

import time
from pathlib import Path

import bpy

MOULD = Path(__file__).with_name("mould.stl")
STATE = {"at": 0, "wait": 0.0}


def view3d(operator, **options):
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        return operator(**options)


def imported():
    shot("f1_empty.png")  # noqa: F821
    for thing in list(bpy.data.objects):
        bpy.data.objects.remove(thing)
    bpy.context.scene.unit_settings.system = "METRIC"
    view3d(bpy.ops.mouldply.import_mould, filepath=str(MOULD))


def edited():
    shot("f2_imported.png")  # noqa: F821
    view3d(bpy.ops.object.mode_set, mode="EDIT")
    view3d(bpy.ops.mesh.select_mode, type="FACE")
    view3d(bpy.ops.mesh.select_all, action="DESELECT")
    import bmesh

    mesh = bmesh.from_edit_mesh(bpy.context.object.data)
    top = max(face.calc_center_median().z for face in mesh.faces)
    for face in mesh.faces:
        inner = all(abs(v.co.x) < 0.45 * bpy.context.object.dimensions.x for v in face.verts)
        face.select = face.normal.z > 0.03 and inner and face.calc_center_median().z < top * 0.99
    bmesh.update_edit_mesh(bpy.context.object.data)


def plied():
    shot("f3_selected.png")  # noqa: F821
    print(view3d(bpy.ops.mouldply.new_ply))


def flattened():
    shot("f4_ply.png")  # noqa: F821
    view3d(bpy.ops.object.mode_set, mode="OBJECT")
    try:
        view3d(bpy.ops.mouldply.flatten)
    except RuntimeError as refused:
        print("REFUSED", refused)


def looked():
    shot("f5_flat.png")  # noqa: F821
    home = next((c for c in bpy.data.collections if c.mouldply.owner), None)
    if home is not None and len(home.mouldply.findings):
        number = next((n for n, f in enumerate(home.mouldply.findings) if f.faces), 0)
        home.mouldply.active_finding = number
        view3d(bpy.ops.mouldply.show_finding)
    bpy.context.scene.unit_settings.system = "IMPERIAL"


def ended():
    shot("f6_finding_inches.png")  # noqa: F821


FLOW = [imported, edited, plied, flattened, looked, ended]


def done():
    """One step after the other."""
    if bpy.context.window_manager.mouldply.running or time.monotonic() < STATE["wait"]:
        return False
    if STATE["at"] == len(FLOW):
        return True
    FLOW[STATE["at"]]()
    STATE["at"] += 1
    STATE["wait"] = time.monotonic() + 2.0
    return False


bpy.context.preferences.view.smooth_view = 0
sidebar("mouldply")  # noqa: F821
