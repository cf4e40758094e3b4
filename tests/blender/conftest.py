"""Blender in this process: a user folder of its own, the add-on registered once, taken out at exit.

A registered add-on keeps bpy 4.5 from ending, hence `atexit`.
"""

import atexit
import os
import tempfile

import pytest

os.environ["BLENDER_USER_RESOURCES"] = tempfile.mkdtemp(prefix="mouldply-test-")

bpy = pytest.importorskip("bpy", reason="the bpy module is not installed")

import addon  # noqa: E402

addon.register()
atexit.register(addon.unregister)


def pytest_collection_modifyitems(items):
    for item in items:
        if "blender" in item.path.parts:
            item.add_marker(pytest.mark.blender)


@pytest.fixture(autouse=True)
def empty_file():
    """Start every test from an empty file in mm."""
    bpy.ops.wm.read_homefile(use_empty=True)
    scene = bpy.context.scene
    scene.unit_settings.system = "METRIC"
    scene.unit_settings.scale_length = 1.0
    return scene


@pytest.fixture
def scene():
    return bpy.context.scene
