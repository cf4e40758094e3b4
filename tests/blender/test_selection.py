"""Selecting a pattern selects its ply, and the reverse."""

import bpy

from addon import watching

from .making import activate, grid, ply_on


def patterns():
    return {t.mouldply.ply_id: t for t in bpy.data.objects if t.mouldply.piece.is_pattern}


def two_plies():
    mould = ply_on(grid(cells=4)).id_data
    ply_on(mould)
    bpy.ops.mouldply.flatten(which="ALL")
    return mould


def test_a_selected_pattern_makes_its_ply_the_selected_one():
    mould = two_plies()
    mould.mouldply.active_ply = 1
    activate(patterns()["p1"])
    watching.follow_selection()  # the message bus calls it in a window
    assert mould.mouldply.active_ply == 0


def test_a_selected_ply_selects_its_patterns_and_leaves_the_mould_active():
    mould = two_plies()
    activate(mould)
    mould.mouldply.active_ply = 0
    found = patterns()
    assert (found["p1"].select_get(), found["p2"].select_get()) == (True, False)
    mould.mouldply.active_ply = 1
    assert (found["p1"].select_get(), found["p2"].select_get()) == (False, True)
    assert bpy.context.view_layer.objects.active == mould


def with_covers():
    mould = two_plies()
    for _ in range(2):
        activate(mould)
        bpy.ops.mouldply.add_extra(kind="cover")
    bpy.ops.mouldply.flatten(which="ALL")
    return mould


def test_a_selected_cover_s_pattern_makes_the_cover_the_selected_one_and_leaves_the_ply():
    mould = with_covers()
    mould.mouldply.active_ply, mould.mouldply.active_extra = 1, 1
    activate(patterns()["x1"])
    watching.follow_selection()
    assert (mould.mouldply.active_extra, mould.mouldply.active_ply) == (0, 1)


def test_a_selected_cover_selects_its_pattern_and_no_ply_s():
    mould = with_covers()
    activate(mould)
    for number, chosen in ((0, "x1"), (1, "x2")):
        mould.mouldply.active_extra = number
        assert [key for key, thing in patterns().items() if thing.select_get()] == [chosen]
    assert bpy.context.view_layer.objects.active == mould


def test_from_a_pattern_every_button_still_means_its_mould():
    mould = two_plies()
    activate(patterns()["p2"])
    assert bpy.ops.mouldply.flatten.poll()
    assert bpy.ops.mouldply.copy_ply() == {"FINISHED"}
    assert len(mould.mouldply.plies) == 3
