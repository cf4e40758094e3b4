"""Run the timed figures one after the other: `python3 tasks.py bench [name ...]`.

Every other script in this folder is a bench by its file's name and prints what it measured. The
output goes to out/bench/NAME.txt under a line that names the machine, as seconds mean nothing
without it. Long runs (`long_...`) only run when they are named. Nothing here gates a commit.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
OUT = ROOT / "out" / "bench"


def main(names: list[str]) -> int:
    """Run the benches named, or all short ones; return 2 for an unknown name."""
    known = {file.stem: file for file in sorted(HERE.glob("*.py")) if _is_bench(file)}
    unknown = [name for name in names if name not in known]
    if unknown:
        print(f"There is no bench '{unknown[0]}'. Choose of: {', '.join(known)}.", file=sys.stderr)
        return 2
    OUT.mkdir(parents=True, exist_ok=True)
    failed = []
    for name in names or [name for name in known if not name.startswith("long_")]:
        print(f"== {name}", flush=True)
        start = time.perf_counter()
        path = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
        ended = subprocess.run(
            [sys.executable, str(known[name])],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": path},
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        text = f"# {machine()}\n# {time.perf_counter() - start:.0f} s in all\n{ended.stdout}"
        (OUT / f"{name}.txt").write_text(text, encoding="utf-8")
        print(ended.stdout)
        failed += [name] if ended.returncode else []
    print(f"Written to {OUT}" + (f"; failed: {', '.join(failed)}" if failed else ""))
    return 1 if failed else 0


def machine() -> str:
    """Return what the seconds were measured on."""
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    cores = f"{os.cpu_count()} cores{load}"
    return f"{platform.system()} {platform.machine()}, {cores}, Python {platform.python_version()}"


def _is_bench(file: Path) -> bool:
    """Whether a file is run by itself: helpers of a bench have no main block."""
    return file.stem != "run" and '__name__ == "__main__"' in file.read_text(encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
