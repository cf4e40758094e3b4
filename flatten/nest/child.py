"""The search in a process of its own: reads task.json, adds each better layout to layouts.jsonl.

Run by path, not as a module, so that it works wherever the package lies: it imports the standard
library and the nesting library only. Only a process can be stopped: the library cannot.
"""

import json
import os
import shutil
import sys
import threading
import time
from pathlib import Path
from typing import Any

LOOK_SECONDS = 0.03  # how often progress is fetched
WRITE_SECONDS = 0.15  # how often a better layout is written, besides the first and the last
FEASIBLE = (0, 3, 4)  # the library's report types for layouts without overlap


def main(folder: Path) -> int:
    """Search until the time is up; 0: done, 3: the library gave up."""
    import spyrrow

    threading.Thread(target=_end_with_parent, args=(folder,), daemon=True).start()
    task = json.loads((folder / "task.json").read_text(encoding="utf-8"))
    items = [
        spyrrow.Item(
            str(number), [tuple(point) for point in item["shape"]], item["count"], item["turns"]
        )
        for number, item in enumerate(task["items"])
    ]
    strip = spyrrow.StripPackingInstance("strip", task["height"], items)
    explore, compress = whole_seconds(task["ends"] - time.time())
    effort = spyrrow.StripPackingConfig(
        early_termination=False,
        total_computation_time=None,
        exploration_time=explore,
        compression_time=compress,
        num_workers=task["workers"],
        seed=task["seed"],
        min_items_separation=task["separation"],
    )
    reports = spyrrow.ProgressQueue()
    final: list[Any] = []
    solver = threading.Thread(target=lambda: final.append(strip.solve(effort, reports)))
    solver.start()
    with (folder / "layouts.jsonl").open("a", encoding="utf-8") as lines:
        _follow(solver, reports, lines)
        if final:
            _write(lines, final[0])
    return 0 if final else 3


def whole_seconds(left: float) -> tuple[int, int]:
    """Return the seconds to explore and to compress, which the library wants whole.

    Compressing, a fifth at the end, gains the last percent, most of it early. What a slow start
    took is less than half a second of its end, which is cut off: a whole second less of exploring
    would cost more.
    """
    compress = max(1, round(0.2 * left))
    return max(1, round(left - compress)), compress


def _end_with_parent(folder: Path) -> None:
    """End when the process that started this one is gone: its end of the pipe closes then."""
    while os.read(sys.stdin.fileno(), 1):  # not sys.stdin.read: its lock would hang the way out
        pass
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(4)


def _follow(solver: threading.Thread, reports: Any, lines: Any) -> None:
    """Write better layouts while the library searches."""
    best, shown, waiting = float("inf"), 0.0, None
    while solver.is_alive():
        solver.join(LOOK_SECONDS)
        for kind, layout in reports.drain():
            if int(kind) in FEASIBLE and layout.width < best:
                best, waiting = layout.width, layout
        if waiting is not None and time.monotonic() - shown >= WRITE_SECONDS:
            _write(lines, waiting)
            shown, waiting = time.monotonic(), None


def _write(lines: Any, layout: Any) -> None:
    places = [[int(item.id), *item.translation, item.rotation] for item in layout.placed_items]
    lines.write(json.dumps({"width": layout.width, "places": places}) + "\n")
    lines.flush()


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
