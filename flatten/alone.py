"""A folder held by one process at a time; the system lets go of it when that process dies."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from .errors import InputError

PATIENCE_S = 20.0  # writing a set takes a second; a disk that is slow or far away some more
LOOK_S = 0.02
LOCK = ".mouldply-lock"  # on Windows, gone with the process; elsewhere the folder itself is held


@contextlib.contextmanager
def alone_in(folder: Path, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Hold a folder. Where the disk knows no locks, or may not be written to, go on without.

    Raises
    ------
    InputError : another process has held it for `patience_s`
    """
    end = time.monotonic() + patience_s
    while True:
        try:
            handle = _take(folder)
            break
        except BlockingIOError:
            if time.monotonic() > end:
                raise InputError(
                    f"Another run is writing to '{folder}'.",
                    "Wait until it has ended, or choose another folder.",
                ) from None
            time.sleep(LOOK_S)
        except OSError:
            handle = None
            break
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _take(folder: Path) -> int:
    """Return a handle that holds the folder; BlockingIOError while another does."""
    if os.name == "nt":
        return _take_file(folder / LOCK)
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        raise
    return handle


def _take_file(file: Path) -> int:
    """Return a handle to a file that only one may make; Windows removes it with the handle."""
    try:
        return os.open(file, os.O_CREAT | os.O_EXCL | os.O_RDWR | getattr(os, "O_TEMPORARY", 0))
    except FileExistsError:
        raise BlockingIOError from None
