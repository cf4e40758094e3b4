"""Packed arrays (.npz) from a file nobody vouches for: bounded, never unpickled."""

from __future__ import annotations

import math
import re
import zipfile
import zlib
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from .errors import InputError

MOST_BYTES = 2 * 2**30  # unpacked: a mould of ten million faces
MOST_ARRAYS = 60_000  # six thousand pieces have nine each; a plain zip lists at most 65,535
# The list of members at a zip's end is read whole, ten times as large in memory: 150 bytes each.
MOST_DIRECTORY_BYTES = 16 * 2**20
END, END_64, END_BYTES = b"PK\5\6", b"PK\6\7", 22  # source: APPNOTE.TXT 6.3.10, 4.3.15 and 4.3.16
MAGIC = b"\x93NUMPY"
MOST_DIMENSIONS = 8
# An array's header as numpy writes it. It is a Python literal; nothing is evaluated to read it.
# Source: numpy.lib.format, NPY format versions 1.0 and 2.0.
HEADER = re.compile(
    r"\{'descr': '([<|][fiub]\d{1,2})', 'fortran_order': (True|False), "
    r"'shape': \(((?:\d{1,18}, ?)*(?:\d{1,18})?)\), \}\s*"
)
_DAMAGED = (ValueError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError,
            TypeError, OverflowError)  # fmt: skip


def read_arrays(file: Path) -> dict[str, NDArray[Any]]:
    """Return the arrays of numbers in an .npz, by name.

    Sizes are compared with what the file holds before memory is taken, so that neither a packed
    bomb nor a header that lies can fill it.

    Raises
    ------
    InputError : missing, damaged, too large, or holding anything but numbers
    """
    try:
        refuse_long_directory(file)
        with zipfile.ZipFile(file) as packed:
            members = packed.infolist()
            size = sum(member.file_size for member in members)
            if size > MOST_BYTES or len(members) > MOST_ARRAYS:
                raise InputError(
                    f"'{file}' would unpack to {size / 2**20:.0f} MB in {len(members)} arrays.",
                    "Choose a job folder written by this program.",
                )
            arrays: dict[str, NDArray[Any]] = {}
            for member in members:
                if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                    raise ValueError(f"packed by method {member.compress_type}")
                with packed.open(member) as content:
                    name = member.filename.removesuffix(".npy")
                    if name in arrays:
                        raise ValueError(f"two arrays are called '{name[:60]}'")
                    arrays[name] = _read_array(content, member.file_size)
            return arrays
    except OSError as error:
        reason = error.strerror or "not readable"
        raise InputError(f"'{file}' cannot be read: {reason}.", "Choose a job folder.") from error
    except _DAMAGED as error:
        raise InputError(f"'{file}' is damaged: {error}.", "Write the job again.") from error


def refuse_long_directory(file: Path) -> None:
    """Refuse a zip whose list of members would fill memory before it can be counted.

    Raises
    ------
    ValueError : more than 16 MB of it, or of the kind for more than 4 GB
    OSError : not readable, or no plain file
    """
    if file.exists() and not file.is_file():
        raise OSError(0, "it is no plain file")
    with file.open("rb") as stream:
        size = stream.seek(0, 2)
        stream.seek(max(0, size - END_BYTES - 20 - 2**16))
        tail = stream.read()
    # As zipfile looks for it: at the very end, else the last one before a comment.
    at = len(tail) - END_BYTES
    if at < 0 or tail[at : at + 4] != END or tail[-2:] != b"\0\0":
        at = tail.rfind(END)
    if at < 0:
        return  # no zip: zipfile says so
    if tail[max(at - 20, 0) :].startswith(END_64):
        raise ValueError("a zip for more than 4 GB or 65,535 members")
    listed = int.from_bytes(tail[at + 12 : at + 16], "little")
    if listed > MOST_DIRECTORY_BYTES:
        raise ValueError(f"{listed / 2**20:.0f} MB of names")


def _read_array(content: IO[bytes], size: int) -> NDArray[Any]:
    """Return one array; its header must promise exactly the bytes that follow."""
    shape, by_column, kind = _read_header(content)
    wanted = math.prod(shape) * kind.itemsize
    if wanted > size:
        raise ValueError(f"an array of shape {shape} in {size} bytes")
    data = content.read(wanted + 1)
    if len(data) != wanted:
        raise ValueError(f"{len(data)} bytes where {wanted} were promised")
    array = np.frombuffer(data, dtype=kind)
    return array.reshape(shape, order="F" if by_column else "C")


def _read_header(content: IO[bytes]) -> tuple[tuple[int, ...], bool, np.dtype[Any]]:
    """Return shape, whether columns come first, and the kind of number."""
    start = content.read(8)
    long = {b"\x01\x00": 2, b"\x02\x00": 4}.get(start[6:])
    if start[:6] != MAGIC or long is None:
        raise ValueError("not an array of format 1 or 2")
    text = content.read(min(int.from_bytes(content.read(long), "little"), 10_000))
    found = HEADER.fullmatch(text.decode("latin-1"))
    if found is None:
        raise ValueError(f"an array header that reads {text[:60]!r}")
    kind, by_column, lengths = found.groups()
    shape = tuple(int(length) for length in lengths.split(",") if length.strip())
    if len(shape) > MOST_DIMENSIONS:
        raise ValueError(f"an array of {len(shape)} dimensions")
    return shape, by_column == "True", np.dtype(kind)
