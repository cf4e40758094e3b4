"""Work in the worker while life goes on: the way a window does it, its timer called by hand."""

import threading
import time

import bpy
import pytest

from addon import bridge, preview, work
from addon.scene_job import draft_job
from flatten.errors import InputError

from .making import grid, ply_on


@pytest.fixture
def mould():
    made = ply_on(grid(size=0.2, height=0.03, cells=6)).id_data
    yield made
    work.forget()


def start(mould, **request):
    """Start work as a window would, though there is none."""
    context = bpy.context
    draft = draft_job(mould, context.scene, context.evaluated_depsgraph_get())
    work._in_worker(context, mould, draft, "Flatten", request or {"plies": ("p1",)})
    while work.DESK.errand.job is not None:  # written by a thread, then handed over
        work.tick()
        time.sleep(0.01)


def finish(seconds=60):
    """Call the timer until it asks for no further call."""
    end = time.monotonic() + seconds
    while work.tick() is not None:
        assert time.monotonic() < end, "the work did not end"
        time.sleep(0.02)


def message():
    return bpy.context.window_manager.mouldply.message


def patterns():
    return [thing for thing in bpy.data.objects if thing.mouldply.piece.is_pattern]


def test_the_result_is_applied_when_the_worker_is_done(mould):
    start(mould)
    assert bpy.context.window_manager.mouldply.running
    finish()

    assert len(patterns()) == 1
    assert not bpy.context.window_manager.mouldply.running
    assert message() == ""


def test_a_nest_that_is_stopped_says_that_its_best_layout_is_kept(mould):
    bpy.context.scene.mouldply.nest.seconds = 60
    start(mould, upto="nest")
    end = time.monotonic() + 60
    while "nest" not in bpy.context.window_manager.mouldply.what.lower():
        assert time.monotonic() < end, "the nest did not begin"
        work.tick()
        time.sleep(0.02)
    work.stop()
    finish()
    assert message() == "Stopped: the best layout so far is kept."
    (home,) = [one for one in bpy.data.collections if one.mouldply.owner]
    assert home.mouldply.nests


def test_the_result_is_one_undo_step(mould):
    bpy.ops.ed.undo_push(message="before")
    start(mould)
    finish()
    assert len(patterns()) == 1
    bpy.ops.ed.undo()
    assert len(patterns()) == 0


def test_a_mould_deleted_meanwhile_is_told(mould):
    start(mould)
    bpy.data.objects.remove(mould)
    finish()
    assert message() == "'tile' was deleted while 'Flatten' ran."
    assert not patterns()


def test_a_mould_renamed_meanwhile_is_found(mould):
    start(mould)
    mould.name = "another name"
    finish()
    assert [thing.mouldply.owner.name for thing in patterns()] == ["another name"]


def test_a_mould_changed_meanwhile_gets_patterns_that_are_out_of_date(mould):
    from addon import freshness

    start(mould)
    mould.mouldply.plies[0].angle_deg = 30
    finish()
    assert freshness.known_of(mould, bpy.context.scene).states == {"p1": "out_of_date"}


def test_another_file_drops_the_work(mould):
    start(mould)
    process = work.DESK.worker._process
    bpy.ops.wm.read_homefile(use_empty=True)

    assert process.poll() is not None
    assert work.DESK.errand is None
    assert not bpy.context.window_manager.mouldply.running


def test_a_crash_of_the_worker_is_told_and_the_next_try_works(mould):
    start(mould)
    work.DESK.worker._process.kill()
    finish()
    assert "ended unexpectedly, nothing was changed" in message()
    start(mould)
    finish()
    assert len(patterns()) == 1


def test_stop_is_told(mould):
    start(mould)
    work.stop()
    finish()
    assert message().startswith("Stopped.")
    assert not patterns()


def unstored(mould, monkeypatch, store):
    """Start work whose job is written by `store`, and do not wait until it is."""
    monkeypatch.setattr("flatten.job.save_job", store)
    context = bpy.context
    draft = draft_job(mould, context.scene, context.evaluated_depsgraph_get())
    work._in_worker(context, mould, draft, "Flatten", {"plies": ("p1",)})


def test_stop_while_the_job_is_being_written_ends_at_once(mould, monkeypatch):
    unstored(mould, monkeypatch, lambda *_, **__: time.sleep(0.5))
    began = time.monotonic()
    work.stop()
    assert (message(), work.DESK.errand) == ("Stopped.", None)
    assert time.monotonic() - began < 0.4  # the writing goes on for half a second
    assert work.tick() is None


def test_a_full_disk_is_told(mould, monkeypatch):
    def full(job, folder, **_):
        raise InputError(f"The job folder '{folder.name}' cannot be written: no space left.", "")

    unstored(mould, monkeypatch, full)
    finish()
    assert "cannot be written: no space left." in message()
    assert not bpy.context.window_manager.mouldply.running


