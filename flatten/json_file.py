"""JSON from a file nobody vouches for: a plain file, bounded, each field once, no NaN."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

MOST_PARTS = 2_000_000  # lists and objects: each takes twenty times the memory of its two brackets


def read_json(file: Path, most_bytes: int) -> Any:
    """Return what a JSON file holds.

    Raises
    ------
    OSError : it is not there, not readable, or no plain file (a pipe or a device never ends)
    ValueError : too large, not UTF-8, not JSON, absurdly nested, a field twice, or NaN
    """
    if file.exists() and not file.is_file():
        raise OSError(0, "it is no plain file")
    with file.open("rb") as stream:
        content = stream.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise ValueError(f"it is larger than {most_bytes / 2**20:.0f} MB")
    if content.count(b"[") + content.count(b"{") > MOST_PARTS:
        raise ValueError(f"it has more than {MOST_PARTS} lists and objects")
    try:
        return json.loads(
            content.decode("utf-8"), object_pairs_hook=_each_once, parse_constant=_no_number
        )
    except RecursionError as error:
        raise ValueError("it is nested too deep") from error


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in fields if names.count(name) > 1)
        raise ValueError(f"the field '{twice[:60]}' stands in it twice")
    return fields


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of JSON")
