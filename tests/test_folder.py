"""A results folder is whole or plainly unfinished, whatever happens while it is written."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from flatten.errors import InputError
from flatten.folder import INDEX, STAGING, digest, read_index, settle, write_set

ROOT = Path(__file__).parents[1]
OLD = {"a.dxf": b"old a", "b.pdf": b"old b"}
NEW = {"a.dxf": b"new a", "c.csv": b"new c"}


def test_a_set_is_read_back_with_its_digests(tmp_path):
    write_set(tmp_path, OLD, {"part": "hatch"})

    index = read_index(tmp_path)

    assert index["part"] == "hatch"
    assert index["files"] == {name: digest(content) for name, content in OLD.items()}


def test_a_new_set_replaces_the_old_one_and_leaves_what_is_not_ours(tmp_path):
    write_set(tmp_path, OLD, {"run": 1})
    (tmp_path / "my notes.txt").write_text("keep")

    write_set(tmp_path, NEW, {"run": 2})

    assert {file.name for file in tmp_path.iterdir()} == {*NEW, INDEX, "my notes.txt"}
    assert read_index(tmp_path)["run"] == 2


def test_a_changed_file_is_noticed(tmp_path):
    write_set(tmp_path, OLD, {})
    (tmp_path / "a.dxf").write_bytes(b"edited")

    with pytest.raises(InputError, match=r"a\.dxf' is missing or was changed"):
        read_index(tmp_path)


def test_an_unfinished_staging_is_thrown_away(tmp_path):
    write_set(tmp_path, OLD, {"run": 1})
    (tmp_path / STAGING).mkdir()
    (tmp_path / STAGING / "a.dxf").write_bytes(b"half")

    settle(tmp_path)

    assert read_index(tmp_path)["run"] == 1
    assert not (tmp_path / STAGING).exists()


def test_a_whole_staging_is_completed(tmp_path):
    """Killed between two renames: one file is already moved, the index is not."""
    write_set(tmp_path, OLD, {"run": 1})
    staging = tmp_path / STAGING
    staging.mkdir()
    index = {"run": 2, "files": {name: digest(content) for name, content in NEW.items()}}
    (staging / INDEX).write_text(json.dumps(index))
    (tmp_path / "a.dxf").write_bytes(NEW["a.dxf"])
    (staging / "c.csv").write_bytes(NEW["c.csv"])

    assert read_index(tmp_path)["run"] == 2
    assert not (tmp_path / "b.pdf").exists()


def test_a_stranger_is_not_overwritten(tmp_path):
    (tmp_path / "a.dxf").write_text("somebody's drawing")

    with pytest.raises(InputError, match="not written by mouldply"):
        write_set(tmp_path, NEW, {})
    assert (tmp_path / "a.dxf").read_text() == "somebody's drawing"


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_named(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="cannot be written"):
        write_set(tmp_path, NEW, {})


def test_a_file_where_the_folder_should_be_is_named(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(InputError, match="out' cannot be written"):
        write_set(tmp_path / "out", NEW, {})


WRITER = """
import sys
from pathlib import Path
from flatten.folder import write_set
folder, run = Path(sys.argv[1]), 1
print("ready", flush=True)
while True:
    run += 1
    files = {f"{name}.dxf": f"{run} {name}".encode() * 5000 for name in "abcdef"}
    write_set(folder, files, {"run": run})
"""


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("chance", range(12))
def test_killed_at_any_moment_a_whole_set_remains(tmp_path, chance):
    files = {f"{name}.dxf": b"first" for name in "abcdef"}
    write_set(tmp_path, files, {"run": 1})
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE
    )
    assert writer.stdout is not None
    writer.stdout.readline()
    time.sleep(0.003 + 0.0037 * chance)
    writer.send_signal(signal.SIGKILL)
    writer.wait()
    writer.stdout.close()

    index = read_index(tmp_path)  # checks every digest

    assert index["run"] >= 1
    assert len(index["files"]) == 6
