"""The command line as a person or a program meets it: exit codes, one-line errors, JSON."""

import json
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sample_jobs import TWILL, dish_job

from flatten.__main__ import main
from flatten.cloth.library import load_fabrics
from flatten.folder import read_index
from flatten.job import JOB_FILE, Settings, load_job, save_job
from flatten.nest.roll import Roll, Stock
from flatten.nest.settings import NestSettings
from flatten.nest.stock import read_stock, write_stock

ROOT = Path(__file__).parents[1]


@pytest.fixture
def folder(tmp_path):
    save_job(dish_job(), tmp_path / "job")
    return tmp_path


def test_run_writes_the_files_and_says_where(folder, capsys):
    code = main(["run", str(folder / "job"), "--out", str(folder / "cut")])

    told = capsys.readouterr().out
    assert code == 0
    assert "Test dish" in told
    assert str(folder / "cut") in told.replace("\n", "")
    assert read_index(folder / "cut")["part"] == "Test dish"


def test_run_without_out_writes_into_the_job_folder(folder):
    assert main(["run", str(folder / "job")]) == 0
    assert read_index(folder / "job" / "cut")["part"] == "Test dish"


def test_json_is_one_object_and_nothing_else(folder, capsys):
    main(["run", str(folder / "job"), "--out", str(folder / "cut"), "--json"])

    facts = json.loads(capsys.readouterr().out)

    assert [ply["name"] for ply in facts["plies"]] == ["outer skin", "inner skin"]


def test_check_writes_nothing(folder, capsys):
    before = sorted(folder.rglob("*"))

    assert main(["check", str(folder / "job")]) == 0

    assert sorted(folder.rglob("*")) == before
    assert capsys.readouterr().out


def test_progress_goes_up_to_one_in_a_file(folder):
    log = folder / "progress.jsonl"

    main(["run", str(folder / "job"), "--out", str(folder / "cut"), "--progress", str(log)])

    shares = [json.loads(line)["share"] for line in log.read_text().splitlines()]
    assert shares == sorted(shares)
    assert shares[-1] == 1


def test_an_error_is_one_line_with_the_way_out(folder, capsys):
    (folder / "job" / JOB_FILE).write_text("{}")
    log = folder / "progress.jsonl"

    code = main(["run", str(folder / "job"), "--progress", str(log)])

    told = capsys.readouterr()
    assert code == 2
    assert told.out == ""
    assert len(told.err.strip().splitlines()) == 1
    assert "not a job" in told.err
    assert json.loads((folder / "error.json").read_text())["hint"]


@pytest.mark.parametrize(
    ("name", "content", "reason"),
    [
        ("gone.blend", None, "no file or folder"),
        ("mould.step", b"solid", r"'\.step' cannot be read"),
    ],
)
def test_what_is_not_a_mould_is_named(tmp_path, capsys, name, content, reason):
    if content is not None:
        (tmp_path / name).write_bytes(content)

    assert main(["run", str(tmp_path / name)]) == 2
    assert re.search(reason, capsys.readouterr().err)


def test_a_stopped_roll_ends_with_two(folder):
    stock = Stock(rolls=(Roll(id="tape", fabric=TWILL, width_mm=120),))
    save_job(dish_job(stock=stock), folder / "wide")

    assert main(["run", str(folder / "wide"), "--out", str(folder / "cut")]) == 2
    assert (folder / "cut" / "patterns.dxf").is_file()


def test_what_is_cut_is_taken_off_the_stock_file(folder, capsys):
    """Booked once; the same cloth cannot be cut twice from a roll that is too short then."""
    shelf = folder / "stock.json"
    write_stock(shelf, Stock(rolls=(Roll(id="r1", fabric=TWILL, width_mm=1250, length_mm=600),)))
    order = ["run", str(folder / "job"), "--out", str(folder / "cut"), "--stock", str(shelf)]

    assert main(order) == 0
    assert read_stock(shelf).rolls[0].length_mm == 600
    assert main([*order, "--book"]) == 0

    used = read_index(folder / "cut")["rolls"][0]["used_length_mm"]
    assert read_stock(shelf).rolls[0].length_mm == pytest.approx(600 - used, abs=1e-6)


def test_nothing_is_booked_where_one_cloth_found_no_place(folder, capsys):
    """Two pieces of twill, 250 mm of it, and plain enough: which is missing is said by name."""
    job = dish_job()
    plain = load_fabrics()["carbon_plain_160"]
    third = replace(job.plies[0], id="p3", name="plain skin", fabric=plain.id)
    job = replace(job, plies=(*job.plies, third), fabrics=(*job.fabrics, plain))
    save_job(job, folder / "two cloths")
    shelf = folder / "short.json"
    write_stock(shelf, Stock(rolls=(Roll(id="r", fabric=TWILL, width_mm=220, length_mm=250),)))
    before = shelf.read_bytes()
    order = ["run", str(folder / "two cloths"), "--out", str(folder / "cut"), "--book"]

    assert main([*order, "--stock", str(shelf)]) == 2

    said = capsys.readouterr().err
    assert f"No {job.fabrics[0].name} was nested, so nothing is booked." in said
    assert shelf.read_bytes() == before


def test_booking_needs_a_stock_file(folder, capsys):
    assert main(["run", str(folder / "job"), "--book"]) == 2
    assert "--stock FILE" in capsys.readouterr().err


