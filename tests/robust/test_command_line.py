"""The commands where the disk is full, outputs are closed, places have no name of their own."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sample_jobs import TWILL, dish, dish_job

from flatten.__main__ import main
from flatten.folder import INDEX, digest, read_index, write_whole
from flatten.job import load_job, save_job
from flatten.laminate.ply import Ply
from flatten.nest.roll import Roll, Stock
from flatten.nest.stock import read_stock, write_stock

ROOT = Path(__file__).parents[2]
posix = pytest.mark.skipif(os.name == "nt", reason="devices and shells of POSIX")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A job folder with its results in it."""
    folder = tmp_path_factory.mktemp("made")
    mould, inside, _ = dish(cells=5)
    plies = (Ply(id="p1", name="skin", faces=inside, fabric=TWILL),)
    save_job(dish_job(mould=mould, plies=plies), folder / "job")
    assert main(["run", str(folder / "job"), "--out", str(folder / "cut")]) == 0
    return folder


def shell(line, **more):
    """Run a line of shell in which $M is the command; return code and both outputs."""
    env = {
        **os.environ, "M": f"{sys.executable} -m flatten", "PYTHONPATH": str(ROOT),
        "OMP_NUM_THREADS": "1", **more,
    }  # fmt: skip
    return subprocess.run(["sh", "-c", line], cwd=ROOT, env=env, capture_output=True, text=True)


@posix
@pytest.mark.parametrize("more", ["", "--json"])
def test_an_output_that_is_full_is_a_sentence(made, tmp_path, more):
    told = shell(f"$M run {made}/job --out {tmp_path}/cut {more} > /dev/full")

    assert told.returncode == 2
    assert told.stderr == "mouldply: the answer cannot be written: No space left on device.\n"
    assert read_index(tmp_path / "cut")["part"] == "Test dish"  # the files are there


@posix
def test_closed_outputs_stop_no_work(made, tmp_path):
    for number, closed in enumerate((">&-", ">&- 2>&- <&-")):
        told = shell(f"$M run {made}/job --out {tmp_path}/{number} {closed}")
        assert told.returncode == 0, (closed, told.stderr)
        assert "Traceback" not in told.stderr
        assert read_index(tmp_path / f"{number}")


@posix
def test_a_full_disk_for_the_progress_file_stops_no_work(made, tmp_path):
    assert (
        main(["run", str(made / "job"), "--out", str(tmp_path / "c"), "--progress", "/dev/full"])
        == 0
    )
    assert read_index(tmp_path / "c")


def test_a_progress_file_in_no_folder_is_named(made, tmp_path, capsys):
    place = str(tmp_path / "none" / "p.jsonl")
    assert main(["run", str(made / "job"), "--out", str(tmp_path / "c"), "--progress", place]) == 2
    assert "p.jsonl' cannot be written" in capsys.readouterr().err


@posix
def test_no_room_for_what_the_nest_needs_meanwhile_is_named(made, tmp_path):
    """The temporary folder is a disk of its own on many systems."""
    if os.geteuid() != 0:
        pytest.skip("only root may mount")
    disk = tmp_path / "small"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4k", "none", disk]).returncode:
        pytest.skip("mounting is not permitted here")
    job = dish_job()  # two plies: what the nest needs then fills more than a page
    nest = replace(job.settings.nest, seconds=1.0)
    save_job(replace(job, settings=replace(job.settings, nest=nest)), tmp_path / "job")
    try:
        told = shell(f"$M run {tmp_path}/job --out {tmp_path}/cut", TMPDIR=str(disk))
        left = list(disk.iterdir())
    finally:
        subprocess.run(["umount", disk], check=True)
    assert told.returncode == 2
    assert f"Nothing can be written into '{disk}' for the nest" in told.stderr
    assert left == []


@posix
@pytest.mark.parametrize("command", ["show {0}/cut", "report {0}/job", "printer test"])
def test_a_file_that_finds_no_room_leaves_the_old_one(made, tmp_path, command, capsys):
    if os.geteuid() != 0:
        pytest.skip("only root may mount")
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4k", "none", disk]).returncode:
        pytest.skip("mounting is not permitted here")
    try:
        (disk / "old").write_text("old")
        words = command.format(made).split()
        assert main([*words, "--out", str(disk / "old")]) == 2
        assert [file.name for file in disk.iterdir()] == ["old"]
        assert (disk / "old").read_text() == "old"
    finally:
        subprocess.run(["umount", disk], check=True)
    assert "cannot be written: No space left on device" in capsys.readouterr().err


def test_here_and_the_folder_above_have_names_too(made, tmp_path, monkeypatch):
    """`.` has none of its own: the page of `mouldply show .` lies beside the folder."""
    assert main(["run", str(made / "job"), "--out", str(tmp_path / "tray" / "cut")]) == 0
    monkeypatch.chdir(tmp_path / "tray" / "cut")
    assert main(["show", "."]) == 0
    monkeypatch.chdir(made / "job")
    assert main(["report", ".", "--out", str(tmp_path / "a.zip")]) == 0
    monkeypatch.chdir(tmp_path)
    save_job(load_job(made / "job"), tmp_path / "here")
    monkeypatch.chdir(tmp_path / "here")
    assert main(["report", "."]) == 0
    assert (tmp_path / "tray" / "cut.html").is_file()
    assert (tmp_path / "here" / "here report.zip").is_file()


