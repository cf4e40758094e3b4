"""Packed arrays (.npz) from a file nobody vouches for: bounded, never unpickled."""

from __future__ import annotations

import math
import zipfile
import zlib
from pathlib import Path
from typing import IO, Any, cast

import numpy as np
from numpy.typing import NDArray

from .errors import InputError

_read_magic = cast(Any, np.lib.format.read_magic)  # numpy does not type these three
_header_1 = cast(Any, np.lib.format.read_array_header_1_0)
_header_2 = cast(Any, np.lib.format.read_array_header_2_0)
MOST_BYTES = 2 * 2**30  # unpacked: a mould of ten million faces
MOST_ARRAYS = 1000
_DAMAGED = (
    ValueError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError,
    SyntaxError, TypeError, OverflowError,
)  # fmt: skip


def read_arrays(file: Path) -> dict[str, NDArray[Any]]:
    """Return the arrays of numbers in an .npz, by name.

    Sizes are compared with what the file holds before memory is taken, so that neither a packed
    bomb nor a header that lies can fill it.

    Raises
    ------
    InputError : missing, damaged, too large, or holding anything but numbers
    """
    try:
        with zipfile.ZipFile(file) as packed:
            members = packed.infolist()
            size = sum(member.file_size for member in members)
            if size > MOST_BYTES or len(members) > MOST_ARRAYS:
                raise InputError(
                    f"'{file}' would unpack to {size / 2**20:.0f} MB in {len(members)} arrays.",
                    "Choose a job folder written by this program.",
                )
            arrays = {}
            for member in members:
                with packed.open(member) as content:
                    name = member.filename.removesuffix(".npy")
                    arrays[name] = _read_array(content, member.file_size)
            return arrays
    except OSError as error:
        reason = error.strerror or "not readable"
        raise InputError(f"'{file}' cannot be read: {reason}.", "Choose a job folder.") from error
    except _DAMAGED as error:
        raise InputError(f"'{file}' is damaged: {error}.", "Write the job again.") from error


def _read_array(content: IO[bytes], size: int) -> NDArray[Any]:
    """Return one array; its header must promise exactly the bytes that follow."""
    version = _read_magic(content)
    if version == (1, 0):
        shape, by_column, kind = _header_1(content)
    elif version == (2, 0):
        shape, by_column, kind = _header_2(content)
    else:
        raise ValueError(f"array format {version}")
    if kind.kind not in "fiub" or kind.hasobject:
        raise ValueError(f"an array of '{kind}' is not numbers")
    wanted = math.prod(shape) * kind.itemsize
    if any(length < 0 for length in shape) or wanted > size:
        raise ValueError(f"an array of shape {shape} in {size} bytes")
    data = content.read(wanted + 1)
    if len(data) != wanted:
        raise ValueError(f"{len(data)} bytes where {wanted} were promised")
    array = np.frombuffer(data, dtype=kind)
    return array.reshape(shape, order="F" if by_column else "C")
