"""The engine's imports, paid for in small slices while the person looks at the sidebar.

All at once they would hold the window up at the first button. Only what a window needs is here:
the solver and the writers are the worker's.
"""

from __future__ import annotations

import bpy

from . import engine

SLICES = (  # none above 30 ms
    "arrays", "surface.mesh", "surface.rosette", "cloth.fabric", "laminate.settings",
    "pattern.settings", "nest.outline", "nest.roll", "surface.path", "surface.geodesic",
    "surface.cut", "laminate.ply", "mould.corners", "mould.draft", "mould.layup", "mould.check",
    "packed", "job", "stamp", "answer", "cloth.threads",
)  # fmt: skip
PAUSE_S = 0.1


class Memory:
    """How many slices have been imported."""

    def __init__(self) -> None:
        self.at = 0


MEMORY = Memory()


def start() -> None:
    """Begin, unless it has begun or there is no window to hold up."""
    if MEMORY.at == 0 and not bpy.app.background and not bpy.app.timers.is_registered(step):
        bpy.app.timers.register(step, first_interval=PAUSE_S, persistent=True)


def done() -> bool:
    """Whether everything a window needs is imported."""
    return MEMORY.at == len(SLICES)


def step() -> float | None:
    """Import one slice."""
    engine.load(SLICES[MEMORY.at])
    MEMORY.at += 1
    return PAUSE_S if MEMORY.at < len(SLICES) else None


def register() -> None:
    """Nothing yet: a person who never opens the tab pays nothing."""


def unregister() -> None:
    """Stop."""
    if bpy.app.timers.is_registered(step):
        bpy.app.timers.unregister(step)
    MEMORY.__init__()  # type: ignore[misc]
