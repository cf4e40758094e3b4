"""Jobs from .blend files for the command line: opened without running the file's scripts.

Blender's own reader is not made for damaged files: some end it, some never end. So a file is
opened in a process of its own, which hands back a job folder or what is wrong.
"""

from __future__ import annotations

import json
import os
import signal
import struct
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from . import engine

# A mould of a million faces is open in half a minute; three minutes of nothing are a hang.
LIMIT_S = 180.0
SAID = "said.json"  # what is wrong, beside the job folder
CHILD = (
    "import sys; sys.path.append(sys.argv[1]); "
    "from addon.blend_reader import _hand_back; _hand_back(*sys.argv[2:])"
)


def read_job(path: Path, *, limit_s: float = LIMIT_S) -> Any:
    """Return the job of the mould in a .blend file, read by a process of its own.

    With several moulds in the file the active one is meant.

    Raises
    ------
    InputError : not a .blend, a newer Blender's, one that Blender's reader does not survive or
        does not finish within `limit_s`, no mould, several of which none is active, or whatever
        the mould and its plies have wrong
    """
    error = engine.load("errors").InputError
    path = Path(path).resolve()
    _refuse_other_files(path, error)
    with tempfile.TemporaryDirectory(prefix="mouldply-") as made:
        # -P: what lies in the folder the user stands in is nobody's module.
        command = [sys.executable, "-P", "-c", CHILD, str(engine.SEARCH_FOLDER), str(path), made]
        try:
            ended = subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, timeout=limit_s, check=False
            )
        except subprocess.TimeoutExpired as late:
            raise error(
                f"Blender has not finished opening '{path.name}' after {limit_s:.0f} s.",
                DAMAGED,
            ) from late
        said = Path(made) / SAID
        if said.is_file():
            told = json.loads(said.read_text(encoding="utf-8"))
            kind = getattr(engine.load("errors"), told["kind"])
            raise kind(told["message"], told["hint"], faces=told["faces"])
        if ended.returncode:
            raise error(f"Blender's reader gave up on '{path.name}' ({_how(ended)}).", DAMAGED)
        return engine.load("job").load_job(Path(made) / "job")


DAMAGED = "The file is damaged: open it in Blender, save it under a new name and use that one."


def _how(ended: subprocess.CompletedProcess[bytes]) -> str:
    """Return how a process ended: the signal, or the last it said."""
    lines = ended.stderr.decode("utf-8", "replace").strip().splitlines()
    if ended.returncode > 0:
        return lines[-1] if lines else f"it ended with {ended.returncode}"
    try:
        return signal.Signals(-ended.returncode).name
    except ValueError:
        return f"signal {-ended.returncode}"


def _hand_back(path: str, folder: str) -> None:
    """Leave the job of a file in the folder, or what is wrong; the process is over then.

    Whatever else breaks in here is in the file, and told like one Blender does not survive.
    """
    errors = engine.load("errors")
    try:
        engine.load("job").save_job(read_here(Path(path)), Path(folder) / "job", small=False)
    except errors.FlattenError as error:
        said = {"kind": type(error).__name__, "message": error.message, "hint": error.hint}
        text = json.dumps({**said, "faces": error.faces})
        (Path(folder) / SAID).write_text(text, encoding="utf-8")
    sys.stdout.flush()
    os._exit(0)  # a damaged file's data may not survive being taken down


def read_here(path: Path) -> Any:
    """Return the job of the mould in a .blend file, opened in this process.

    Raises
    ------
    InputError : as `read_job` does
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
    except UnicodeDecodeError as garbled:
        raise error(f"'{path.name}' holds a name or text that is none.", DAMAGED) from garbled
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
