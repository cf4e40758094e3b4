"""The search on one strip: hands the task to the nesting library in a child process."""

from __future__ import annotations

import importlib.util
import itertools
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from .geometry import cos_sin
from .part import Part, Spot
from .shelf import Strip

# The gap is asked a little short and the strip a little high, so that what fits exactly fits,
# and both stay within the 0.01 mm the check allows.
SHORT_MM = 0.003
HIGH_MM = 0.004
CHILD = Path(__file__).with_name("child.py")


def library_present() -> bool:
    """Return whether the nesting library is installed."""
    return importlib.util.find_spec("spyrrow") is not None


class StripSearch:
    """One strip being searched. Use as a context manager: leaving it ends the process."""

    def __init__(
        self,
        parts: Sequence[Part],
        counts: Sequence[int],
        strip: Strip,
        *,
        gap: float,
        seconds: float,
        seed: int,
        workers: int,
    ) -> None:
        """Start the search for `counts` copies of the parts, for about `seconds`."""
        self._parts = parts
        self._used = [i for i, count in enumerate(counts) if count]
        self._strip = strip
        self._middles = [_middle(parts[i]) for i in self._used]
        self.best: list[Spot] | None = None
        self._read_to = 0
        self._ends = time.monotonic() + max(seconds, 0.1)
        self._folder = Path(tempfile.mkdtemp(prefix="nest-"))
        task = self._task(counts, gap, seconds, seed, workers)
        (self._folder / "task.json").write_text(json.dumps(task), encoding="utf-8")
        (self._folder / "layouts.jsonl").write_text("", encoding="utf-8")
        with (self._folder / "errors.txt").open("wb") as errors:
            self._process = subprocess.Popen(
                [sys.executable, "-P", str(CHILD), self._folder],
                stdin=subprocess.PIPE,  # never written to: it closes when this process is gone
                stdout=subprocess.DEVNULL,
                stderr=errors,
                env=_environment(),
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )

    def __enter__(self) -> StripSearch:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def poll(self) -> bool:
        """Read what is new into `best`; return whether the search goes on.

        The library overruns its time by seconds on large sets: it is ended here when it does,
        as soon as there is a layout.
        """
        ended = self._process.poll() is not None
        self._read()
        late = time.monotonic() > self._ends + (0.5 if self.best else 60.0)
        return not (ended or late)

    @property
    def complaint(self) -> str:
        """The last line the library wrote when it gave up, empty where all went well."""
        if self._process.poll() in (None, 0) or not self._folder.exists():
            return ""
        text = (self._folder / "errors.txt").read_text(encoding="utf-8", errors="replace")
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        told = [
            after for line, after in itertools.pairwise(lines) if "panicked at" in line
        ] or lines
        return told[-1][:200] if told else f"it ended with code {self._process.returncode}"

    def close(self) -> None:
        """End the process, read the last layout, remove the folder."""
        if self._process.poll() is None:
            self._process.kill()
        self._process.wait()
        if self._process.stdin:
            self._process.stdin.close()
        if self._folder.exists():
            self._read()
            shutil.rmtree(self._folder, ignore_errors=True)

    def _task(
        self, counts: Sequence[int], gap: float, seconds: float, seed: int, workers: int
    ) -> dict[str, Any]:
        separation = gap - SHORT_MM if gap > 2 * SHORT_MM else 0.0
        return {
            "height": self._strip.height + 2 * separation + HIGH_MM,
            "separation": separation or None,
            "ends": time.time() + seconds,
            "workers": workers,
            "seed": seed,
            "items": [
                {
                    "shape": (np.asarray(self._parts[i].hull.exterior.coords)[:-1] - mid).tolist(),
                    "count": int(counts[i]),
                    "turns": self._parts[i].turns.to_try(),
                }
                for i, mid in zip(self._used, self._middles, strict=True)
            ],
        }

    def _read(self) -> None:
        with (self._folder / "layouts.jsonl").open("rb") as file:
            file.seek(self._read_to)
            new = file.read()
        whole = new[: new.rfind(b"\n") + 1]  # a line without its end is still being written
        self._read_to += len(whole)
        if whole:
            self.best = self._spots(json.loads(whole.splitlines()[-1])["places"])

    def _spots(self, places: list[list[float]]) -> list[Spot]:
        """Return the library's places as spots in the strip's own coordinates, settled."""
        spots = []
        for item, x, y, turn in places:
            number, mid = self._used[int(item)], self._middles[int(item)]
            angle = round(turn % 360, 9) % 360
            cosine, sine = cos_sin(angle)
            move_x = x - (cosine * mid[0] - sine * mid[1])
            move_y = y - (sine * mid[0] + cosine * mid[1])
            spots.append(Spot(number, float(move_x), float(move_y), angle))
        return settle(self._parts, spots, self._strip)


def settle(parts: Sequence[Part], spots: Sequence[Spot], strip: Strip) -> list[Spot]:
    """Return the spots moved to start at x = 0, each within the strip's height.

    The library's frame keeps its separation from the strip's edges; on the cloth the first
    piece starts at the cut end, and rounding must not push a piece over the margin.
    """
    boxes = np.array([parts[spot.part].at(spot).bounds for spot in spots])
    first_x = boxes[:, 0].min()
    # All pieces by one shift to the low margin, then each by what is left over (microns).
    shift = strip.low_y - boxes[:, 1].min()
    up = np.clip(strip.low_y - (boxes[:, 1] + shift), 0, None)
    down = np.clip(boxes[:, 3] + shift - strip.high_y, 0, None)
    moves = shift + up - down
    return [
        Spot(spot.part, float(spot.x_mm - first_x), float(spot.y_mm + move), spot.angle_deg)
        for spot, move in zip(spots, moves, strict=True)
    ]


def _middle(part: Part) -> Any:
    """Return the point the library turns the part about: large coordinates cost it precision."""
    x0, y0, x1, y1 = part.hull.bounds
    return np.array([(x0 + x1) / 2, (y0 + y1) / 2])


def _environment() -> dict[str, str]:
    """Return this process's environment with its module path: the library may lie in a wheel."""
    path = os.pathsep.join(entry for entry in sys.path if entry)
    return {**os.environ, "PYTHONPATH": path, "RUST_BACKTRACE": "0"}
