"""Lines drawn on the mould: their lengths are those of a flat sheet, by plain geometry."""

import time

import bpy
import numpy as np
import pytest

from addon import drawn, overlays
from addon.apply import find_patterns

from .making import grid, ply_on


@pytest.fixture
def mould():
    """A flat sheet of 200 mm with one ply, laid."""
    made = ply_on(grid(size=0.2, cells=8)).id_data
    bpy.ops.mouldply.flatten(which="ALL")
    yield made
    overlays.MEMORY.__init__()


def view():
    return bpy.context.window_manager.mouldply_view


def total(styles, colour):
    ends = np.concatenate([ends for look, _, ends in styles if look == colour]).reshape(-1, 2, 3)
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()


def taken(mould):
    (piece,) = [one for one in find_patterns(mould).objects if one.mouldply.piece.is_pattern]
    return drawn.take_piece(piece, view(), mould, bpy.context)


def test_the_rim_is_as_long_as_the_sheet_s_edges(mould):
    view().outlines = True
    assert total(drawn.styles_of([taken(mould)]), drawn.EDGE) == pytest.approx(0.8, rel=1e-4)


def test_threads_lie_at_the_chosen_spacing(mould):
    """Length times spacing is the area, but for the threads that fall on or beyond an edge."""
    view().threads, view().spacing_mm = True, 10.0
    for colour in (drawn.WARP, drawn.WEFT):
        length = total(drawn.styles_of([taken(mould)]), colour)
        assert length * 0.01 == pytest.approx(0.04, rel=0.06)  # 19 to 21 threads


def test_lines_of_a_large_ply_are_worked_out_beside_the_window(mould, monkeypatch):
    looks = []  # what a window would call
    monkeypatch.setattr(drawn, "AT_ONCE", 0)
    monkeypatch.setattr(overlays, "_call_soon", looks.append)
    end = time.monotonic() + 20
    assert not overlays.lines_of(bpy.context, mould).styles
    assert not overlays.lines_of(bpy.context, mould).styles  # drawn again meanwhile: no second work

    while looks[0]() is not None:
        assert time.monotonic() < end
        time.sleep(0.01)

    assert overlays.lines_of(bpy.context, mould).styles
    assert len(looks) == 1


def test_the_drape_that_was_dragged_stays_until_the_lines_of_its_pattern_are_there(
    mould, monkeypatch
):
    looks = []
    overlays.MEMORY.preview = dragged = overlays.Lines((mould.session_uid,), [(drawn.WARP, 1, 0)])
    monkeypatch.setattr(drawn, "AT_ONCE", 0)
    monkeypatch.setattr(overlays, "_call_soon", looks.append)
    overlays.drop_preview()
    assert overlays.lines_of(bpy.context, mould) is dragged
    end = time.monotonic() + 20
    while looks[0]() is not None:
        assert time.monotonic() < end
        time.sleep(0.01)
    now = overlays.lines_of(bpy.context, mould)
    assert now is not dragged
    assert now.styles
