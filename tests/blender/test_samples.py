"""Every sample runs whole from its .blend, and is what its script makes."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from flatten.folder import read_index

pytestmark = pytest.mark.blender

ROOT = Path(__file__).parents[2]
SAMPLES = sorted(file.stem for file in (ROOT / "blend_samples").glob("*.blend"))
TOO_LARGE = 2 * 2**20  # bytes of a sample


def python(*arguments, **options):
    """Run in a process of its own, as a user does; bpy is not unloaded from one."""
    return subprocess.run(
        [sys.executable, *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, timeout=240, **options,
    )  # fmt: skip


@pytest.mark.parametrize("name", SAMPLES)
def test_a_sample_runs_whole(name, tmp_path):
    blend = ROOT / "blend_samples" / f"{name}.blend"
    assert blend.stat().st_size < TOO_LARGE

    ended = python("-m", "flatten", "run", blend, "--out", tmp_path / "cut", "--json")

    assert ended.returncode == 0, ended.stderr
    index = read_index(tmp_path / "cut")
    assert json.loads(ended.stdout)["job_digest"] == index["job_digest"]  # nothing else printed
    assert all(ply["converged"] for ply in index["plies"])
    assert {"patterns.dxf", "roll.dxf", "templates.pdf", "layup.pdf"} <= set(index["files"])


FAULTS = {  # of the sample that has faults to find: what was built in, and what follows from it
    "flipped_faces", "doubled_vertices", "open_edges",  # the mesh
    "low_draft", "layer_ridges", "tight_corner", "narrow_flange",  # the shape
    "drape_locked", "drape_fibre_stretch",  # the cloth
    "pot_life_short", "batch_too_small_to_weigh",  # the resin
}  # fmt: skip
LESSONS = {  # what each other sample is there to show
    "mast_foot_fairing": {"low_draft"},  # near the part line; nothing is under cut any more
    "cockpit_tray": {"drape_locked"},
    "telescope_tray": {"drape_shear_warn"},  # near the limit, in neither ply past it
}
CURED = {  # in one piece it would be held; without cuts, or with cuts over cuts, it would lock
    "mast_foot_fairing": {"undercut", "trapped"},
    "telescope_tray": {"drape_locked", "drape_several", "drape_overlap", "joint_stagger"},
}


@pytest.mark.parametrize(("name", "wanted"), [("battery_tray", FAULTS), *LESSONS.items()])
def test_the_lesson_of_a_sample_is_found(name, wanted):
    blend = ROOT / "blend_samples" / f"{name}.blend"

    ended = python("-m", "flatten", "check", blend, "--json")

    found = {finding["code"] for finding in json.loads(ended.stdout)["findings"]}
    assert wanted <= found, wanted - found
    assert not found & CURED.get(name, set())


def test_the_script_makes_the_samples_again(tmp_path):
    """A .blend holds addresses and dates, so not its bytes are compared but its job."""
    script = f"""
import sys
sys.path[:0] = [{str(ROOT)!r}, {str(ROOT / "blend_samples")!r}]
import json, pathlib
import make_samples
from addon.blend_reader import read_job
digests = {{}}
for name, sample in make_samples.SAMPLES.items():
    file = pathlib.Path({str(tmp_path)!r}) / f"{{name}}.blend"
    make_samples.make(file, sample)
    digests[name] = [read_job(file).digest, read_job(make_samples.HERE / file.name).digest]
print("\\n" + json.dumps(digests), flush=True)
import os
os._exit(0)
"""
    ended = python("-c", script)

    digests = json.loads(ended.stdout.strip().splitlines()[-1])
    assert set(digests) == set(SAMPLES)
    assert all(fresh == kept for fresh, kept in digests.values()), digests
