"""The worker's folders in the system's temporary one: made, and cleared up after a crash.

Each holds a file that its owner keeps locked for as long as it lives, however it ends: a folder
whose lock is free has no owner any more. Knows no Blender.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from pathlib import Path
from typing import IO

PREFIX, LOCK = "mouldply-work-", "owner.lock"
YOUNG_S = 60.0  # a folder this young may be about to be locked


def make_home() -> tuple[Path, IO[bytes]]:
    """Return a fresh folder and the lock to hold while it is in use."""
    home = Path(tempfile.mkdtemp(prefix=PREFIX))
    lock = (home / LOCK).open("wb")
    _locked(lock)
    return home, lock


def remove_home(home: Path, lock: IO[bytes]) -> None:
    """Give a folder up."""
    lock.close()
    shutil.rmtree(home, ignore_errors=True)


def clear_left_behind() -> None:
    """Remove the folders whose owners have ended without doing it; leave everything else."""
    for home in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        try:
            if _is_left(home):
                shutil.rmtree(home, ignore_errors=True)
        except OSError:  # another person's, or just removed
            continue


def _is_left(home: Path) -> bool:
    file = home / LOCK
    facts = file.lstat()
    if home.is_symlink() or file.is_symlink() or time.time() - facts.st_mtime < YOUNG_S:
        return False
    if hasattr(os, "getuid") and facts.st_uid != os.getuid():
        return False
    with file.open("r+b") as lock:
        return _locked(lock)


def _locked(file: IO[bytes]) -> bool:
    """Lock a file until it is closed; False where another process has."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
