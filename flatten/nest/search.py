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
from shapely import Polygon

from ..errors import InputError
from .frame import Frame
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
        frame: Frame | None = None,
    ) -> None:
        """Start the search for `counts` copies of the parts, for about `seconds`.

        `frame`: what stands still on the strip, as one more item. The layout is then told from
        its wall; parts that ended left of it have a negative x.
        """
        self._parts = parts
        self._frame = frame
        self._used = [i for i, count in enumerate(counts) if count]
        self._strip = strip
        self._middles = [_middle(parts[i]) for i in self._used]
        self.best: list[Spot] | None = None
        self._read_to = 0
        self._ends = time.monotonic() + max(seconds, 0.1)
        task = {
            "ends": time.time() + seconds,
            "workers": workers,
            "seed": seed,
            **(
                self._plain_task(counts, gap) if frame is None else self._framed_task(counts, frame)
            ),
        }
        self._folder = _folder_with({"task.json": json.dumps(task), "layouts.jsonl": ""})
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

    def _plain_task(self, counts: Sequence[int], gap: float) -> dict[str, Any]:
        separation = gap - SHORT_MM if gap > 2 * SHORT_MM else 0.0
        return {
            "height": self._strip.height + 2 * separation + HIGH_MM,
            "separation": separation or None,
            "items": self._items(counts),
        }

    def _framed_task(self, counts: Sequence[int], frame: Frame) -> dict[str, Any]:
        """Return the task with the frame as last item; the gap is in the pieces' outlines."""
        x0, y0, x1, y1 = frame.outline.bounds
        middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        self._middles.append(middle)
        item = {"shape": _shape(frame.outline, middle), "count": 1, "turns": [0.0]}
        return {
            "height": frame.height(self._strip) + HIGH_MM,
            "separation": None,
            "items": [*self._items(counts), item],
        }

    def _items(self, counts: Sequence[int]) -> list[dict[str, Any]]:
        frame = self._frame
        return [
            {
                "shape": _shape(frame.grown(hull) if frame else hull, middle),
                "count": int(counts[i]),
                "turns": self._parts[i].turns.to_try(),
            }
            for i, middle in zip(self._used, self._middles, strict=False)
            for hull in [self._parts[i].hull]
        ]

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
        spots, wall = [], None
        for item, x, y, turn in places:
            mid = self._middles[int(item)]
            if int(item) == len(self._used):
                wall = (x - mid[0], y - mid[1])
                continue
            number = self._used[int(item)]
            angle = round(turn % 360, 9) % 360
            cosine, sine = cos_sin(angle)
            move_x = x - (cosine * mid[0] - sine * mid[1])
            move_y = y - (sine * mid[0] + cosine * mid[1])
            spots.append(Spot(number, float(move_x), float(move_y), angle))
        return settle(self._parts, spots, self._strip, wall)


def settle(
    parts: Sequence[Part],
    spots: Sequence[Spot],
    strip: Strip,
    wall: tuple[float, float] | None = None,
) -> list[Spot]:
    """Return the spots moved to start at x = 0, each within the strip's height.

    The library keeps its separation from the strip's edges; on the cloth the first piece starts
    at the cut end, and rounding must not push a piece over the margin. `wall`: how far a frame
    was moved, which then says where the layout starts.
    """
    boxes = np.array([parts[spot.part].at(spot).bounds for spot in spots])
    # All pieces by one shift to the low margin, then each by what is left over (microns).
    first_x, shift = boxes[:, 0].min(), strip.low_y - boxes[:, 1].min()
    if wall is not None:
        first_x, shift = wall[0], -wall[1]
    up = np.clip(strip.low_y - (boxes[:, 1] + shift), 0, None)
    down = np.clip(boxes[:, 3] + shift - strip.high_y, 0, None)
    moves = shift + up - down
    return [
        Spot(spot.part, float(spot.x_mm - first_x), float(spot.y_mm + move), spot.angle_deg)
        for spot, move in zip(spots, moves, strict=True)
    ]


def _folder_with(files: dict[str, str]) -> Path:
    """Return a temporary folder holding these files.

    Raises
    ------
    InputError : there is no room for them
    """
    folder: Path | None = None
    try:
        folder = Path(tempfile.mkdtemp(prefix="nest-"))
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)
        raise InputError(
            f"Nothing can be written into '{tempfile.gettempdir()}' for "
            f"the nest: {error.strerror or error}.",
            "Free some space there, or name another folder by the environment variable TMPDIR.",
        ) from error
    return folder


def _shape(outline: Polygon, middle: Any) -> list[list[float]]:
    """Return an outline's points about its middle, not closed."""
    points: list[list[float]] = (np.asarray(outline.exterior.coords)[:-1] - middle).tolist()
    return points


def _middle(part: Part) -> Any:
    """Return the point the library turns the part about: large coordinates cost it precision."""
    x0, y0, x1, y1 = part.hull.bounds
    return np.array([(x0 + x1) / 2, (y0 + y1) / 2])


def _environment() -> dict[str, str]:
    """Return this process's environment with its module path: the library may lie in a wheel."""
    path = os.pathsep.join(entry for entry in sys.path if entry)
    return {**os.environ, "PYTHONPATH": path, "RUST_BACKTRACE": "0"}
