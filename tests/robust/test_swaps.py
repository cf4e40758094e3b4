"""The swap of one set of results for the next: death at each step, held files, two at once."""

import os
import shutil
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest

from flatten import alone
from flatten.alone import alone_in
from flatten.errors import InputError
from flatten.folder import INDEX, STAGING, distinct_names, read_index, safe_name, settle, write_set

ROOT = Path(__file__).parents[2]
OLD = {"a.dxf": b"old a", "b.pdf": b"old b", "c.csv": b"old c"}
NEW = {"a.dxf": b"new a", "b.pdf": b"new b", "d.csv": b"new d"}


class Died(BaseException):
    """Nothing catches it, as nothing catches a kill."""


class Steps:
    """Lets so many steps on the disk happen, then dies before the next."""

    def __init__(self, monkeypatch, lasts):
        self.left, self.taken = lasts, 0
        for home, name in (
            (os, "replace"), (os, "fsync"), (Path, "unlink"), (Path, "mkdir"), (shutil, "rmtree"),
        ):  # fmt: skip
            monkeypatch.setattr(home, name, self._counted(getattr(home, name)))
        monkeypatch.setattr(Path, "open", self._half_written(Path.open))

    def _counted(self, real):
        def step(*given, **more):
            self._one()
            return real(*given, **more)

        return step

    def _half_written(self, real):
        def step(file, mode="r", *given, **more):
            opened = real(file, mode, *given, **more)  # a death after this leaves it empty
            if mode == "wb":
                self._one()
            return opened

        return step

    def _one(self):
        if self.left == 0:
            raise Died
        self.left -= 1
        self.taken += 1


def test_dying_before_any_step_leaves_the_old_set_or_the_new_one(tmp_path):
    """Each step of the way once, where kills at random moments may miss the rare ones."""
    seen = []
    for lasts in range(200):
        out = tmp_path / f"{lasts}"
        write_set(out, OLD, {"n": 1})
        with pytest.MonkeyPatch.context() as patch:
            steps = Steps(patch, lasts)
            try:
                write_set(out, NEW, {"n": 2})
                ended = True
            except Died:
                ended = False
        seen.append(read_index(out)["n"])
        there = {file.name for file in out.iterdir()} - {STAGING}
        assert there == {*(OLD if seen[-1] == 1 else NEW), INDEX}, lasts
        if ended:
            break
    assert ended
    assert steps.taken > 15  # else the steps are no longer seen
    assert seen == sorted(seen)  # first the old set, from some step on the new one
    assert {1, 2} == set(seen)


def test_dying_while_a_dead_run_is_completed_loses_nothing_either(tmp_path):
    """Killed, and killed again by whoever opens the folder next."""
    for lasts in range(50):
        out = tmp_path / f"{lasts}"
        write_set(out, OLD, {"n": 1})
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("flatten.folder._settle", lambda folder: None)
            patch.setattr(Path, "read_bytes", lambda file: 1 / 0)
            with pytest.raises(ZeroDivisionError):
                write_set(out, NEW, {"n": 2})
        with pytest.MonkeyPatch.context() as patch:
            Steps(patch, lasts)
            try:
                settle(out)
                ended = True
            except Died:
                ended = False
        assert read_index(out)["n"] == 2, lasts
        if ended:
            break
    assert ended
    assert lasts > 5


@pytest.mark.parametrize("name", ["b.pdf", "c.csv", INDEX])
def test_a_folder_in_the_place_of_a_file_is_named_before_anything_is_replaced(tmp_path, name):
    write_set(tmp_path, OLD, {"n": 1})
    (tmp_path / name).unlink()
    (tmp_path / name).mkdir()
    (tmp_path / name / "mine.txt").write_text("keep")

    with pytest.raises(InputError, match=r"cannot be replaced|was not written by"):
        write_set(tmp_path, NEW, {"n": 2})

    assert (tmp_path / "a.dxf").read_bytes() == OLD["a.dxf"]
    assert (tmp_path / name / "mine.txt").read_text() == "keep"
    with pytest.raises(InputError):
        read_index(tmp_path)


def test_a_file_that_a_viewer_holds_open_is_named_and_the_new_set_waits(tmp_path, monkeypatch):
    """As Windows refuses it: even renaming a file to its own name. Closed, the new set comes in."""
    write_set(tmp_path, OLD, {"n": 1})
    real, held = os.replace, [tmp_path / "b.pdf"]

    def replace(source, target):
        if Path(target) in held:
            raise PermissionError(13, "Permission denied", str(source), None, str(target))
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(InputError, match=r"b\.pdf' cannot be replaced: Permission denied"):
        write_set(tmp_path, NEW, {"n": 2})
    assert read_index(tmp_path)["n"] == 1  # whole: nothing of it was touched
    assert (tmp_path / "a.dxf").read_bytes() == OLD["a.dxf"]

    held.clear()
    assert read_index(tmp_path)["n"] == 2


