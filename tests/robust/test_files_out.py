"""Files out: kills, full disks, hostile folders and names; a set is whole or plainly unfinished.

Longer than most files: every way in which writing may end half way.
"""

import json
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_jobs import dish, dish_job

from flatten.cloth.library import load_fabrics
from flatten.deliver import deliver
from flatten.errors import InputError
from flatten.folder import (
    INDEX,
    STAGING,
    digest,
    distinct_names,
    read_index,
    safe_name,
    settle,
    write_set,
)
from flatten.job import load_job, save_job
from flatten.laminate.ply import Ply
from flatten.run import run
from flatten.surface.mesh import MouldMesh

ROOT = Path(__file__).parents[2]
KILLS = int(os.environ.get("MOULDPLY_KILLS", "2"))  # tests/bench/long_kills.py: 200


def staged(folder, names):
    """Stage files as a run would that was killed just before the swap; return its folder."""
    staging = folder / STAGING
    staging.mkdir()
    (staging / INDEX).write_text(json.dumps({"files": names}))
    return staging


def test_a_staged_set_from_a_stranger_moves_nothing_out_of_the_folder(tmp_path):
    """A results folder may come from anywhere; its hidden staging folder with it."""
    out = tmp_path / "results"
    out.mkdir()
    (tmp_path / "loot.txt").write_text("mine")
    content = b"theirs"
    for name in ("../loot.txt", "..\\loot.txt", str(tmp_path / "loot.txt")):
        staging = staged(out, {name: digest(content), "a.dxf": digest(content)})
        (staging / "a.dxf").write_bytes(content)

        settle(out)

        assert (tmp_path / "loot.txt").read_text() == "mine"
        assert [file.name for file in out.iterdir()] == []


@pytest.mark.parametrize(
    "text", ["{", "[]", "null", '{"files": 3}', '{"files": ["a"]}', '{"files": {"a": 1}}', ""]
)
def test_a_damaged_staged_index_is_thrown_away(tmp_path, text):
    write_set(tmp_path, {"a.dxf": b"a"}, {})
    (tmp_path / STAGING).mkdir()
    (tmp_path / STAGING / INDEX).write_text(text)

    assert read_index(tmp_path)["files"] == {"a.dxf": digest(b"a")}
    assert not (tmp_path / STAGING).exists()


def test_a_staged_set_that_lacks_a_file_is_not_taken(tmp_path):
    """The disk may have lost it: the old set is still whole."""
    write_set(tmp_path, {"a.dxf": b"old"}, {})
    staged(tmp_path, {"a.dxf": digest(b"new")})

    assert read_index(tmp_path)["files"] == {"a.dxf": digest(b"old")}


@pytest.mark.parametrize("files", [["notes.txt"], {"notes.txt": "mine"}, "notes.txt"])
def test_the_index_of_another_program_does_not_make_its_files_ours(tmp_path, files):
    """Many programs write a result.json: what it lists must not be deleted by our next set."""
    (tmp_path / INDEX).write_text(json.dumps({"files": files}))
    (tmp_path / "notes.txt").write_text("keep")

    with pytest.raises(InputError, match="was not written by mouldply"):
        write_set(tmp_path, {"a.dxf": b"a"}, {})
    assert (tmp_path / "notes.txt").read_text() == "keep"
    assert json.loads((tmp_path / INDEX).read_text()) == {"files": files}


@pytest.mark.parametrize("files", [[["a", 1]], {"": "x"}, {"../a": "x"}, {"a": None}, 7, None])
def test_a_hostile_index_is_named(tmp_path, files):
    (tmp_path / "a").mkdir()
    (tmp_path / INDEX).write_text(json.dumps({"files": files}))
    with pytest.raises(InputError):
        read_index(tmp_path)


def test_links_are_replaced_and_never_written_through(tmp_path):
    target = tmp_path / "target.dxf"
    target.write_text("elsewhere")
    out = tmp_path / "out"
    write_set(out, {"a.dxf": b"a"}, {})
    (out / "a.dxf").unlink()
    (out / "a.dxf").symlink_to(target)

    with pytest.raises(InputError, match="changed after it was written"):
        read_index(out)
    write_set(out, {"a.dxf": b"new"}, {})

    assert target.read_text() == "elsewhere"
    assert not (out / "a.dxf").is_symlink()


