"""Damaged .blend files: a crash, a hang and a traceback of the reader come out as named errors.

tests/bench/long_blend.py does the same in the hundreds.
"""

import json
import os
import random
import signal
import subprocess
import sys

import pytest
from robust import blends

from addon import blend_reader
from flatten.errors import InputError


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return blends.unpacked(tmp_path_factory.mktemp("plain"))


@pytest.mark.parametrize("way", blends.WAYS)
def test_a_damaged_file_is_read_or_named(way, plain, tmp_path):
    """One of each way in which a file goes bad; seeds of their own, printed by pytest's ids."""
    chance = random.Random(f"{way} 2")
    sample = chance.choice(blends.SAMPLES)
    content = sample.read_bytes() if way.startswith("packed") else plain[sample.name]
    harmed = blends.damaged(content, way, chance)
    assert harmed != content
    assert blends.told(harmed, tmp_path, 60) in ("read", "named", "given up")


def test_a_good_file_is_read(plain, tmp_path):
    """Else nothing of what is damaged would ever be looked at."""
    for content in (*list(plain.values())[:1], blends.SAMPLES[0].read_bytes()):
        assert blends.told(content, tmp_path, 60) == "read"


def child(monkeypatch, code):
    """The reader's process does this instead of opening the file."""
    monkeypatch.setattr(blend_reader, "CHILD", code)
    return blend_reader.read_job(blends.SAMPLES[0], limit_s=2.0)


@pytest.mark.parametrize(
    ("code", "why"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", r"gave up .*\(SIGSEGV\)"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGKILL)", r"gave up .*\(SIGKILL\)"),
        ("raise ValueError('no such struct')", r"gave up .*\(ValueError: no such struct\)"),
        ("import time; time.sleep(60)", "has not finished opening '.*' after 2 s"),
        ("raise SystemExit(7)", r"gave up .*\(it ended with 7\)"),
    ],
)
def test_however_the_reader_ends_there_is_a_sentence(monkeypatch, code, why):
    with pytest.raises(InputError, match=why) as caught:
        child(monkeypatch, code)
    assert "open it in Blender" in caught.value.hint


def test_a_reader_that_hangs_is_ended(monkeypatch, tmp_path):
    mark = tmp_path / "pid"
    code = f"import os, time; open({str(mark)!r}, 'w').write(str(os.getpid())); time.sleep(60)"
    with pytest.raises(InputError, match="has not finished"):
        child(monkeypatch, code)
    with pytest.raises(ProcessLookupError):
        os.kill(int(mark.read_text()), signal.SIG_DFL)


def test_the_folder_one_stands_in_is_not_searched(tmp_path):
    """A numpy.py or json.py beside a file from a stranger is not taken for the library."""
    for name in ("json", "numpy", "flatten", "struct"):
        (tmp_path / f"{name}.py").write_text("open('ran', 'w')")
    code = (
        f"import sys; sys.path.insert(0, {str(blends.ROOT)!r}); import os; "
        f"from addon.blend_reader import read_job; os.chdir({str(tmp_path)!r}); "
        f"print(read_job({str(blends.SAMPLES[0])!r}).digest)"
    )
    ended = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True)

    assert len(ended.stdout.strip()) == 64, ended.stderr
    assert not (tmp_path / "ran").exists()


def test_the_command_line_says_it_in_a_sentence(plain, tmp_path):
    """No traceback, no files, and the exit code of a wrong input."""
    file = tmp_path / "part.blend"
    content = next(iter(plain.values()))
    file.write_bytes(content[: len(content) // 2])
    ended = subprocess.run(
        [sys.executable, "-m", "flatten", "run", str(file), "--out", str(tmp_path / "cut")],
        capture_output=True, text=True, cwd=blends.ROOT,
    )  # fmt: skip
    assert ended.returncode not in (0, -11), ended
    assert "part.blend" in ended.stderr
    assert "Traceback" not in ended.stderr + ended.stdout
    assert [path.name for path in tmp_path.iterdir()] == ["part.blend"]


def test_an_error_of_ours_keeps_its_kind_hint_and_faces(monkeypatch):
    told = {"kind": "SolveError", "message": "It folds.", "hint": "Cut it.", "faces": [3, 5]}
    write = f"pathlib.Path(sys.argv[3], 'said.json').write_text({json.dumps(told)!r})"
    code = f"import pathlib, sys; {write}"
    with pytest.raises(Exception, match="It folds") as caught:
        child(monkeypatch, code)
    assert type(caught.value).__name__ == "SolveError"
    assert (caught.value.hint, caught.value.faces) == ("Cut it.", (3, 5))
