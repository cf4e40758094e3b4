"""The worker hung, out of memory, talking garbage, two at once: a sentence, and nothing stays."""

import json
import random
import sys
import threading
import time

import pytest
from sample_jobs import TWILL, dish, dish_job

from addon.worker import Worker, _last_step
from flatten import serve
from flatten.job import save_job
from flatten.laminate.ply import Ply


@pytest.fixture
def worker():
    made = Worker()
    yield made
    made.close()


def job_in(worker):
    mould, inside, _ = dish(cells=4)
    plies = (Ply(id="p1", name="skin", faces=inside, fabric=TWILL),)
    save_job(dish_job(mould=mould, plies=plies), worker.home / "job")
    return str(worker.home / "job")


def until_ended(worker, seconds=120):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        news = worker.look()
        if news.state != "running":
            return news
        time.sleep(0.02)
    raise AssertionError("the worker did not end")


def test_a_hung_worker_is_ended_when_asked_to_stop(worker, monkeypatch):
    """It hears nothing: a minute in a library, or a disk that does not answer."""
    real = Worker._start

    def hang(self):
        import subprocess

        self._process = subprocess.Popen(
            [sys.executable, "-c", "import time; time.sleep(600)"], stdin=subprocess.PIPE, text=True
        )

    monkeypatch.setattr(Worker, "_start", hang)
    worker.submit({"job": "nowhere", "plies": ["p1"]})
    hung = worker._process
    assert worker.look().state == "running"
    worker.ask_to_stop()

    news = until_ended(worker)

    assert news.error["kind"] == "Cancelled"
    assert hung.poll() is not None
    monkeypatch.setattr(Worker, "_start", real)
    worker.submit({"job": job_in(worker), "plies": ["p1"]})
    assert until_ended(worker).state == "done"


def test_a_hung_worker_does_not_outlive_its_owner(worker, monkeypatch):
    import subprocess

    def hang(self):
        self._process = subprocess.Popen(
            [sys.executable, "-c", "import time; time.sleep(600)"], stdin=subprocess.PIPE, text=True
        )

    monkeypatch.setattr(Worker, "_start", hang)
    worker.submit({"job": "nowhere"})
    hung = worker._process

    worker.close()

    assert hung.poll() is not None
    assert not worker.home.exists()


GARBAGE = [b"", b"{", b"[]", b'"x"', b"\xff\xfe\0", b'{"kind": 1}', b"[" * 100_000, b"NaN"]


@pytest.mark.parametrize("garbage", GARBAGE)
def test_garbage_in_the_error_file_is_a_sentence(worker, garbage):
    worker.submit({"job": job_in(worker), "plies": ["p1"]})
    worker.ask_to_stop()
    (worker.out / "error.json").write_bytes(garbage)

    news = worker.look()

    assert news.state == "failed"
    assert news.error["message"].endswith(".")
    assert set(news.error) >= {"kind", "message", "hint"}


def test_garbage_in_the_progress_file_counts_as_nothing(tmp_path):
    chance = random.Random(1)
    lines = [
        *GARBAGE, b'{"share": NaN, "what": "x"}', b'{"share": 1e999, "what": "x"}',
        b'{"share": "a", "what": 1}', *(chance.randbytes(50) for _ in range(50)),
    ]  # fmt: skip
    for line in lines:
        (tmp_path / "progress").write_bytes(line + b"\n")
        share, what = _last_step(tmp_path / "progress")
        assert 0 <= share <= 1
        assert isinstance(what, str)


def test_a_request_that_is_no_request_ends_the_worker_and_says_so(worker):
    worker.submit({"job": job_in(worker), "colour": "red"})

    news = until_ended(worker)

    assert news.state == "lost"
    assert "colour" in news.what


def test_out_of_memory_is_a_sentence(tmp_path, monkeypatch):
    def too_much(*given, **more):
        raise MemoryError

    monkeypatch.setattr(serve, "do", too_much)
    save_job(dish_job(), tmp_path / "job")
    request = serve.Request(job=str(tmp_path / "job"), out=str(tmp_path))

    serve._answer(request, {}, serve.KeptPatches(), serve.KeptPatches())

    error = json.loads((tmp_path / "error.json").read_text())
    assert error["message"] == "There is not enough memory for this job."
    assert error["hint"]


def test_two_workers_do_not_meet():
    """Two windows of Blender on one machine."""
    pair = [Worker(), Worker()]
    try:
        threads = []
        for worker in pair:
            worker.submit({"job": job_in(worker), "plies": ["p1"]})
            threads.append(threading.Thread(target=until_ended, args=(worker,)))
            threads[-1].start()
        for thread in threads:
            thread.join()
        assert pair[0].home != pair[1].home
        pair[0].close()
        pair[1].submit({"job": job_in(pair[1]), "plies": ["p1"]})
        assert until_ended(pair[1]).state == "done"
    finally:
        for worker in pair:
            worker.close()
