"""The buttons. Each reads the scene, calls the engine once and writes the answer."""

import bpy

from . import cloth, plies, run

MODULES = (cloth, plies, run)


def register() -> None:
    """Register every operator."""
    for module in MODULES:
        for kind in module.CLASSES:
            bpy.utils.register_class(kind)


def unregister() -> None:
    """Unregister every operator."""
    for module in reversed(MODULES):
        for kind in reversed(module.CLASSES):
            bpy.utils.unregister_class(kind)
