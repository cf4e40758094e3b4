"""EngineOperator: an engine error becomes a report and a selection; bugs pass through."""

from __future__ import annotations

from .. import bridge, engine


class EngineOperator:
    """Runs `run(context)`, which may return a set of its own, and reports errors of the engine."""

    def execute(self, context):
        """Do the work; Blender calls this."""
        try:
            return self.run(context) or {"FINISHED"}
        except engine.load("errors").FlattenError as error:
            mould = find_mould(context)
            if mould is not None and error.faces:
                bridge.select_faces(mould, context, error.faces)
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}


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


class NeedsMould:
    """Greys the button out where there is no mould, and says why."""

    @classmethod
    def poll(cls, context):
        """Whether the button can be pressed."""
        if find_mould(context) is None:
            cls.poll_message_set("Select a mould: an object that has plies")
            return False
        return True


class NeedsPly(NeedsMould):
    """Greys the button out where there is no ply, and says why."""

    @classmethod
    def poll(cls, context):
        """Whether the button can be pressed."""
        mould = find_mould(context)
        if mould is None or not mould.mouldply.plies:
            cls.poll_message_set("Make a ply first: select faces of the mould, then New Ply")
            return False
        return True
