"""One warm process that does the long work: started on first need, fed by lines, read from files.

Knows no Blender. Nothing here waits longer than a moment: `look` reads what has been written.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from . import engine
from .homes import clear_left_behind, make_home, remove_home

CARRIED = ("numpy", "cvxopt", "shapely", "spyrrow", "ezdxf", "reportlab", "fast_simplification")
PATIENCE_S = 3.0  # a nest ends with its best within a second; then a stop is enforced
MOST_LOG_BYTES = 4000


@dataclass(frozen=True, slots=True)
class News:
    """What is known of the work under way."""

    state: str  # "running", "done", "failed", "lost"
    share: float = 0.0
    what: str = ""
    error: dict[str, Any] | None = None


class Worker:
    """The process, its folder and the one request it is at."""

    def __init__(self) -> None:
        self.home, self._lock = make_home()
        threading.Thread(target=clear_left_behind, daemon=True).start()
        self._process: subprocess.Popen[str] | None = None
        self._count = 0
        self._out: Path | None = None
        self._stop_asked: float | None = None

    @property
    def busy(self) -> bool:
        """Whether a request is under way."""
        return self._out is not None

    @property
    def out(self) -> Path | None:
        """The folder of the request under way."""
        return self._out

    def submit(self, request: dict[str, Any]) -> Path:
        """Start a request; return its folder. One at a time."""
        assert not self.busy, "one request at a time"
        self._clear()
        self._count += 1
        out = self.home / f"work{self._count}"
        out.mkdir()
        line = json.dumps({**request, "out": str(out)}) + "\n"
        try:
            self._say(line)
        except OSError:  # it ended after its last job: a fresh one takes over
            self._end()
            self._say(line)
        self._out, self._stop_asked = out, None
        return out

    def start(self) -> None:
        """Start the process if it does not run: it is warm once a request comes."""
        if self._process is None or self._process.poll() is not None:
            self._start()

    def look(self) -> News:
        """Return how far the request is; once it has ended, the worker is free again."""
        out = self._out
        assert out is not None
        if (out / "answer.json").exists():
            self._out = None
            return News("done", 1.0)
        if (out / "error.json").exists():
            self._out = None
            return News("failed", error=_error_in(out / "error.json"))
        if self._stop_asked is not None and time.monotonic() - self._stop_asked > PATIENCE_S:
            self._end()
            self._out = None
            return News("failed", error={"kind": "Cancelled", "message": "Stopped.", "hint": ""})
        if self._process is None or self._process.poll() is not None:
            if (out / "answer.json").exists() or (out / "error.json").exists():
                return self.look()
            self._end()
            self._out = None
            return News("lost", what=self._last_words())
        return News("running", *_last_step(out / "progress.jsonl"))

    def ask_to_stop(self) -> None:
        """Ask the work under way to end; `look` ends it for good if it does not listen."""
        if self._out is not None and self._stop_asked is None:
            (self._out / "stop").touch()
            self._stop_asked = time.monotonic()

    def drop(self) -> None:
        """Lose interest in the request under way: it ends within a step, the next may be asked."""
        if self._out is not None:
            (self._out / "stop").touch()
            self._out = None

    def close(self) -> None:
        """End the process and remove its folder."""
        self._end()
        self._out = None
        remove_home(self.home, self._lock)

    def _clear(self) -> None:
        """Remove the folders of requests that have ended: their answers have been read."""
        for out in self.home.glob("work*"):
            if (out / "answer.json").exists() or (out / "error.json").exists():
                shutil.rmtree(out, ignore_errors=True)

    def _say(self, line: str) -> None:
        self.start()
        assert self._process is not None
        assert self._process.stdin is not None
        self._process.stdin.write(line)
        self._process.stdin.flush()

    def _start(self) -> None:
        with (self.home / "worker.log").open("wb") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-s", "-m", "flatten.serve"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=log,
                cwd=self.home,
                env=environment(),
                text=True,
                encoding="utf-8",
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )

    def _end(self) -> None:
        """End the process we started, and no other."""
        process, self._process = self._process, None
        if process is None:
            return
        with contextlib.suppress(OSError):
            process.stdin.close()  # type: ignore[union-attr]
        try:
            process.wait(0.05)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _last_words(self) -> str:
        try:
            return (self.home / "worker.log").read_text("utf-8", "replace")[-MOST_LOG_BYTES:]
        except OSError:
            return ""


def _error_in(file: Path) -> dict[str, Any]:
    """Return the error a request ended with; a sentence where its file cannot be read."""
    unreadable = {
        "kind": "bug",
        "message": "The worker ended without a word.",
        "hint": "Try again.",
    }
    try:
        error = json.loads(file.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return unreadable
    told = isinstance(error, dict) and all(
        isinstance(error.get(key), str) for key in ("kind", "message", "hint")
    )
    return error if told else unreadable


def _last_step(file: Path) -> tuple[float, str]:
    """Return the last whole line of a progress file; garbage counts as nothing."""
    try:
        with file.open("rb") as log:
            log.seek(max(0, os.fstat(log.fileno()).st_size - 1000))
            lines = log.read().split(b"\n")[:-1]
        step = json.loads(lines[-1])
        share = float(step["share"])
        return min(max(share, 0.0), 1.0) if share == share else 0.0, str(step["what"])[:200]
    except (OSError, ValueError, IndexError, KeyError, TypeError, OverflowError, RecursionError):
        return 0.0, ""


def environment() -> dict[str, str]:
    """Return the environment in which the worker finds the engine and what it needs."""
    places = [str(engine.SEARCH_FOLDER)]
    for name in CARRIED:
        found = importlib.util.find_spec(name)
        if found is not None and found.origin is not None:
            place = str(Path(found.origin).parents[1])
            places += [place] if place not in places else []
    return {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(places),
        "PYTHONUTF8": "1",
        "PYTHONDONTWRITEBYTECODE": "1",
    }
