"""The buttons. Each reads the scene, calls the engine once and writes the answer."""

import bpy

from ..props import CONTEXT
from . import (
    checks,
    cloth,
    coats,
    cuts,
    extras,
    faces,
    importing,
    messages,
    mould_parts,
    paint,
    plies,
    presets,
    rosette,
    run,
    shared_cloth,
    stock,
    tack,
    test_sheet,
)

MODULES = (
    cloth,
    shared_cloth,
    plies,
    faces,
    paint,
    rosette,
    tack,
    cuts,
    run,
    checks,
    mould_parts,
    stock,
    importing,
    messages,
    presets,
    coats,
    extras,
    test_sheet,
)


def register() -> None:
    """Register every operator."""
    for module in MODULES:
        for kind in module.CLASSES:
            kind.bl_translation_context = CONTEXT
            bpy.utils.register_class(kind)
    bpy.types.TOPBAR_MT_file_import.append(importing.draw_in_menu)


def unregister() -> None:
    """Unregister every operator."""
    bpy.types.TOPBAR_MT_file_import.remove(importing.draw_in_menu)
    for module in reversed(MODULES):
        for kind in reversed(module.CLASSES):
            bpy.utils.unregister_class(kind)
