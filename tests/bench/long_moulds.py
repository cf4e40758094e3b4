"""Nasty moulds in the thousands through the whole chain; failures are printed as recipes to keep.

python tests/bench/long_moulds.py --count 20000 --first 0 --out out/bench/moulds.jsonl
    [--cells 6] [--ply FOLDER] [--hours 1]

`--ply` takes open test meshes (any folder of .ply files) and deletes faces at random. Each case
runs in a child process: a crash of the interpreter or a hang is a failure like any other.
"""

from __future__ import annotations

import argparse
import collections
import json
import os
import select
import signal
import subprocess
import sys
import time
import traceback
import warnings
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
# Processor time a case may take, and each ply of a part of metres besides: its pieces come
# to 100,000 triangles, whose bound (MOST_WORK in flatten/lay.py) is some 420 s.
LIMIT_CPU_S, LIMIT_PLY_S, LARGE_MM = 120.0, 420.0, 1e3
# The wall clock only catches what waits for nothing, or loops outside Python's reach.
LIMIT_WALL_S = 3600.0


def main():
    given = parsed()
    if given.child:
        return child(given)
    given.out.parent.mkdir(parents=True, exist_ok=True)
    counts, began, seed = collections.Counter(), time.monotonic(), given.first
    slowest = (0.0, -1)
    end = given.first + given.count
    with given.out.open("a", encoding="utf-8") as log:
        while seed < end and time.monotonic() - began < 3600 * given.hours:
            for case in cases(given, seed, end, began):
                counts[case["outcome"]] += 1
                slowest = max(slowest, (case["seconds"], case["case"]))
                seed = case["case"] + 1
                if case["outcome"] in ("bug", "unsound", "hang", "crash"):
                    log.write(json.dumps(case) + "\n")
                    log.flush()
    took = time.monotonic() - began
    print(f"cases {given.first} to {seed - 1} in {took:.0f} s: {dict(counts)}; slowest {slowest}")
    return int(any(counts[bad] for bad in ("bug", "unsound", "hang", "crash")))


def cases(given, seed, end, began):
    """Yield what came of each case of one child, until it ends, hangs or the time is up."""
    command = [sys.executable, "-X", "faulthandler", __file__, "--child", "--first", str(seed)]
    command += ["--count", str(end - seed), "--cells", str(given.cells)]
    command += ["--ply", str(given.ply)] if given.ply else []
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env) as made:
        case, buffer = seed, b""
        while True:
            if time.monotonic() - began > 3600 * given.hours:
                made.kill()
                return
            if not select.select([made.stdout], [], [], LIMIT_WALL_S)[0]:
                made.kill()
                yield {"case": case, "outcome": "hang", "seconds": LIMIT_WALL_S}
                return
            piece = os.read(made.stdout.fileno(), 1 << 16)
            if not piece:
                break
            buffer += piece
            *lines, buffer = buffer.split(b"\n")
            for line in lines:
                done = json.loads(line)
                yield done
                case = done["case"] + 1
        if case < end and made.wait():
            words = made.stderr.read()[-2000:].decode("utf-8", "replace")
            yield {"case": case, "outcome": "crash", "seconds": 0.0, "words": words}


def child(given):
    warnings.filterwarnings("error", category=RuntimeWarning, module="flatten")
    from robust import nasty

    meshes = open_meshes(given.ply) if given.ply else []
    for case in range(given.first, given.first + given.count):
        rng = np.random.default_rng([7, case])
        recipe = nasty.recipe(rng, most_cells=given.cells)
        mould = damaged(meshes[case % len(meshes)], recipe, rng) if meshes else None
        began = time.perf_counter()
        told = one(recipe, mould)
        told |= {"case": case, "seconds": round(time.perf_counter() - began, 3)}
        print(json.dumps(told), flush=True)
    return 0


def one(recipe, mould=None):
    """Return what came of one recipe; on `mould` where one is given."""
    from robust import nasty, sound

    def make():
        return nasty.job_of(recipe, mould() if mould else None)

    signal.signal(signal.SIGPROF, too_long)
    large = recipe["scale_mm"] > LARGE_MM
    signal.setitimer(
        signal.ITIMER_PROF, LIMIT_CPU_S + (LIMIT_PLY_S * recipe["plies"] if large else 0)
    )
    try:
        return {"outcome": sound.outcome(make)}
    except Hang:
        return {"outcome": "hang", "words": traceback.format_exc()[-2500:], "recipe": recipe}
    except sound.Unsound as error:
        return {"outcome": "unsound", "words": str(error)[:2000], "recipe": recipe}
    except MemoryError:
        return {"outcome": "memory", "recipe": recipe}
    except Exception:  # noqa: BLE001  # whatever it is, it is a bug to be written down
        return {"outcome": "bug", "words": traceback.format_exc()[-2500:], "recipe": recipe}
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)


class Hang(BaseException):
    """More processor time than any case of this size may take."""


def too_long(number, frame):
    raise Hang


def open_meshes(folder):
    import trimesh

    loaded = [trimesh.load(file, process=True) for file in sorted(folder.glob("*.ply"))]
    return [(np.asarray(mesh.vertices), np.asarray(mesh.faces)) for mesh in loaded]


def damaged(mesh, recipe, rng):
    """Return a maker of the mesh about 200 mm across, a random ball of it, faces deleted."""
    from flatten.surface.mesh import MouldMesh

    vertices, faces = mesh
    vertices = 200 * (vertices - vertices.mean(axis=0)) / np.ptp(vertices, axis=0).max()
    middles = vertices[faces].mean(axis=1)
    far = np.linalg.norm(middles - middles[rng.integers(len(middles))], axis=1)
    kept = np.flatnonzero(far < rng.choice([20, 40, 80, 400]))
    kept = kept[rng.random(len(kept)) > rng.choice([0, 0, 0.02, 0.2])]
    recipe["region"] = str(rng.choice(["all", "grown", "grown"]))
    return lambda: MouldMesh(vertices, faces[kept])


def parsed():
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--cells", type=int, default=6)
    parser.add_argument("--hours", type=float, default=12.0)
    parser.add_argument("--ply", type=Path)
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "bench" / "moulds.jsonl")
    parser.add_argument("--child", action="store_true")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