def test_the_window_goes_on_while_the_job_is_written(mould, monkeypatch):
    unstored(mould, monkeypatch, lambda *_, **__: time.sleep(1.0))
    began = time.monotonic()
    assert work.tick() is not None
    assert time.monotonic() - began < 0.5  # asked: a look never waits


def test_a_mould_s_arrays_are_worked_out_beside_the_window(mould, monkeypatch):
    """Triangles, millimetres, the rosette of a large mould: too long for a window."""
    inner, threads = bridge.MouldTaken.read, []

    def read(taken):
        threads.append(threading.current_thread())
        return inner(taken)

    monkeypatch.setattr(bridge.MouldTaken, "read", read)
    start(mould)
    assert threads
    assert threading.main_thread() not in threads
    finish()


def test_only_one_work_at_a_time(mould):
    start(mould)
    with pytest.raises(RuntimeError, match="'Flatten' for 'tile' is still running"):
        bpy.ops.mouldply.flatten()
    finish()


def test_the_same_job_is_written_once(mould):
    start(mould)
    finish()
    start(mould)
    finish()
    assert len(list(work.DESK.worker.home.glob("job-*"))) == 1


def test_a_dragged_tack_point_comes_back_as_a_preview(mould):
    ply = mould.mouldply.plies[0]
    ply.use_tack, ply.tack = True, (0.03, 0.0, 0.03)
    end = time.monotonic() + 60
    while not preview.ask(bpy.context, mould):  # its job is being written
        assert time.monotonic() < end
        time.sleep(0.02)
    assert not preview.ask(bpy.context, mould)  # one at a time
    answer = None
    while answer is None and time.monotonic() < end:
        answer = preview.take()
        time.sleep(0.02)
    (piece,) = answer.pieces()
    assert piece[0]["tack_mm"][:2] == pytest.approx([30, 0], abs=1)
    preview.drop()
    start(mould)  # the worker is free again
    finish()


def test_the_last_place_of_a_drag_does_not_wait_for_an_earlier_one(mould):
    ply, end = mould.mouldply.plies[0], time.monotonic() + 60
    ply.use_tack, ply.tack = True, (0.03, 0.0, 0.03)
    while not preview.ask(bpy.context, mould):
        assert time.monotonic() < end
        time.sleep(0.02)
    ply.tack = (-0.03, 0.0, 0.03)
    assert not preview.ask(bpy.context, mould)  # still dragging: the first is shown before
    assert preview.ask(bpy.context, mould, last=True)
    answer = None
    while answer is None and time.monotonic() < end:
        answer = preview.take()
        time.sleep(0.02)
    (piece,) = answer.pieces()
    assert piece[0]["tack_mm"][:2] == pytest.approx([-30, 0], abs=1)
    preview.drop()


def test_undo_in_the_middle_of_writing_a_result_writes_it_anew(mould):
    """Half-made patterns are gone with the undo: no dead reference is touched, no work lost."""
    bpy.ops.ed.undo_push(message="before")
    mould.mouldply.plies[0].angle_deg = 30
    bpy.ops.ed.undo_push(message="turned")
    start(mould)
    while work.DESK.landing is None or not work.DESK.landing.begun:
        work.tick()
        time.sleep(0.005)
    bpy.ops.ed.undo()
    assert not patterns()
    finish()
    assert len(patterns()) == 1
    assert message() == ""


def test_no_other_work_begins_while_a_result_is_being_written(mould):
    start(mould)
    while work.DESK.finished is None:
        work.tick()
        time.sleep(0.01)
    with pytest.raises(RuntimeError, match="'Flatten' for 'tile' is still running"):
        bpy.ops.mouldply.flatten()
    finish()


def test_a_bug_while_a_result_is_written_leaves_the_sidebar_free(mould, monkeypatch):
    monkeypatch.setattr("addon.apply.place_beside", lambda *_: 1 / 0)
    start(mould)
    with pytest.raises(ZeroDivisionError):
        finish()
    assert message() == work.UNEXPECTED
    assert not bpy.context.window_manager.mouldply.running
    assert not [one for one in bpy.data.objects if one.users == 0]


def test_stopping_a_nest_keeps_its_best_layout(mould):
    """A search of ten minutes, stopped after the first moments: patterns and a layout are there."""
    bpy.context.scene.mouldply.nest.seconds = 600
    start(mould, upto="nest")
    end = time.monotonic() + 90
    while "nest" not in bpy.context.window_manager.mouldply.what and time.monotonic() < end:
        work.tick()
        time.sleep(0.05)
    time.sleep(1.0)
    work.stop()
    finish()

    home = patterns()[0].users_collection[0]
    assert '"placements"' in home.mouldply.nests