def test_a_link_in_place_of_the_staging_folder_is_removed_not_followed(tmp_path):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "keep.txt").write_text("keep")
    out = tmp_path / "out"
    out.mkdir()
    (out / STAGING).symlink_to(elsewhere)

    write_set(out, {"a.dxf": b"a"}, {})

    assert [file.name for file in elsewhere.iterdir()] == ["keep.txt"]
    assert read_index(out)


DEVICES = ["CON", "con", "NUL.dxf", "COM1", "lpt9.txt", "Aux .x"]
ESCAPES = ["../x", "a/b", "a\\b", "C:x", "x.", "x ", ".hidden", "", ".", "..", "a\0b", "a\nb", "a*"]


@pytest.mark.parametrize("name", [*DEVICES, *ESCAPES, INDEX, STAGING, "x" * 300])
def test_no_file_gets_a_name_that_some_system_forbids(tmp_path, name):
    with pytest.raises(InputError, match="cannot be the name of a file"):
        write_set(tmp_path / "out", {name: b"x"}, {})
    assert not (tmp_path / "out").exists()


@given(st.one_of(st.text(), st.sampled_from(DEVICES + ESCAPES)))
def test_a_safe_name_is_one_and_stays_as_it_is(text):
    name = safe_name(text)

    assert safe_name(name) == name
    assert name not in ("", ".", "..")
    assert not set(name) & set('/\\:*?"<>|\0\n')
    assert name[-1] not in ". "
    assert name.split(".")[0].upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT1"}
    assert len(name) <= 61


def test_two_cloths_never_share_a_file():
    names = distinct_names(["roll a/b", "roll a_b", "roll A_B", "roll CON", "roll " + "x" * 300])

    assert len({name.casefold() for name in names}) == 5
    assert names[:3] == ["roll a_b", "roll a_b 2", "roll A_B 3"]


def test_a_cloth_whose_id_is_a_path_stays_in_the_folder(tmp_path):
    """Two cloths, so that each has a roll file of its own."""
    mould, inside, _ = dish(cells=4)
    cloth = load_fabrics()["carbon_twill_210"]
    bad = [replace(cloth, id=name) for name in ("x/../../../loot", "CON\\..\\loot")]
    plies = tuple(
        Ply(id=f"p{n}", name=f"ply {n}", faces=inside, fabric=one.id) for n, one in enumerate(bad)
    )
    job = dish_job(mould=mould, plies=plies, fabrics=tuple(bad))

    deliver(run(job), job, tmp_path / "a" / "b" / "out")

    assert [file.name for file in tmp_path.iterdir()] == ["a"]
    names = read_index(tmp_path / "a" / "b" / "out")["files"]
    assert len([name for name in names if name.startswith("roll ")]) == 2


@pytest.mark.parametrize("ids", [("p1", "P1"), ("p1", "p1-2"), ("p1", "p1x2"), ("p1x2", "p1")])
def test_plies_whose_pieces_would_share_a_name_are_refused(ids):
    plies = dish_job().plies
    with pytest.raises(InputError, match="reads like another"):
        dish_job(plies=tuple(replace(ply, id=name) for ply, name in zip(plies, ids, strict=True)))


# --- killed at any moment


@pytest.fixture(scope="module")
def two_jobs(tmp_path_factory):
    """Two jobs of one part that differ, and how long a run of one takes."""
    folder = tmp_path_factory.mktemp("jobs")
    mould, inside, _ = dish(cells=8)
    for number in (1, 2):
        job = dish_job(mould=mould, part=f"Part {number}", plies=plies_of(inside))
        save_job(job, folder / f"job{number}")
    began = time.monotonic()
    assert run_job(folder / "job1", folder / "warm").wait() == 0
    return folder, time.monotonic() - began


def plies_of(faces):
    return (Ply(id="p1", name="skin", faces=faces, fabric="carbon_twill_210"),)


def run_job(job, out):
    return subprocess.Popen(
        [sys.executable, "-m", "flatten", "run", job, "--out", out],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )  # fmt: skip


