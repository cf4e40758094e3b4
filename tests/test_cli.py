"""The command line as a person or a program meets it: exit codes, one-line errors, JSON."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from sample_jobs import TWILL, dish_job

from flatten.__main__ import main
from flatten.folder import read_index
from flatten.job import JOB_FILE, save_job
from flatten.nest.roll import Roll, Stock

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
