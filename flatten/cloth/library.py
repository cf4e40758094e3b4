"""The cloths that come with the program and a person's own: read, write, share.

A cloth file is JSON: {"cloths": [{...}, ...]}, the fields of Fabric by name. A person's own
files lie in a folder; a cloth there with the id of a supplied one takes its place.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..folder import write_whole
from ..json_file import read_json
from ..records import from_plain, to_plain
from .fabric import Fabric

SUPPLIED = Path(__file__).with_name("fabrics.json")
VERSION = 1
LARGEST_BYTES = 5_000_000  # a file with more is no cloth list


def load_fabrics(own: Path | str | None = None) -> dict[str, Fabric]:
    """Return the supplied cloths by id, then a person's own: a file, or a folder's .json files.

    Raises
    ------
    InputError : the file or folder cannot be read, or a cloth in it is not valid
    """
    cloths = {cloth.id: cloth for cloth in read_fabrics(SUPPLIED)}
    if own is not None:
        place = Path(own)
        if not place.exists():
            raise InputError(f"There is no cloth file or folder '{place}'.", "Choose another one.")
        for file in sorted(place.glob("*.json")) if place.is_dir() else [place]:
            cloths |= {cloth.id: cloth for cloth in read_fabrics(file)}
    return cloths


def read_fabrics(file: Path | str) -> list[Fabric]:
    """Return the cloths of one file.

    Raises
    ------
    InputError : not readable, not a cloth file, a newer version, a wrong or missing value,
        an id twice
    """
    file = Path(file)
    data = _read_json(file)
    if not isinstance(data, dict) or not isinstance(data.get("cloths"), list):
        raise InputError(
            f"'{file.name}' is not a cloth file.", 'It must hold {"version": 1, "cloths": [...]}.'
        )
    version = data.get("version")
    if version != VERSION:
        raise InputError(
            f"'{file.name}' is a cloth file of version {version!r}, not {VERSION}.",
            "Export it again with this version of the program.",
        )
    cloths = [
        from_plain(Fabric, item, f"'{file.name}', cloth {number}")
        for number, item in enumerate(data["cloths"], start=1)
    ]
    seen: set[str] = set()
    for cloth in cloths:
        if cloth.id in seen:
            raise InputError(
                f"'{file.name}' holds the cloth '{cloth.id}' twice.", "Rename or remove one."
            )
        seen.add(cloth.id)
    return cloths


def write_fabrics(file: Path | str, cloths: list[Fabric]) -> None:
    """Write cloths to a file that `read_fabrics` reads back equal; replaces it in one move.

    Raises
    ------
    InputError : the file cannot be written
    """
    file = Path(file)
    try:
        write_whole(file, fabrics_text(cloths).encode())
    except OSError as error:
        raise InputError(
            f"The cloth file '{file}' cannot be written: {error.strerror}.", "Choose another place."
        ) from error


def fabrics_text(cloths: Iterable[Fabric]) -> str:
    """Return what a file of these cloths holds."""
    data = {"version": VERSION, "cloths": [to_plain(cloth) for cloth in cloths]}
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _read_json(file: Path) -> Any:
    try:
        return read_json(file, LARGEST_BYTES)
    except OSError as error:
        reason = error.strerror or error
        raise InputError(
            f"The cloth file '{file}' cannot be read: {reason}.", "Check path and rights."
        ) from error
    except ValueError as error:  # too large, not UTF-8, not JSON, absurd numbers
        raise InputError(
            f"'{file.name}' is not valid JSON: {error}.", "Correct it or export it again."
        ) from error
