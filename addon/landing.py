"""The end of a piece of work: its answer written into the file, slice by slice."""

from __future__ import annotations

import time
from collections.abc import Callable, Generator
from typing import Any

import bpy

from . import bridge
from .apply import find_patterns, layout_stamp, ready_steps
from .aside import Aside
from .curves import replace_proposals
from .freshness import needs_cut
from .ready import Ready, make_ready

SLICE_S = 0.02  # after which the window has its turn


class Landing:
    """One answer on its way into the file; `message` is None until it is there.

    Holds data of the file between slices: after undo, or once the mould is gone, drop it.
    """

    def __init__(
        self, mould: Any, scene: Any, load: Callable[[], Any], request: dict[str, Any]
    ) -> None:
        """Begin: the answer is read in a thread, the mould is taken here."""
        self.message: str | None = None
        self._request = request
        self._steps: Generator[None, None, str] | None = None
        taken = bridge.take_mould(mould, scene, bpy.context.evaluated_depsgraph_get())
        same = taken.faces.count == len(mould.data.polygons)
        own = None if same else bridge.take_own(mould, scene)
        self._ready = Aside(lambda: make_ready(load(), taken, own))
        if bpy.app.background:
            self._ready.result()

    @property
    def begun(self) -> bool:
        """Whether anything of it may be in the file."""
        return self._steps is not None

    def step(self, mould: Any, scene: Any) -> None:
        """Do one slice of it.

        Raises
        ------
        InputError : the answer cannot be read
        """
        if not self._ready.done:
            return
        if self._steps is None:
            self._steps = _steps(self._ready.result(), mould, scene, self._request)
        began = time.perf_counter()
        while time.perf_counter() - began < SLICE_S:
            try:
                next(self._steps)
            except StopIteration as end:
                self.message = end.value
                return


def _steps(
    ready: Ready, mould: Any, scene: Any, request: dict[str, Any]
) -> Generator[None, None, str]:
    """Write an answer into the file; return what there is to say."""
    facts, files = ready.answer.facts, request.get("files")
    if "proposals" in facts:
        wanted = request.get("propose")
        ply = next((ply for ply in mould.mouldply.plies if ply.id == wanted), None)
        if ply is None:
            return ""
        replace_proposals(scene, mould, ply, facts["proposals"])
        return "" if facts["proposals"] else _no_cut(mould, ply)
    if "tack" in facts:
        _move_tack(mould, scene, facts["tack"])
        return ""
    yield from ready_steps(ready, mould, scene)
    if not files:
        return ""
    results = find_patterns(mould).mouldply
    results.files, results.written = files, layout_stamp(results)
    return f"Files are in {files}"


def _no_cut(mould: Any, ply: Any) -> str:
    """Say why no cut was proposed."""
    if needs_cut(mould, ply.id):
        return (
            f"No cut was found that lets ply '{ply.name}' lie down. Move its tack point, or choose "
            "a cloth that shears further."
        )
    return f"Ply '{ply.name}' lies down without a cut."


def _move_tack(mould: Any, scene: Any, tack: dict[str, Any]) -> None:
    """Put a ply's tack point where the search found it better; keep what it said."""
    for ply in mould.mouldply.plies:
        if ply.id == tack["ply_id"]:
            ply.tack_gain = tack["gain"]
            if tack["better"]:
                ply.tack = bridge.points_from_mm(mould, scene, [tack["at_mm"]])[0]
                ply.use_tack = True
