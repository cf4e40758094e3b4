"""Which mould and which ply are meant, and whether they can be worked on."""

from __future__ import annotations

from . import engine


def find_mould(context):
    """Return the mould the context is about: the active object, or the one it belongs to."""
    thing = context.object
    while thing is not None:
        if thing.mouldply.is_mould:
            return thing
        thing = thing.mouldply.owner or thing.parent
    moulds = [thing for thing in context.scene.objects if thing.mouldply.is_mould]
    return moulds[0] if len(moulds) == 1 else None


def need_mould(context):
    """Return the mould, or say how to get one."""
    mould = find_mould(context)
    if mould is None:
        moulds = [thing.name for thing in context.scene.objects if thing.mouldply.is_mould]
        error = engine.load("errors").InputError
        if moulds:
            raise error(
                f"There are {len(moulds)} moulds: {', '.join(moulds)}.", "Select one of them."
            )
        raise error("There is no mould yet.", "Select faces of a mesh and make a ply of them.")
    return mould


def need_ply(mould):
    """Return the active ply of a mould, or say how to get one."""
    own = mould.mouldply
    if not own.plies:
        raise engine.load("errors").InputError(
            f"Mould '{mould.name}' has no plies.", "Select faces and make a ply of them."
        )
    return own.plies[min(own.active_ply, len(own.plies) - 1)]


def need_editable(mould):
    """Refuse a mould whose mesh cannot keep regions of its own."""
    error, mesh = engine.load("errors").InputError, mould.data
    if mould.library or mesh.library or not mesh.is_editable:
        source = (mesh.library or mould.library).filepath if (mesh.library or mould.library) else ""
        raise error(
            f"Mesh '{mesh.name}' is linked{f' from {source}' if source else ''}: read only.",
            "Make it local with Object > Relations > Make Local > Selected Objects and Data.",
        )
    if mesh.users > 1:
        raise error(
            f"Mesh '{mesh.name}' is shared by {mesh.users} objects, which would share their "
            "plies too.",
            "Use Object > Relations > Make Single User > Object & Data.",
        )


def need_cloths(mould, scene):
    """Refuse a ply whose cloth the scene does not keep: a linked mould comes without its cloths."""
    there = {cloth.id for cloth in scene.mouldply.cloths}
    for ply in mould.mouldply.plies:
        if ply.fabric not in there:
            raise engine.load("errors").InputError(
                f"Ply '{ply.name}' asks for cloth '{ply.fabric}', which this file does not have.",
                "A linked mould comes without its cloths: add it under Cloth and Stock."
                if mould.library
                else "Choose the ply's cloth again, or add this one under Cloth and Stock.",
            )
