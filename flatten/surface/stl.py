"""Reads STL, binary and text, with limits checked before memory is taken; makes binary STL."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from ..arrays import Floats
from ..errors import InputError
from .mesh import MouldMesh
from .weld import TOLERANCE_MM, Welded, weld

# A mould of five million triangles is a laser scan that wants thinning first.
MOST_FACES = 5_000_000
MOST_TEXT_BYTES = 1_000_000_000  # five million faces of text, at 200 bytes a face
HEADER, COUNT, RECORD = 80, 4, 50  # bytes of binary STL
RECORD_TYPE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
CHUNK = 1 << 20  # bytes of text read at a time


def read_stl(path: str | os.PathLike[str], *, tolerance_mm: float = TOLERANCE_MM) -> Welded:
    """Read an STL file and weld its vertices; its numbers are taken as mm.

    Faces without area whose corners coincide are dropped (`Welded.dropped`), as they join nothing.

    Raises
    ------
    InputError : no such file, not STL, cut short, too large, or with numbers that are not finite

    Source: the format as StereoLithography has always written it: 80 bytes of header, a count,
    and 50 bytes a triangle; or text of `facet`, `vertex` and `endfacet` (from memory).
    """
    file = Path(path)
    if not file.is_file():
        raise InputError(f"There is no file '{file}'.", "Check the name and the folder.")
    size = file.stat().st_size
    with file.open("rb") as stream:
        head = stream.read(HEADER + COUNT)
    if len(head) == HEADER + COUNT:
        count = int.from_bytes(head[HEADER:], "little")
        if size == HEADER + COUNT + RECORD * count:
            return _welded(file, _read_binary(file, count), tolerance_mm)
        if not head.lstrip().lower().startswith(b"solid"):
            _refuse_cut_short(file, size, count)
    if not head.lstrip().lower().startswith(b"solid"):
        raise InputError(f"'{file.name}' is not an STL file.", "Export the mould as STL again.")
    return _welded(file, _read_text(file, size), tolerance_mm)


def stl_bytes(mesh: MouldMesh, title: str = "") -> bytes:
    """Return the mesh as binary STL, mm (STL itself knows no unit), rounded to float32."""
    rows = np.zeros(len(mesh.faces), RECORD_TYPE)
    rows["normal"], rows["corners"] = mesh.normals, mesh.corners
    name = " ".join(title.split()).encode("ascii", "replace")[:60]
    head = b"mm, binary " + name  # must not begin with "solid": that means a text file
    return head.ljust(HEADER) + len(rows).to_bytes(COUNT, "little") + rows.tobytes()


def _welded(file: Path, corners: Floats, tolerance_mm: float) -> Welded:
    if not len(corners):
        raise InputError(f"'{file.name}' has no triangles.", "Export the mould again.")
    broken = np.flatnonzero(~np.isfinite(corners).all(axis=(1, 2)))
    if len(broken):
        raise InputError(
            f"'{file.name}': {len(broken)} triangles have corners that are not finite, "
            f"the first is {broken[0]}.",
            "Export the mould again.",
        )
    return weld(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3), tolerance_mm)


def _read_binary(file: Path, count: int) -> Floats:
    _refuse_too_many(file, count)
    with file.open("rb") as stream:
        stream.seek(HEADER + COUNT)
        records = np.fromfile(stream, RECORD_TYPE, count)
    corners: Floats = records["corners"].astype(np.float64)
    return corners


def _read_text(file: Path, size: int) -> Floats:
    """Corners from the words after each `vertex`, a piece of the file at a time."""
    if size > MOST_TEXT_BYTES:
        raise InputError(
            f"'{file.name}' has {size / 1e6:.0f} MB of text; at most "
            f"{MOST_TEXT_BYTES / 1e6:.0f} MB are read.",
            "Export it as binary STL, or with a coarser tolerance.",
        )
    parts, left = [], b""
    with file.open("rb") as stream:
        while piece := stream.read(CHUNK):
            lines = (left + piece).split(b"\n")
            left = lines.pop()[-CHUNK:]
            parts.append(_vertices(file, lines))
            _refuse_too_many(file, sum(map(len, parts)) // 3)
    parts.append(_vertices(file, [left]))
    vertices = np.concatenate(parts)
    if len(vertices) % 3:
        raise InputError(
            f"'{file.name}' is cut short: its last triangle has {len(vertices) % 3} of 3 corners.",
            "Export the mould again.",
        )
    return vertices.reshape(-1, 3, 3)


def _vertices(file: Path, lines: list[bytes]) -> Floats:
    words = [line.split() for line in lines]
    rows = [w[1:] for w in words if w and w[0].lower() == b"vertex"]
    try:
        return np.array(rows, dtype=np.float64).reshape(-1, 3)
    except ValueError as error:
        bad = next((row for row in rows if not _three_numbers(row)), [])
        shown = b" ".join(bad)[:60].decode("ascii", "replace")
        raise InputError(
            f"'{file.name}' has a vertex that is not three numbers: '{shown}'.",
            "Export the mould again.",
        ) from error


def _three_numbers(row: list[bytes]) -> bool:
    try:
        return len([float(word) for word in row]) == 3
    except ValueError:
        return False


def _refuse_too_many(file: Path, count: int) -> None:
    if count > MOST_FACES:
        raise InputError(
            f"'{file.name}' has {count / 1e6:.1f} million triangles; "
            f"{MOST_FACES / 1e6:.0f} million at most.",
            "Export it with a coarser tolerance, or decimate it first.",
        )


def _refuse_cut_short(file: Path, size: int, count: int) -> None:
    raise InputError(
        f"'{file.name}' says it has {count} triangles, but its {size} bytes hold "
        f"{max(size - HEADER - COUNT, 0) / RECORD:.1f}.",
        "Export or copy it again; it is cut short, or not an STL file.",
    )
