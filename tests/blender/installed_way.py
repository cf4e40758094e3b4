"""Run by test_packed.py in a Blender that knows nothing but the zip: install, use, leave."""

import os
import sys

import bpy

ZIP, OUT = sys.argv[-2:]
PACKAGE = "bl_ext.user_default.mouldply"


def main():
    bpy.ops.extensions.package_install_files(
        filepath=ZIP, repo="user_default", enable_on_install=True, overwrite=True
    )
    assert PACKAGE in bpy.context.preferences.addons, "not enabled"
    bpy.ops.mesh.primitive_grid_add(x_subdivisions=10, y_subdivisions=10, size=0.2)
    mould = bpy.context.object
    assert bpy.ops.mouldply.new_ply() == {"FINISHED"}
    bpy.context.scene.mouldply.nest.seconds = 1.0
    assert bpy.ops.mouldply.export(directory=OUT) == {"FINISHED"}
    run_in_worker(mould)
    for name in ("cvxopt", "shapely", "ezdxf", "reportlab"):
        place = sys.modules[name].__file__
        assert place.startswith(os.environ["BLENDER_USER_RESOURCES"]), f"{name} came from {place}"
    assert "flatten" not in sys.modules, "the engine of a checkout was used"
    bpy.ops.preferences.addon_disable(module=PACKAGE)
    print("WENT THE WHOLE WAY", flush=True)


def run_in_worker(mould):
    """Drape once in the worker, as a window would."""
    import importlib
    import time

    load = importlib.import_module(f"{PACKAGE}.engine").load
    job = importlib.import_module(f"{PACKAGE}.scene_job").read_job(
        mould, bpy.context.scene, bpy.context.evaluated_depsgraph_get()
    )
    worker = importlib.import_module(f"{PACKAGE}.worker").Worker()
    load("job").save_job(job, worker.home / "job")
    worker.submit({"job": str(worker.home / "job"), "plies": ["p1"]})
    end = time.monotonic() + 100
    while (news := worker.look()).state == "running" and time.monotonic() < end:
        time.sleep(0.05)
    worker.close()
    assert news.state == "done", news


main()
sys.stdout.flush()
os._exit(0)
