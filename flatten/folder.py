"""A folder of results that is whole or plainly unfinished: staged, then swapped in, index last.

Longer than most files: lock, staging, exchange and recovery are one order of steps.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import stat
import tempfile
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from .alone import alone_in
from .errors import InputError
from .json_file import read_json

INDEX = "result.json"
# The set is written here first. It is whole once its own index is there, so a run that was
# killed while swapping is completed by whoever opens the folder next.
STAGING = ".mouldply-new"
MOST_INDEX_BYTES = 64 * 2**20
LONGEST_NAME = 60  # characters made from what a person typed: 240 bytes in UTF-8 at the most
MOST_NAME = 100  # with ending and number
# Source: Naming Files, Paths, and Namespaces (Win32 documentation): these, with any ending.
DEVICES = {
    "CON",
    "PRN",
    "AUX",
    "NUL",
    "CONIN$",
    "CONOUT$",
    *(f"{port}{i}" for port in ("COM", "LPT") for i in "0123456789\u00b9\u00b2\u00b3"),
}
# Besides what Windows forbids: letters that are not seen, or turn the reading direction, so that
# a name looks like another's. Source: Unicode Technical Report 36 (from memory).
FORBIDDEN = re.compile(
    r'[<>:"/\\|?*\x00-\x1f\x7f-\x9f\ud800-\udfff'
    r"\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]"
)


def write_set(folder: Path, files: Mapping[str, bytes], index: Mapping[str, Any]) -> None:
    """Replace the folder's set of results by `files` and its index.

    The index gets `files`: the SHA-256 of every other file. Files of the old set that the new
    one does not have are removed; anything that is not ours stays. Killed at any moment, the
    old set or the new one is whole, or `settle` makes it so. Two runs at once: one after the other.

    Raises
    ------
    InputError : the folder cannot be written or the disk is full: the old set is intact; a file
        of the old set is held open or was made a folder: the new one waits beside it
    """
    for name in files:
        if not _plain(name):
            raise InputError(f"'{name}' cannot be the name of a file.", "Rename it.")
    index = {**index, "files": {name: digest(content) for name, content in sorted(files.items())}}
    text = (json.dumps(index, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
    if len(text) > MOST_INDEX_BYTES:  # else nobody could read it
        raise InputError(
            f"The numbers of this result would fill {len(text) / 2**20:.0f} MB.",
            "Make two jobs of it.",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with alone_in(folder):
            _settle(folder)
            _refuse_strangers(folder, files)
            staging = folder / STAGING
            _remove(staging)
            staging.mkdir()
            for name, content in sorted(files.items()):
                _write(staging / name, content)
            _write(staging / INDEX, text)
            _sync_folder(staging)
            _settle(folder)
            if (folder / INDEX).read_bytes() != text:
                raise InputError(
                    f"'{folder}' was changed by another program meanwhile.", "Run the job again."
                )
    except OSError as error:
        _remove_unfinished(folder)
        if (folder / STAGING / INDEX).is_file():
            raise InputError(
                f"'{error.filename2 or error.filename}' cannot be replaced: {error.strerror}.",
                f"Close or move it away and run again; the new set waits in '{STAGING}'.",
            ) from error
        raise InputError(
            f"The folder '{folder}' cannot be written: {error.strerror or error}.",
            "Free some space or choose a folder you may write to; the old files are unchanged.",
        ) from error


def settle(folder: Path) -> None:
    """Finish what a killed run left: swap a whole staged set in, remove an unfinished one.

    Raises
    ------
    OSError : the folder cannot be written, or a file in it is held open
    InputError : another run is writing to it
    """
    if (folder / STAGING).is_dir():
        with alone_in(folder):
            _settle(folder)


def _settle(folder: Path) -> None:
    staging = folder / STAGING
    if not staging.is_dir() or staging.is_symlink():
        return
    fresh = staging / INDEX
    new = _listed(fresh)
    if not new or not all(_is_there(folder, name, wanted) for name, wanted in new.items()):
        _remove(staging)
        return
    gone = sorted(set(_listed(folder / INDEX)) - set(new))
    for name in [*gone, *sorted(new), INDEX]:
        _refuse_held(folder / name)
    for name in gone:
        (folder / name).unlink(missing_ok=True)
    for name in sorted(new):
        if (staging / name).exists():  # else it was moved before the kill
            os.replace(staging / name, folder / name)
    os.replace(fresh, folder / INDEX)
    _sync_folder(folder)
    _remove(staging)


def read_index(folder: Path) -> dict[str, Any]:
    """Return the folder's index after checking every file against its digest.

    Raises
    ------
    InputError : no set, or one that is not whole; another run is writing to it
    """
    with alone_in(folder):
        return _read_index(folder)


def _read_index(folder: Path) -> dict[str, Any]:
    if (folder / STAGING / INDEX).is_file():
        with contextlib.suppress(OSError):  # on a read-only disk, say: the old set may be whole
            _settle(folder)
    file = folder / INDEX
    try:
        index: dict[str, Any] = read_json(file, MOST_INDEX_BYTES)
        files: dict[str, Any] = index["files"]
        names = list(files.items())
    except OSError as error:
        raise InputError(
            f"'{folder}' holds no finished results: {error.strerror}.", "Run the job again."
        ) from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(f"'{file}' is damaged: {error}.", "Run the job again.") from error
    for name, wanted in names:
        if not _plain(name):
            raise InputError(f"'{file}' names the file '{name}'.", "Run the job again.")
        if not _holds(folder / name, wanted):
            raise InputError(
                f"'{folder / name}' is missing or was changed after it was written.",
                "Run the job again.",
            )
    return index


def write_whole(file: Path, content: bytes) -> None:
    """Put one file in its place: written beside it first, so that the old one stays till then.

    A link is followed, rights stay as they were. What is no plain file, a device for one, is
    written to as it is.

    Raises
    ------
    OSError : it cannot be written; nothing is left beside it
    """
    if file.exists() and not file.is_file():
        file.write_bytes(content)
        return
    file = file.resolve()
    mode = file.stat().st_mode & 0o777 if file.exists() else 0o666 & ~_umask()
    handle, beside = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name[:40]}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(beside, mode)  # mkstemp lets nobody else read
        os.replace(beside, file)
    finally:
        Path(beside).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def digest(content: bytes) -> str:
    """Return the SHA-256 of a file's bytes, as hex."""
    return hashlib.sha256(content).hexdigest()


