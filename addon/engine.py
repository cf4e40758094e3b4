"""The only import of the engine: beside the add-on in a checkout, inside it when installed."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from types import ModuleType

INSTALLED = __package__ != "addon"
NAME = f"{__package__}.flatten" if INSTALLED else "flatten"
# The folder that makes `import flatten` work in another process.
SEARCH_FOLDER = (
    Path(__file__).resolve().parent if INSTALLED else Path(__file__).resolve().parents[1]
)


def load(module: str) -> ModuleType:
    """Return an engine module, for example `load("surface.mesh")`, importing it on first use."""
    return import_module(f"{NAME}.{module}")


def version() -> str:
    """Return the engine's version."""
    return str(import_module(NAME).__version__)
