"""Time and memory at the sizes we promise: a million faces, a thousand pieces, two hundred plies.

    python tests/bench/long_bounds.py [--out out/bench/bounds.json] [faces|pieces|plies ...]

Each case is a process of its own; what is printed is processor seconds and peak memory.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
# Stated bounds, on one core of a machine of 2024: processor seconds, MB.
BOUNDS = {"faces": (240, 6000), "pieces": (240, 2000), "plies": (600, 3000)}


def million_faces():
    """A dish 60 mm across in a plate of a million triangles, one ply in the dish."""
    from sample_jobs import dish

    mould, inside, _ = dish(across_mm=60.0, cells=708, rim_mm=120.0)
    return with_plies(mould, inside, 1)


def thousand_pieces():
    """Two plies, five hundred kits."""
    from sample_jobs import dish

    mould, inside, _ = dish(cells=8)
    return with_plies(mould, inside, 2, kits=500)


def two_hundred_plies():
    from sample_jobs import dish

    mould, inside, _ = dish(cells=8)
    return with_plies(mould, inside, 200)


def with_plies(mould, faces, count, **nest):
    from sample_jobs import TWILL, dish_job

    from flatten.laminate.ply import Ply

    plies = tuple(
        Ply(id=f"p{n}", name=f"ply {n}", faces=faces, fabric=TWILL, angle_deg=45.0 * (n % 4))
        for n in range(1, count + 1)
    )
    job = dish_job(mould=mould, plies=plies)
    settings = replace(job.settings, nest=replace(job.settings.nest, **nest))
    return replace(job, settings=settings)


CASES = {"faces": million_faces, "pieces": thousand_pieces, "plies": two_hundred_plies}


def one(name):
    from flatten.deliver import deliver
    from flatten.run import run

    job = CASES[name]()
    with tempfile.TemporaryDirectory() as folder:
        began = time.process_time()
        result = run(job)
        ran = time.process_time()
        deliver(result, job, Path(folder) / "cut")
        size = sum(file.stat().st_size for file in (Path(folder) / "cut").iterdir())
    used = resource.getrusage(resource.RUSAGE_SELF)
    laid = sum(len(sheet.placements) for nest in result.nests.values() for sheet in nest.sheets)
    facts = {
        "case": name, "faces": len(job.mould.faces), "plies": len(job.plies), "laid": laid,
        "run_cpu_s": round(ran - began, 1), "files_cpu_s": round(time.process_time() - ran, 1),
        "peak_mb": round(used.ru_maxrss / 1024), "files_mb": round(size / 2**20, 1),
    }  # fmt: skip
    print(json.dumps(facts))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("cases", nargs="*", default=list(CASES))
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "bench" / "bounds.json")
    parser.add_argument("--one")
    given = parser.parse_args()
    if given.one:
        return one(given.one)
    rows = []
    for name in given.cases:
        command = [sys.executable, __file__, "--one", name]
        done = subprocess.run(
            command, capture_output=True, text=True, env={**os.environ, "OMP_NUM_THREADS": "1"}
        )
        if done.returncode:
            print(f"{name}: {done.stderr[-600:]}")
            continue
        row = json.loads(done.stdout.splitlines()[-1])
        seconds, memory = BOUNDS[name]
        row["kept"] = row["run_cpu_s"] + row["files_cpu_s"] <= seconds and row["peak_mb"] <= memory
        rows.append(row)
        print(row, flush=True)
    given.out.parent.mkdir(parents=True, exist_ok=True)
    given.out.write_text(json.dumps(rows, indent=1) + "\n")
    return None


if __name__ == "__main__":
    sys.exit(main())