def safe_name(text: str, longest: int = LONGEST_NAME) -> str:
    """Return a name made by a person as one a file may have on any system."""
    name = re.sub(r"^[\s.]+|[\s.]+$", "", FORBIDDEN.sub("_", text)[:longest]) or "_"
    return f"_{name}" if name.split(".")[0].strip().upper() in DEVICES else name


def distinct_names(texts: Sequence[str]) -> list[str]:
    """Return a safe name for each text, no two alike where capitals and accents' coding count not.

    macOS takes an accented letter and the letter with its accent behind it for one name.
    """
    taken: set[str] = set()
    names = []
    for text in texts:
        name = safe_name(text)
        number, first = 2, name
        while _as_disks_see(name) in taken:
            name, number = f"{first} {number}", number + 1
        taken.add(_as_disks_see(name))
        names.append(name)
    return names


def _as_disks_see(name: str) -> str:
    return unicodedata.normalize("NFC", name.casefold())


def _listed(index: Path) -> dict[str, str]:
    """Return the files an index lists, with their digests; none where it is not one of ours."""
    try:
        if index.is_symlink():
            return {}
        files = read_json(index, MOST_INDEX_BYTES)["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    ours = isinstance(files, dict) and all(
        _plain(name) and isinstance(wanted, str) and re.fullmatch("[0-9a-f]{64}", wanted)
        for name, wanted in files.items()
    )
    return files if ours else {}


def _is_there(folder: Path, name: str, wanted: str) -> bool:
    """Whether a file of a staged set is there, staged or already moved."""
    return _holds(folder / STAGING / name, wanted) or _holds(folder / name, wanted)


def _holds(file: Path, wanted: object) -> bool:
    """Whether a file is there with the bytes of this digest."""
    if file.is_symlink() or not file.is_file():
        return False
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest() == wanted


def _refuse_strangers(folder: Path, files: Mapping[str, bytes]) -> None:
    """Refuse to overwrite a file that no run of ours has written."""
    ours = _listed(folder / INDEX)
    strangers = sorted(set(files) - set(ours))
    for name in [*strangers, *([] if ours else [INDEX])]:
        if (folder / name).exists() or (folder / name).is_symlink():
            raise InputError(
                f"'{folder / name}' is already there and was not written by mouldply.",
                "Choose an empty folder, or move that file away.",
            )


def _refuse_held(file: Path) -> None:
    """Refuse before anything is replaced: a folder in the file's place, or a program holding it."""
    if file.is_dir() and not file.is_symlink():
        raise IsADirectoryError(0, "a folder is in its place", str(file))
    if file.exists():
        os.replace(file, file)  # nothing, but Windows refuses it while a viewer has the file open


def _plain(name: str) -> bool:
    """Whether a name stays in its folder, on any system."""
    sound = safe_name(name, MOST_NAME) == name and len(name.encode("utf-8", "replace")) <= 250
    return bool(name) and name not in (INDEX, STAGING) and sound


def _write(file: Path, content: bytes) -> None:
    with file.open("wb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())


def _sync_folder(folder: Path) -> None:
    """Make renames last through a power cut; Windows has no such call and needs none."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remove(folder: Path) -> None:
    if folder.is_symlink() or (folder.exists() and not stat.S_ISDIR(folder.stat().st_mode)):
        folder.unlink()
    elif folder.exists():
        shutil.rmtree(folder)


def _remove_unfinished(folder: Path) -> None:
    """Give the space of an unfinished set back; a whole one stays to be settled."""
    staging = folder / STAGING
    if staging.is_dir() and not (staging / INDEX).is_file():
        shutil.rmtree(staging, ignore_errors=True)