def test_a_set_that_another_program_changes_meanwhile_is_not_called_done(tmp_path, monkeypatch):
    monkeypatch.setattr("flatten.folder._settle", lambda folder: None)
    write_at = tmp_path / INDEX
    monkeypatch.setattr("flatten.folder._refuse_strangers", lambda *given: write_at.write_text(""))
    with pytest.raises(InputError, match="changed by another program"):
        write_set(tmp_path, NEW, {"n": 2})


WRITER = """
import sys
from pathlib import Path
from flatten.folder import read_index, write_set
folder, who = Path(sys.argv[1]), sys.argv[2]
for turn in range(25):
    files = {f"{name}.dxf": f"{who} {turn} {name}".encode() * 500 for name in "abcdef"}
    write_set(folder, files, {"who": who, "turn": turn})
    index = read_index(folder)
    assert index["who"] != who or index["turn"] == turn, "a set of ours was lost"
"""


def test_runs_into_one_folder_at_once_come_one_after_the_other(tmp_path):
    """Without a lock half of them failed, and some said they were done when nothing was written."""
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, tmp_path, who], cwd=ROOT, stderr=subprocess.PIPE
        )
        for who in "xyz"
    ]
    told = [run.communicate(timeout=120)[1].decode() for run in runs]

    assert [run.returncode for run in runs] == [0, 0, 0], told
    assert read_index(tmp_path)["turn"] == 24
    assert {file.name for file in tmp_path.iterdir()} == {INDEX, *(f"{n}.dxf" for n in "abcdef")}


def test_a_folder_held_too_long_is_named_and_given_up_by_a_dead_process(tmp_path):
    held = subprocess.Popen(
        [
            sys.executable, "-c",
            "import sys, time; from pathlib import Path; from flatten.alone import alone_in\n"
            "with alone_in(Path(sys.argv[1])): print('held', flush=True); time.sleep(600)",
            tmp_path,
        ],
        cwd=ROOT, stdout=subprocess.PIPE,
    )  # fmt: skip
    held.stdout.readline()
    with pytest.raises(InputError, match="Another run is writing"), alone_in(tmp_path, 0.1):
        pass
    held.kill()
    held.wait()
    held.stdout.close()
    with alone_in(tmp_path, 0.1):
        pass


def test_the_lock_of_a_system_without_flock_lets_only_one_in(tmp_path):
    """Windows removes the file with the handle; here that is done by hand."""
    handle = alone._take_file(tmp_path / alone.LOCK)
    with pytest.raises(BlockingIOError):
        alone._take_file(tmp_path / alone.LOCK)
    os.close(handle)
    (tmp_path / alone.LOCK).unlink()
    os.close(alone._take_file(tmp_path / alone.LOCK))


def test_a_disk_without_locks_is_written_all_the_same(tmp_path, monkeypatch):
    def no_locks(folder):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(alone, "_take", no_locks)
    write_set(tmp_path, OLD, {"n": 1})
    assert read_index(tmp_path)["n"] == 1


# --- names


def test_an_accented_letter_is_one_name_however_it_is_coded():
    """macOS takes both for the same file: one cloth's roll would replace the other's."""
    one, other = (unicodedata.normalize(form, "roll Köper é") for form in ("NFC", "NFD"))
    names = distinct_names([one, other, one.upper()])
    assert len({unicodedata.normalize("NFC", name).casefold() for name in names}) == 3


# Source: Naming Files, Paths, and Namespaces (Win32 documentation): the superscript digits, too.
@pytest.mark.parametrize(
    "name", ["COM\u00b9", "lpt\u00b2.txt", "COM\u00b3.a.b", "CONIN$", "conout$"]
)
def test_every_name_windows_keeps_for_itself_is_avoided(name):
    assert safe_name(name) == f"_{name}"


@pytest.mark.parametrize(
    "letter", ["\u202e", "\u2066", "\u200b", "\ufeff", "\u00ad", "\u2028", "\x85"]
)
def test_letters_that_hide_or_turn_a_name_are_left_out_of_it(letter):
    """`roll a<right-to-left>gpj.exe` would be shown as `roll aexe.jpg`."""
    assert letter not in safe_name(f"roll a{letter}gpj")