def test_widths_are_compared_side_by_side(folder, capsys):
    order = ["widths", str(folder / "job"), "--widths", "100,450", "--kits", "1,2", "--json"]

    assert main(order) == 0

    (rows,) = json.loads(capsys.readouterr().out).values()
    assert [(row["width_mm"], row["kits"]) for row in rows] == [
        (100, 1), (100, 2), (450, 1), (450, 2),
    ]  # fmt: skip
    assert rows[0]["too_wide"] == ["p1", "p2"]
    assert rows[3]["cloth_m2"] > rows[2]["cloth_m2"] > 0


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_ctrl_c_keeps_the_best_layout_so_far(folder):
    """The search would take a minute; interrupted, the files are written all the same."""
    job = dish_job(settings=Settings(nest=NestSettings(seconds=60.0, kits=6)))
    save_job(job, folder / "long")
    log = folder / "progress.jsonl"
    work = subprocess.Popen(
        [sys.executable, "-m", "flatten", "run", folder / "long", "--progress", log],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    start = time.monotonic()
    while "nesting: " not in (log.read_text() if log.exists() else ""):
        assert time.monotonic() - start < 50, "the search did not begin"
        time.sleep(0.1)
    work.send_signal(signal.SIGINT)

    assert work.wait(timeout=50) == 0, work.stdout.read()
    assert read_index(folder / "long" / "cut")["rolls"][0]["used_length_mm"] > 0


def test_help_tells_the_commands(capsys):
    assert main([]) == 0
    assert "mouldply run" in capsys.readouterr().out


def test_a_bug_keeps_its_traceback(folder):
    """Exit code 1: whatever is not ours to explain."""
    script = (
        "import sys; import flatten.run as r; r.run = lambda *a, **k: 1 / 0\n"
        "from flatten.__main__ import main; sys.exit(main(sys.argv[1:]))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", script, "run", str(folder / "job")],
        cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip

    assert ended.returncode == 1
    assert "ZeroDivisionError" in ended.stderr


def test_starting_up_loads_nothing_heavy():
    """--help must be quick: no array or solver library is loaded for it."""
    script = (
        "import sys; from flatten.__main__ import main; main([]); "
        "print(sorted({'numpy', 'shapely', 'cvxopt', 'ezdxf', 'reportlab'} & set(sys.modules)))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert ended.stdout.strip().endswith("[]")


def test_tack_search_names_an_unknown_ply(folder, capsys):
    assert main(["tack", str(folder / "job"), "--ply", "p9"]) == 2
    assert "no ply 'p9'. Choose of p1, p2" in capsys.readouterr().err


def test_tack_search_saves_only_into_a_job_folder(folder, capsys):
    (folder / "mould.blend").write_bytes(b"")
    assert main(["tack", str(folder / "mould.blend"), "--save"]) == 2
    assert "not a job folder" in capsys.readouterr().err


def test_a_better_tack_point_is_saved_into_the_job(folder, capsys, monkeypatch):
    """From the rim of the dish the search moves inwards, and the job folder gets the new place."""
    monkeypatch.setattr("flatten.cloth.tack.TRIAL_TRIANGLES", 200)
    job = dish_job()
    edge = job.mould.corners[job.plies[0].faces].mean(axis=1)
    ply = replace(job.plies[0], tack_mm=edge[np.hypot(edge[:, 0], edge[:, 1]).argmax()])
    save_job(replace(job, plies=(ply,)), folder / "rim")

    assert main(["tack", str(folder / "rim"), "--save", "--json"]) == 0

    (facts,) = json.loads(capsys.readouterr().out)
    assert facts["better"]
    assert facts["shear_rms_deg"] < facts["shear_rms_deg_given"]
    assert load_job(folder / "rim").plies[0].tack_mm.tolist() == facts["tack_mm"]


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("MOULDPLY_HOME", str(tmp_path / "own"))


def test_a_measured_printer_corrects_the_paper(folder, own_folder, capsys):
    """Where 100 mm print as 99, the template is drawn a hundredth larger: its bytes differ."""
    assert main(["printer", "test", "--out", str(folder / "test.pdf")]) == 0
    assert (folder / "test.pdf").read_bytes().startswith(b"%PDF")
    assert main(["printer", "set", "workshop", "--x", "99", "--y", "99.5"]) == 0
    assert main(["printer", "list"]) == 0
    assert "workshop: 100 mm print as 99 x 99.5 mm" in capsys.readouterr().out

    order = ["run", str(folder / "job"), "--out"]
    main([*order, str(folder / "plain")])
    main([*order, str(folder / "true"), "--printer", "workshop"])

    plain, true = (read_index(folder / name)["files"] for name in ("plain", "true"))
    assert plain["templates.pdf"] != true["templates.pdf"]
    assert plain["patterns.dxf"] == true["patterns.dxf"]


@pytest.mark.parametrize(
    ("order", "reason"),
    [
        (["set", "w", "--x", "97", "--y", "100"], "fitting to the page"),
        (["set", " ", "--x", "100", "--y", "100"], "no name"),
        (["test", "--out", "/nowhere/test.pdf"], "cannot be written"),
        (["test", "--out", "t.pdf", "--sheet", "B9"], "sheet is 'B9'"),
    ],
)
def test_a_printer_that_cannot_be_is_refused(own_folder, capsys, order, reason):
    assert main(["printer", *order]) == 2
    assert reason in capsys.readouterr().err


def test_an_unknown_printer_is_named(folder, own_folder, capsys):
    assert main(["run", str(folder / "job"), "--printer", "attic"]) == 2
    assert "no printer 'attic' (kept: none yet)" in capsys.readouterr().err