def test_killed_at_any_moment_a_run_leaves_the_old_set_or_the_new_one(two_jobs, tmp_path):
    """Half of the kills fall into the end, where files are written."""
    folder, takes = two_jobs
    digests = {load_job(folder / f"job{n}").digest: n for n in (1, 2)}
    chance = random.Random(20_011)
    out = tmp_path / "cut"
    assert run_job(folder / "job1", out).wait() == 0
    (out / "my notes.txt").write_text("keep")
    for kill in range(KILLS):
        process = run_job(folder / f"job{2 - kill % 2}", out)
        if kill % 2:
            time.sleep(chance.uniform(0, 1.2 * takes))
        else:  # wait for the staging folder, then a moment
            end = time.monotonic() + 60 * takes
            while not (out / STAGING).exists() and process.poll() is None:
                assert time.monotonic() < end, "no staging folder"
            time.sleep(chance.uniform(0, 0.02))
        process.send_signal(signal.SIGKILL)
        process.wait()

        index = read_index(out)  # whole, every digest checked

        assert index["job_digest"] in digests
        assert index["part"] == f"Part {digests[index['job_digest']]}"
        assert {file.name for file in out.iterdir()} - set(index["files"]) <= {
            INDEX, STAGING, "my notes.txt",
        }  # fmt: skip


def test_a_job_folder_half_saved_over_another_is_noticed(tmp_path):
    """Killed between the two files, the plies of one job would lie on the mould of the other."""
    save_job(dish_job(), tmp_path / "one")
    mould, inside, _ = dish(depth_mm=25.0)
    other = dish_job(mould=mould, plies=plies_of(inside))
    save_job(other, tmp_path / "two")
    (tmp_path / "one" / "arrays.npz").write_bytes((tmp_path / "two" / "arrays.npz").read_bytes())

    with pytest.raises(InputError, match="do not belong together"):
        load_job(tmp_path / "one")
    assert load_job(tmp_path / "two") == other


# --- full and read-only


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 64 KB, where we may mount one."""
    if os.name == "nt" or os.geteuid() != 0:
        pytest.skip("only root may mount")
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "none", disk])
    if mounted.returncode:
        pytest.skip("mounting is not permitted here")
    yield disk
    subprocess.run(["umount", disk], check=True)


def test_a_full_disk_leaves_the_old_set(small_disk):
    write_set(small_disk / "out", {"a.dxf": b"old"}, {})

    with pytest.raises(InputError, match="No space left"):
        write_set(small_disk / "out", {"a.dxf": b"x" * 100_000}, {})

    assert read_index(small_disk / "out")["files"] == {"a.dxf": digest(b"old")}
    assert not (small_disk / "out" / STAGING).exists()
    write_set(small_disk / "out", {"a.dxf": b"smaller"}, {})


def test_a_full_disk_leaves_the_old_job(small_disk):
    mould, inside, _ = dish(cells=4)
    job = dish_job(mould=mould, plies=plies_of(inside))
    save_job(job, small_disk / "job")
    large, inside, _ = dish(cells=60)
    rough = large.vertices + np.random.default_rng(1).normal(0, 0.01, large.vertices.shape)
    large = MouldMesh(rough, large.faces)  # what is random packs badly

    with pytest.raises(InputError, match="No space left"):
        save_job(dish_job(mould=large, plies=plies_of(inside)), small_disk / "job")

    assert load_job(small_disk / "job") == job


@pytest.mark.skipif(os.name == "nt", reason="another system's rights")
def test_a_read_only_folder_is_named_and_left_alone(tmp_path):
    if os.geteuid() == 0 and subprocess.run(["which", "setpriv"], stdout=-3).returncode:
        pytest.skip("root may write anywhere")
    write_set(tmp_path / "out", {"a.dxf": b"old"}, {})
    script = (
        "import sys; from pathlib import Path; from flatten.folder import write_set\n"
        "from flatten.errors import InputError\n"
        "try: write_set(Path(sys.argv[1]), {'a.dxf': b'new'}, {})\n"
        "except InputError as error: print(error)"
    )
    command = [sys.executable, "-c", script, tmp_path / "out"]
    if os.geteuid() == 0:  # without the right to write everywhere
        command = ["setpriv", "--bounding-set=-all", "--inh-caps=-all", "--reuid=0", *command]
    (tmp_path / "out").chmod(0o500)
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    (tmp_path / "out").chmod(0o700)

    assert "cannot be written: Permission denied" in told.stdout, told
    assert read_index(tmp_path / "out")["files"] == {"a.dxf": digest(b"old")}
