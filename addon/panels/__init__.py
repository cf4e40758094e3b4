"""The sidebar's tab, in bench order, and the same as a menu."""

import bpy

from ..props import CONTEXT
from . import bench, cloth, cuts, files, findings, menus, mould, patterns, plies, presets, roll

MODULES = (presets, bench, mould, cloth, plies, cuts, patterns, findings, roll, files, menus)


def register() -> None:
    """Register every panel."""
    for module in MODULES:
        for kind in module.CLASSES:
            kind.bl_translation_context = CONTEXT
            bpy.utils.register_class(kind)
    for host in menus.HOSTS:
        getattr(bpy.types, host).append(menus.draw_in_menu)


def unregister() -> None:
    """Unregister every panel."""
    for host in menus.HOSTS:
        getattr(bpy.types, host).remove(menus.draw_in_menu)
    for module in reversed(MODULES):
        for kind in reversed(module.CLASSES):
            bpy.utils.unregister_class(kind)
