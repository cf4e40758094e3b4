"""Coverage-guided fuzzing of every reader (atheris, which is libFuzzer for Python).

    pip install atheris
    python tests/bench/long_fuzz.py --runs 100000 [--reader stl] [--out out/bench/fuzz]

Each reader gets a process of its own and `runs` executions, starting from good files and from
what was kept. Anything a reader does besides returning or raising `InputError` is written down
once per place, with the input, under `out`; an input that takes longer than 25 s, more than 4 GB
or the interpreter down ends that reader's run and is found as libFuzzer's own artefact.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import traceback
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--reader")
    parser.add_argument("--seconds", type=int, default=0, help="per reader; 0: until done")
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "bench" / "fuzz")
    given = parser.parse_args()
    if given.reader:
        return fuzz(given)
    from robust.readers import READERS

    env = {**os.environ, "OMP_NUM_THREADS": "1"}
    for name in READERS:
        command = [sys.executable, __file__, "--reader", name, "--runs", str(given.runs)]
        command += ["--seconds", str(given.seconds), "--out", str(given.out)]
        ended = subprocess.run(command, env=env, stderr=subprocess.PIPE, text=True)
        last = [line for line in ended.stderr.splitlines() if "Done" in line or "ERROR" in line]
        found = sorted((given.out / name).glob("bug-*.txt"))
        print(
            f"{name}: code {ended.returncode}, {len(found)} bugs, {' '.join(last[-1:])}", flush=True
        )
    return 0


def fuzz(given):
    import atheris

    with atheris.instrument_imports(include=["flatten"], enable_loader_override=False):
        from robust import readers

    out = given.out / given.reader
    corpus = out / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    memory = Path("/dev/shm") if Path("/dev/shm").is_dir() else None
    folder = Path(tempfile.mkdtemp(dir=memory))
    try:
        readers.make_seeds(Path(tempfile.mkdtemp(dir=folder)))
        for number, seed in enumerate(readers.SEEDS[given.reader]):
            (corpus / f"seed{number}").write_bytes(seed)
        reader, place = readers.READERS[given.reader], folder / "in"
        place.mkdir()

        def once(content):
            try:
                readers.told(reader, content, place)
            except Exception as error:  # noqa: BLE001  # whatever it is, it is a bug to keep
                write_down(out, content, error)

        limits = ["-rss_limit_mb=4096", "-timeout=25", "-max_len=20000", "-print_final_stats=1"]
        limits += [f"-runs={given.runs}", f"-max_total_time={given.seconds}"]
        atheris.Setup(
            [sys.argv[0], *limits, f"-artifact_prefix={out}/", "-seed=20011", str(corpus)], once
        )
        atheris.Fuzz()
    finally:
        with contextlib.suppress(OSError):
            shutil.rmtree(folder)
    return 0


def write_down(out, content, error):
    """Keep the input once for every line of ours the error came through last, and its kind."""
    frames = traceback.extract_tb(error.__traceback__)
    place = f"{type(error).__name__} {frames[-1].filename}:{frames[-1].lineno}"
    name = hashlib.sha256(place.encode()).hexdigest()[:8]
    if not (out / f"bug-{name}.txt").exists():
        (out / f"bug-{name}.bin").write_bytes(content)
        (out / f"bug-{name}.txt").write_text("".join(traceback.format_exception(error))[-3000:])


if __name__ == "__main__":
    sys.exit(main())
