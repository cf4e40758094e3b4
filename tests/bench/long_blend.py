"""Damaged .blend files in the hundreds, each opened as the command line opens one.

python tests/bench/long_blend.py --count 600 --first 0 --out out/bench/blends.jsonl

Needs Blender's Python module. Bytes are flipped, cut out and replaced, blocks and strings of our
properties among them, in unpacked and packed samples. A crash of Blender's reader and one that
does not end are to come out as a named error; an exception of ours, a changed or lost file and
anything left behind are failures, written down to be made again by their number.
"""

from __future__ import annotations

import argparse
import collections
import json
import random
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from robust import blends  # noqa: E402

LIMIT_S = 60.0  # a sample is open in three seconds


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=600)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=600.0)
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "bench" / "blends.jsonl")
    given = parser.parse_args()
    given.out.parent.mkdir(parents=True, exist_ok=True)
    counts, began = collections.defaultdict(collections.Counter), time.monotonic()
    bugs = done = 0
    with tempfile.TemporaryDirectory() as made, given.out.open("a", encoding="utf-8") as log:
        plain = blends.unpacked(made)
        for case in range(given.first, given.first + given.count):
            if time.monotonic() - began > 60 * given.minutes:
                break
            chance = random.Random(case)
            way, sample = blends.WAYS[case % len(blends.WAYS)], chance.choice(blends.SAMPLES)
            packed = way.startswith("packed")
            content = sample.read_bytes() if packed else plain[sample.name]
            with tempfile.TemporaryDirectory() as folder:
                content = blends.damaged(content, way, chance)
                outcome = blends.told(content, folder, LIMIT_S)
            counts[way][outcome.split(":")[0]] += 1
            done += 1
            if outcome.startswith("bug") or outcome == "late":
                bugs += outcome.startswith("bug")
                told = {"case": case, "way": way, "sample": sample.name, "outcome": outcome}
                log.write(json.dumps(told) + "\n")
                log.flush()
    for way, some in counts.items():
        print(f"{way}: {dict(some)}")
    print(f"{done} files in {time.monotonic() - began:.0f} s, {bugs} failures")
    return int(bugs > 0)


if __name__ == "__main__":
    sys.exit(main())
