"""What the .blend keeps: inputs on the mould and the scene, results on the patterns' collection."""

import bpy

from ..props import PointerProperty
from . import cloth, cut, extra, mould, mould_part, ply, progress, results, scene, view

MODULES = (cloth, cut, progress, results, ply, extra, mould_part, mould, scene, view)


def register() -> None:
    """Add the property groups to objects and scenes."""
    for module in MODULES:
        for kind in module.CLASSES:
            bpy.utils.register_class(kind)
    bpy.types.Object.mouldply = PointerProperty(type=mould.MOULDPLY_Mould)
    bpy.types.Collection.mouldply = PointerProperty(type=results.MOULDPLY_Results)
    bpy.types.WindowManager.mouldply = PointerProperty(type=progress.MOULDPLY_Progress)
    bpy.types.WindowManager.mouldply_view = PointerProperty(type=view.MOULDPLY_View)
    bpy.types.Scene.mouldply = PointerProperty(type=scene.MOULDPLY_Scene)


def unregister() -> None:
    """Remove them; what the .blend holds stays in it."""
    del bpy.types.Scene.mouldply
    del bpy.types.WindowManager.mouldply_view
    del bpy.types.WindowManager.mouldply
    del bpy.types.Collection.mouldply
    del bpy.types.Object.mouldply
    for module in reversed(MODULES):
        for kind in reversed(module.CLASSES):
            bpy.utils.unregister_class(kind)
