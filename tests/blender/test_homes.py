"""The worker's temporary folders: one left by a crash goes, one in use stays."""

import os
import subprocess
import sys
import tempfile
import time

import pytest

from addon import homes


@pytest.fixture(autouse=True)
def own_temporary_folder(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def make_old(home):
    """Let a folder look as if its owner had begun ten minutes ago."""
    then = time.time() - 600
    os.utime(home / homes.LOCK, (then, then))


def owner_elsewhere():
    """Start another process that holds a folder; return both."""
    code = (
        f"import sys, tempfile; tempfile.tempdir = {tempfile.tempdir!r}\n"
        "from addon import homes\nhome, lock = homes.make_home()\n"
        "print(home, flush=True)\nsys.stdin.read()"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    return process, homes.Path(process.stdout.readline().strip())


def test_a_folder_in_use_stays_and_goes_once_its_owner_was_killed():
    process, home = owner_elsewhere()
    make_old(home)
    homes.clear_left_behind()
    assert home.exists()

    process.kill()
    process.wait()
    homes.clear_left_behind()
    assert not home.exists()


def test_a_young_folder_stays_for_its_owner_may_be_about_to_lock_it():
    home, lock = homes.make_home()
    lock.close()
    homes.clear_left_behind()
    assert home.exists()

    make_old(home)
    homes.clear_left_behind()
    assert not home.exists()


def test_what_is_not_ours_stays(tmp_path):
    bare, other = tmp_path / f"{homes.PREFIX}bare", tmp_path / "other"
    kept = tmp_path / "kept"
    for folder in (bare, other, kept):
        folder.mkdir()
    (other / homes.LOCK).touch()
    make_old(other)
    (kept / homes.LOCK).touch()
    make_old(kept)
    (tmp_path / f"{homes.PREFIX}link").symlink_to(kept)

    homes.clear_left_behind()

    assert bare.exists()
    assert (other / homes.LOCK).exists()
    assert (kept / homes.LOCK).exists()


def test_a_folder_given_up_is_gone():
    home, lock = homes.make_home()
    homes.remove_home(home, lock)
    assert not home.exists()
