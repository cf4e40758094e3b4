"""Jobs from .blend files for the command line: opened without running the file's scripts."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

from . import engine


def read_job(path: Path) -> Any:
    """Return the job of the mould in a .blend file.

    With several moulds in the file the active one is meant.

    Raises
    ------
    InputError : not a .blend, a newer Blender's, no mould, several of which none is active,
        or whatever the mould and its plies have wrong
    """
    error = engine.load("errors").InputError
    path = Path(path).resolve()
    _refuse_other_files(path, error)
    try:
        import bpy
    except ImportError as missing:
        raise error(
            "Reading .blend files needs Blender's Python module.",
            "Install it with pip install 'mouldply[blender]', or run a job folder.",
        ) from missing
    from . import registration

    registration.register()
    try:
        try:
            bpy.ops.wm.open_mainfile(filepath=str(path), load_ui=False, use_scripts=False)
        except RuntimeError as refused:
            raise error(
                f"Blender cannot open '{path.name}': {str(refused).strip().splitlines()[-1]}",
                "Open and save it again in the Blender version it was made with.",
            ) from refused
        return read_open_file(path.name)
    finally:
        registration.unregister()


def read_open_file(name: str) -> Any:
    """Return the job of the mould in the file that is open."""
    import bpy

    from .scene_job import read_job as read

    error = engine.load("errors").InputError
    if bpy.data.version[:2] > bpy.app.version[:2]:
        made, here = (".".join(map(str, v[:2])) for v in (bpy.data.version, bpy.app.version))
        raise error(
            f"'{name}' was saved by the newer Blender {made}; this one is {here}.",
            f"Use bpy {made}, or save the file again in Blender {here}.",
        )
    scene, layer = bpy.context.scene, bpy.context.view_layer
    moulds = [thing for thing in scene.objects if thing.mouldply.is_mould]
    if not moulds:
        raise error(
            f"'{name}' has no mould.",
            "Select faces of the mould in Blender and make a ply of them.",
        )
    active = layer.objects.active
    mould = active if active in moulds else moulds[0]
    if len(moulds) > 1 and active not in moulds:
        raise error(
            f"'{name}' has {len(moulds)} moulds: {', '.join(thing.name for thing in moulds)}.",
            "Make one of them the active object and save the file.",
        )
    if mould.mode == "EDIT":
        bpy.ops.object.mode_set(mode="OBJECT")
    return read(mould, scene, bpy.context.evaluated_depsgraph_get())


def _refuse_other_files(path: Path, error: Any) -> None:
    """Look at the first bytes: a .blend starts with its name, or is packed by zstd or gzip."""
    try:
        head = path.open("rb").read(12)
    except OSError as refused:
        raise error(f"'{path}' cannot be read: {refused.strerror}.", "Check the name.") from refused
    packed = head[:4] == struct.pack("<I", 0xFD2FB528) or head[:2] == b"\x1f\x8b"
    if not packed and head[:7] != b"BLENDER":
        raise error(f"'{path.name}' is not a .blend file.", "Choose a file saved by Blender.")
