"""Blender is closed, or dies, in the middle of a job: the worker ends and leaves no folder."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from addon import homes

ROOT = Path(__file__).resolve().parents[2]
ENDS_WITHIN_S = 20.0  # a worker on a loaded machine, between two steps of a drape
# In a process of its own, as far as the worker's first sign of life; then it ends in one way.
SCRIPT = """
import os, sys, time
sys.path.insert(0, {root!r})
import bpy, addon
bpy.ops.wm.read_homefile(use_empty=True)
addon.register()
from addon import work
from addon.scene_job import draft_job
from tests.blender.making import grid, ply_on
mould = ply_on(grid(size=0.4, height=0.06, cells=150)).id_data
context = bpy.context
draft = draft_job(mould, context.scene, context.evaluated_depsgraph_get())
work._in_worker(context, mould, draft, "Flatten", {{"plies": ("p1",)}})
while work.DESK.errand.job is not None:
    work.tick()
    time.sleep(0.01)
worker = work.DESK.worker
while worker.look().share <= 0:
    time.sleep(0.01)
print("AT", worker._process.pid, worker.home, flush=True)
{end}
"""
ENDS = {
    "closed": "addon.unregister(); os._exit(0)",  # Blender disables every add-on when it quits
    "died": "os._exit(1)",
}


@pytest.mark.skipif(os.name == "nt", reason="looks processes up by POSIX signals")
@pytest.mark.parametrize("end", ENDS)
def test_the_worker_ends_with_blender_and_its_folder_goes(end, tmp_path, monkeypatch):
    script = SCRIPT.format(root=str(ROOT), end=ENDS[end])
    environment = {**os.environ, "TMPDIR": str(tmp_path), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True, text=True, timeout=200, env=environment, cwd=ROOT,
    )  # fmt: skip
    told = next((line for line in done.stdout.splitlines() if line.startswith("AT ")), None)
    assert told, done.stdout + done.stderr
    pid, home = int(told.split()[1]), Path(told.split()[2])

    until = time.monotonic() + ENDS_WITHIN_S
    while alive(pid):
        assert time.monotonic() < until, "the worker lives on"
        time.sleep(0.05)
    if end == "died":  # nobody was left to remove it: the next worker does, once it is old
        assert home.exists()
        monkeypatch.setattr(homes, "YOUNG_S", 0.0)
        monkeypatch.setattr(homes.tempfile, "gettempdir", lambda: str(tmp_path))
        homes.clear_left_behind()
    assert not home.exists()


def alive(pid):
    """Whether a process runs; one that has ended but was not fetched by its parent does not."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not (state.exists() and state.read_text().rsplit(")", 1)[1].split()[0] == "Z")
