"""The sidebar's tab, in bench order."""

import bpy

from ..props import CONTEXT
from . import bench, cloth, cuts, files, findings, mould, patterns, plies, presets, roll

MODULES = (presets, bench, mould, cloth, plies, cuts, patterns, findings, roll, files)


def register() -> None:
    """Register every panel."""
    for module in MODULES:
        for kind in module.CLASSES:
            kind.bl_translation_context = CONTEXT
            bpy.utils.register_class(kind)


def unregister() -> None:
    """Unregister every panel."""
    for module in reversed(MODULES):
        for kind in reversed(module.CLASSES):
            bpy.utils.unregister_class(kind)
