"""What Blender is told about, in the order it must hear it; unregistering runs backwards."""

from __future__ import annotations

from importlib import import_module

PARTS = (
    "properties",
    "operators",
    "panels",
    "preferences",
    "warm",
    "freshness",
    "maps",
    "overlays",
    "legend",
    "lit",
    "watching",
    "translation",
)


def register() -> None:
    """Register every part; a part that fails takes the ones before it back out."""
    done = []
    try:
        for name in PARTS:
            part = import_module(f".{name}", __package__)
            part.register()
            done.append(part)
    except BaseException:
        for part in reversed(done):
            part.unregister()
        raise


def unregister() -> None:
    """Unregister every part, last first."""
    for name in reversed(PARTS):
        import_module(f".{name}", __package__).unregister()
