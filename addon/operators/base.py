"""EngineOperator: an engine error becomes a report and a selection; bugs pass through."""

from __future__ import annotations

from .. import bridge, engine
from ..moulds import find_mould
from ..said import said


class EngineOperator:
    """Runs `run(context)`, which may return a set of its own, and reports errors of the engine."""

    def execute(self, context):
        """Do the work; Blender calls this."""
        return self.tried(context, lambda: self.run(context) or {"FINISHED"}) or {"CANCELLED"}

    def tried(self, context, work):
        """Return what `work` returns; None if the engine refused, which is then reported."""
        try:
            return work()
        except engine.load("errors").FlattenError as error:
            mould = find_mould(context)
            if mould is not None and error.faces:
                bridge.select_faces(mould, context, error.faces)
            self.report({"ERROR"}, said(str(error)))
            return None

    def tell(self, text):
        """Tell what was done, in the interface's language."""
        self.report({"INFO"}, said(text))


def move_row(rows, here, by):
    """Swap a row of a list with its neighbour, "UP" or "DOWN"; return its place afterwards."""
    there = here + (-1 if by == "UP" else 1)
    if not 0 <= there < len(rows):
        return here
    rows.move(here, there)
    return there


class NeedsMould:
    """Greys the button out where there is no mould, and says why."""

    @classmethod
    def poll(cls, context):
        """Whether the button can be pressed."""
        return _has_mould(cls, context)


class NeedsPly(NeedsMould):
    """Greys the button out where there is no ply, and says why."""

    @classmethod
    def poll(cls, context):
        """Whether the button can be pressed."""
        if not _has_mould(cls, context):
            return False
        if not find_mould(context).mouldply.plies:
            cls.poll_message_set("Make a ply first: select faces of the mould, then New Ply")
            return False
        return True


def _has_mould(cls, context):
    """Return whether it is known which mould is meant; otherwise an operator says how to tell."""
    if find_mould(context) is not None:
        return True
    if any(thing.mouldply.is_mould for thing in context.scene.objects):
        cls.poll_message_set("There are several moulds: select one of them")
    else:
        cls.poll_message_set("Make a ply first: select faces of the mould, then New Ply")
    return False