def test_a_page_nobody_named_takes_no_strangers_place(made, tmp_path, capsys):
    assert main(["run", str(made / "job"), "--out", str(tmp_path / "cut")]) == 0
    page = tmp_path / "cut.html"
    page.write_text("<p>mine</p>")
    assert main(["show", str(tmp_path / "cut")]) == 2
    assert "was not written by mouldply" in capsys.readouterr().err
    assert page.read_text() == "<p>mine</p>"
    page.unlink()
    assert main(["show", str(tmp_path / "cut")]) == 0
    assert main(["show", str(tmp_path / "cut")]) == 0  # ours is


@pytest.mark.parametrize("given", ["nan", "1.5", "inf", "-1", "0", "1e30", "x"])
def test_numbers_of_kits_that_are_none_are_named(made, given, capsys):
    assert main(["widths", str(made / "job"), "--widths", "1000", "--kits", given]) == 2
    assert "kits" in capsys.readouterr().err


def test_a_file_in_the_place_of_a_new_job_is_named(tmp_path, capsys):
    from flatten.surface.stl import stl_bytes

    (tmp_path / "a.stl").write_bytes(stl_bytes(dish()[0]))
    (tmp_path / "a job").write_text("mine")
    assert main(["new", str(tmp_path / "a.stl")]) == 2
    assert "no empty folder" in capsys.readouterr().err
    assert (tmp_path / "a job").read_text() == "mine"


@posix
def test_a_stock_file_keeps_its_rights_and_its_link(tmp_path):
    """A shelf several people share: written anew it must not become one man's own."""
    shelf = Stock(rolls=(Roll(id="r", fabric=TWILL, width_mm=1000.0),))
    write_stock(tmp_path / "real.json", shelf)
    assert (tmp_path / "real.json").stat().st_mode & 0o777 == 0o666 & ~os.umask(os.umask(0o22))
    (tmp_path / "real.json").chmod(0o664)
    (tmp_path / "stock.json").symlink_to(tmp_path / "real.json")

    write_stock(tmp_path / "stock.json", Stock())

    assert (tmp_path / "stock.json").is_symlink()
    assert (tmp_path / "real.json").stat().st_mode & 0o777 == 0o664
    assert read_stock(tmp_path / "real.json") == Stock()


def test_a_file_is_replaced_in_one_step(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"old")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "a", b"new")
    assert (tmp_path / "a").read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 1


# --- the page of a result from a stranger


def hostile(value):
    """Yield the same JSON value with one thing in it changed, everywhere once."""
    for other in (None, "<b>", -1, [], {}, 1e999):
        yield other
    if isinstance(value, dict):
        for key, inner in value.items():
            yield {name: one for name, one in value.items() if name != key}
            for other in hostile(inner):
                yield {**value, key: other}
    if isinstance(value, list) and value:
        for other in hostile(value[0]):
            yield [other, *value[1:]]


def test_a_page_of_damaged_facts_is_made_or_named(made, tmp_path, capsys):
    """A stranger's index can carry the right digests. Nothing in it may run, or end in a bug."""
    out = tmp_path / "cut"
    out.mkdir()
    for file in (made / "cut").iterdir():
        (out / file.name).write_bytes(file.read_bytes())
    facts = json.loads((out / INDEX).read_text())
    facts["findings"] = facts["findings"][:2]
    seen, page = set(), tmp_path / "a.html"
    shown = ("findings", "mould", "plies", "pieces", "rolls", "totals", "part", "program")
    for name in shown:
        for number, changed in enumerate(hostile(facts[name])):
            if number % 7 and number > 30:
                continue
            text = json.dumps({**facts, name: changed}).replace("Infinity", "1e999")
            (out / INDEX).write_text(text)
            page.unlink(missing_ok=True)
            seen.add(main(["show", str(out), "--out", str(page)]))
            if page.is_file():
                words = re.sub(r"<b>(look at it|good to know|stops|)</b>", "", page.read_text())
                assert "<b>" not in words.split("<header>")[-1], (name, changed)
    assert seen == {0, 2}


def test_a_page_of_damaged_arrays_is_made_or_named(made, tmp_path):
    """Arrays of another length or kind than their fellows, with a digest that is right."""
    out = tmp_path / "cut"
    out.mkdir()
    for file in (made / "cut").iterdir():
        (out / file.name).write_bytes(file.read_bytes())
    with np.load(out / "drape.npz") as packed:
        arrays = dict(packed)
    facts = json.loads((out / INDEX).read_text())
    codes = set()
    for name in arrays:
        for other in (
            arrays[name][:1], arrays[name].ravel(), arrays[name] * 0 - 1, np.zeros((0, 3)),
            arrays[name].astype(float) * np.nan, np.array(3.0), arrays[name].astype(np.uint8),
            arrays[name].astype(np.int64) + 2**40,
        ):  # fmt: skip
            np.savez(out / "drape.npz", **{**arrays, name: other})
            facts["files"]["drape.npz"] = digest((out / "drape.npz").read_bytes())
            (out / INDEX).write_text(json.dumps(facts))
            codes.add(main(["show", str(out), "--out", str(tmp_path / "a.html")]))
    assert codes == {0, 2}
