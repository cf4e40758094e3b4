"""Coats, what is used up, prices, flaws of a roll, the printer's test sheet: from panel to job."""

import io
from dataclasses import fields

import bpy
import pytest

from addon import engine
from addon.scene_job import read_settings

from .making import activate, grid, job_of, ply_on


def test_coats_reach_the_job_in_their_order(scene):
    mould = ply_on(grid(cells=4)).id_data
    bpy.ops.mouldply.add_coat()
    bpy.ops.mouldply.add_coat()
    bpy.ops.mouldply.add_coat()
    scene.mouldply.coats[1].kind, scene.mouldply.coats[1].thickness_mm = "flow", 0.3
    bpy.ops.mouldply.remove_coat(number=2)

    coat = engine.load("laminate.settings").Coat
    assert job_of(mould).settings.laminate.coats == (coat(), coat(kind="flow", thickness_mm=0.3))


@pytest.mark.parametrize(("key", "value"), [("AUTO", None), ("YES", True), ("NO", False)])
def test_peel_ply_is_the_process_s_choice_or_yours(scene, key, value):
    mould = ply_on(grid(cells=4)).id_data
    scene.mouldply.consumed.peel_ply = key
    assert job_of(mould).settings.laminate.consumed.peel_ply is value


def test_every_rate_and_factor_reaches_the_engine(scene):
    """Each field by itself: a name that is mistyped somewhere would keep its default."""
    laminate = engine.load("laminate.settings")
    mould = ply_on(grid(cells=4)).id_data
    for group, kind, pick in (
        (scene.mouldply.rates, laminate.Rates, lambda s: s.laminate.rates),
        (scene.mouldply.consumed, laminate.Consumed, lambda s: s.laminate.consumed),
    ):
        for field in fields(kind):
            if isinstance(field.default, (int, float)) and not isinstance(field.default, bool):
                setattr(group, field.name, field.default + 2)
                given = getattr(pick(read_settings(mould, scene)), field.name)
                assert given == pytest.approx(field.default + 2), field.name


def test_a_square_metre_costs_what_its_roll_says(scene):
    """10 for a metre of a roll 1.25 m wide: 8 for a square metre."""
    mould = ply_on(grid(cells=4)).id_data
    assert read_settings(mould, scene).laminate.rates.cloth == ()
    roll = scene.mouldply.rolls[0]
    roll.width_mm, roll.price_per_m = 1250, 10

    (price,) = read_settings(mould, scene).laminate.rates.cloth
    assert (price.fabric, price.per_m2) == (roll.fabric, pytest.approx(8))


def test_a_flaw_of_the_roll_is_kept_free(scene):
    """The sheet would lie at the free end; a flaw there moves it past."""
    mould = ply_on(grid(size=0.2)).id_data
    scene.mouldply.nest.seconds = 0
    bpy.ops.mouldply.add_defect(roll=0)
    flaw = scene.mouldply.rolls[0].defects[0]
    width = scene.mouldply.rolls[0].width_mm
    assert flaw.y_mm == pytest.approx(width / 2)
    flaw.x_mm, flaw.radius_mm = 0, width  # the first `width` mm of the roll are spoilt

    (roll,) = job_of(mould).stock.rolls
    assert [(d.x_mm, d.radius_mm) for d in roll.defects] == [(0, width)]
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    home = next(c for c in bpy.data.collections if c.mouldply.owner == mould)
    assert roll_length(home) > 200 + width / 2


def roll_length(home):
    import json

    (nest,) = json.loads(home.mouldply.nests).values()
    return nest["account"]["roll_length_mm"]


def test_booking_brings_flaws_nearer_and_drops_those_cut_off(scene):
    mould = ply_on(grid(size=0.2)).id_data
    scene.mouldply.nest.seconds = 0
    assert bpy.ops.mouldply.nest() == {"FINISHED"}
    activate(mould)
    home = next(c for c in bpy.data.collections if c.mouldply.owner == mould)
    used = roll_length(home)
    for _ in range(2):
        bpy.ops.mouldply.add_defect(roll=0)
    near, far = scene.mouldply.rolls[0].defects
    near.x_mm, near.radius_mm, far.x_mm = 30, 10, used + 700
    bpy.ops.mouldply.book_nest()

    (left,) = scene.mouldply.rolls[0].defects
    assert left.x_mm == pytest.approx(700, abs=1)
    bpy.ops.mouldply.remove_defect(roll=0, number=0)
    assert not scene.mouldply.rolls[0].defects


def test_the_test_sheet_is_one_page_with_a_square_of_100_mm(scene, tmp_path):
    """Read back by pypdf, which is not ours: one page of the sheet that is set."""
    pypdf = pytest.importorskip("pypdf")
    scene.mouldply.paper.sheet = "A3"
    bpy.ops.mouldply.test_sheet(filepath=str(tmp_path / "sheet.pdf"))

    (page,) = pypdf.PdfReader(io.BytesIO((tmp_path / "sheet.pdf").read_bytes())).pages
    sides = sorted(float(side) * 25.4 / 72 for side in page.mediabox[2:])
    assert sides == pytest.approx([297, 420], abs=0.5)  # ISO 216
    assert "100" in page.extract_text()


def test_a_test_sheet_in_no_folder_is_refused(tmp_path):
    with pytest.raises(RuntimeError, match=r"There is no folder .*missing.\. Choose another place"):
        bpy.ops.mouldply.test_sheet(filepath=str(tmp_path / "missing" / "sheet.pdf"))


def test_the_test_sheet_of_a_window_is_written_by_a_process(tmp_path):
    """The same code and environment a window uses, waited for here."""
    import subprocess
    import sys

    from addon import side_work
    from addon.worker import environment

    file = tmp_path / "sheet.pdf"
    command = [sys.executable, "-s", "-c", side_work.CODE["test_sheet"], str(file), "A4", "0"]
    subprocess.run(command, env=environment(), check=True, timeout=60)
    assert file.read_bytes().startswith(b"%PDF")


def test_files_of_an_unsaved_blend_need_a_folder():
    ply_on(grid(cells=4))
    with pytest.raises(RuntimeError, match="The file has not been saved, so there is no folder"):
        bpy.ops.mouldply.export()


def test_names_of_plies_are_letters():
    from addon.operators.plies import letters

    assert [letters(n) for n in (1, 2, 26, 27, 52, 53, 702, 703)] == [
        "A", "B", "Z", "AA", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_a_copy_gets_the_next_letter_or_says_what_it_is_a_copy_of():
    mould = ply_on(grid(cells=4)).id_data
    bpy.ops.mouldply.copy_ply()
    mould.mouldply.plies[0].name = "outer skin"
    mould.mouldply.active_ply = 0
    bpy.ops.mouldply.copy_ply()

    assert [ply.name for ply in mould.mouldply.plies] == ["outer skin", "outer skin, copy", "B"]
