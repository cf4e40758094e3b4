"""The warm worker: good work, errors, stopping, crashes, garbage; nothing stays running."""

import json
import os
import signal
import time

import pytest

from addon import engine
from addon.worker import Worker

from .making import grid, job_of, ply_on


@pytest.fixture
def worker():
    made = Worker()
    yield made
    made.close()


def job_folder(worker, **settings):
    """Save a job of a small dome for the worker; return its folder."""
    job = job_of(ply_on(grid(size=0.2, height=0.03, cells=6), **settings).id_data)
    folder = worker.home / "job"
    engine.load("job").save_job(job, folder)
    return folder


def until_ended(worker, seconds=60):
    """Look at the worker until its request has ended; return the last news and its folder."""
    out, end = worker.out, time.monotonic() + seconds
    while time.monotonic() < end:
        news = worker.look()
        if news.state != "running":
            return news, out
        time.sleep(0.02)
    raise AssertionError("the worker did not end")


def test_a_drape_comes_back_as_an_answer(worker):
    worker.submit({"job": str(job_folder(worker)), "plies": ["p1"]})
    news, out = until_ended(worker)

    assert news.state == "done", news
    answer = engine.load("answer").load_answer(out)
    assert [facts["ply_id"] for facts, _ in answer.pieces()] == ["p1"]
    assert list(answer.facts["plies"]) == ["p1"]
    assert not worker.busy


def test_the_second_request_is_warm(worker):
    """Imports are paid for once: a moved tack point comes back in well under a second."""
    folder = job_folder(worker)
    worker.submit({"job": str(folder), "plies": ["p1"]})
    until_ended(worker)
    process = worker._process.pid
    for x in (10.0, 20.0, 30.0):
        change = {"ply": "p1", "tack_mm": [x, 0.0, 30.0]}
        worker.submit({"job": str(folder), "change": change})
        news, out = until_ended(worker)
        assert news.state == "done", news
        facts, _ = next(engine.load("answer").load_answer(out).pieces())
        assert facts["tack_mm"][0] == pytest.approx(x, abs=2)
    assert worker._process.pid == process


def test_an_error_of_the_engine_comes_back_with_its_hint(worker):
    worker.submit({"job": str(job_folder(worker)), "plies": ["p7"]})
    news, _ = until_ended(worker)

    assert news.state == "failed"
    assert news.error["kind"] == "InputError"
    assert "no ply 'p7'" in news.error["message"]
    assert news.error["hint"]


def test_stop_ends_the_work_within_a_second_or_two(worker):
    worker.submit({"job": str(job_folder(worker)), "plies": ["p1"]})
    began = time.monotonic()
    worker.ask_to_stop()
    news, _ = until_ended(worker)

    assert news.state == "failed"
    assert news.error["kind"] == "Cancelled"
    assert time.monotonic() - began < 5  # a second of patience, and a loaded machine


def test_a_killed_worker_is_reported_and_the_next_request_works(worker):
    folder = job_folder(worker)
    worker.submit({"job": str(folder), "plies": ["p1"]})
    os.kill(worker._process.pid, signal.SIGKILL)
    news, _ = until_ended(worker)
    assert news.state == "lost"

    worker.submit({"job": str(folder), "plies": ["p1"]})
    news, _ = until_ended(worker)
    assert news.state == "done"


def test_garbage_in_the_progress_file_counts_as_nothing(worker):
    worker.submit({"job": str(job_folder(worker)), "plies": ["p1"]})
    (worker.out / "progress.jsonl").write_bytes(b'\xff\xfe{"share": "x"}\n')

    assert worker.look().state in ("running", "done")


def test_an_unreadable_request_is_a_bug_with_its_traceback(worker):
    folder = worker.home / "job"
    folder.mkdir()
    (folder / "job.json").write_text("{")
    worker.submit({"job": str(folder), "plies": ["p1"]})
    news, _ = until_ended(worker)
    assert news.state == "failed"
    assert "damaged" in news.error["message"]


def test_closing_ends_the_process_and_removes_its_folder(worker):
    worker.submit({"job": str(job_folder(worker)), "plies": ["p1"]})
    process, home = worker._process, worker.home
    worker.close()

    assert process.poll() is not None
    assert not home.exists()


def test_the_folders_of_ended_requests_do_not_pile_up(worker):
    folder = job_folder(worker)
    for _ in range(3):
        worker.submit({"job": str(folder), "plies": ["p1"]})
        _, out = until_ended(worker)

    assert [one.name for one in worker.home.glob("work*") if one.is_dir()] == [out.name]


def test_a_preview_given_up_ends_early_and_the_next_is_answered(worker):
    """Told to stop before the worker has begun: it must hear of it inside the drape."""
    folder = job_folder(worker)
    change = {"ply": "p1", "tack_mm": [10.0, 0.0, 30.0]}
    first = worker.submit({"job": str(folder), "change": change})
    worker.drop()
    worker.submit({"job": str(folder), "change": {**change, "tack_mm": [20.0, 0.0, 30.0]}})
    news, _ = until_ended(worker)

    assert news.state == "done"
    assert json.loads((first / "error.json").read_text())["kind"] == "Cancelled"


def test_the_worker_ends_when_its_asker_is_gone(worker):
    """Closing the pipe is what the system does when Blender ends or crashes."""
    worker.submit({"job": str(job_folder(worker)), "plies": ["p1"]})
    process = worker._process
    process.stdin.close()
    process.wait(20)

    assert process.returncode == 0


def test_progress_is_told_in_steps(worker):
    worker.submit({"job": str(job_folder(worker)), "plies": ["p1"]})
    _, out = until_ended(worker)
    steps = [json.loads(line) for line in (out / "progress.jsonl").read_text().splitlines()]

    shares = [step["share"] for step in steps]
    assert shares == sorted(shares)
    assert any("draping" in step["what"] for step in steps)
