"""The check must stop every wrong layout: each test spoils a sound one in one way."""

from dataclasses import replace

import numpy as np
import pytest
from nest.cloths import cloth, piece, rectangle, roll, simple, stock

from flatten.nest.check import check_nest
from flatten.nest.nest import nest
from flatten.nest.roll import Defect, Offcut

PIECES = [piece("a", rectangle(300, 200), 2), piece("b", rectangle(100, 100))]
SHELF = stock(roll(1000, 2000, selvedge=10))
ASKED = simple(gap_mm=5)
SOUND = nest(PIECES, cloth(), SHELF, ASKED)


def spoiled(number=0, **changes):
    """Return the sound nest with one placement changed."""
    sheet = SOUND.sheets[0]
    places = list(sheet.placements)
    places[number] = replace(places[number], **changes)
    return replace(SOUND, sheets=(replace(sheet, placements=tuple(places)),))


def faults(found, shelf=SHELF, asked=ASKED, fabric=None):
    return " ".join(check_nest(found, PIECES, fabric or cloth(), shelf, asked))


def test_a_sound_nest_has_no_fault():
    assert check_nest(SOUND, PIECES, cloth(), SHELF, ASKED) == []


def test_a_missing_and_a_doubled_copy_are_found():
    told = faults(spoiled(0, copy=2))

    assert "copy 1 of kit 1 is missing" in told
    assert "copy 2 of kit 1 is laid once too often" in told


def test_an_overlap_is_found():
    first, second, *_ = SOUND.sheets[0].placements
    told = faults(spoiled(1, x_mm=first.x_mm, y_mm=second.y_mm - 20))

    assert "overlap" in told


@pytest.mark.parametrize(("move", "wrong"), [(0.009, False), (0.012, True)])
def test_the_gap_is_held_to_a_hundredth(move, wrong):
    """The simple layout leaves the gap exactly; moving a piece in by more than 0.01 mm shows."""
    second = SOUND.sheets[0].placements[1]

    told = faults(spoiled(1, y_mm=second.y_mm - move))

    assert ("apart" in told) == wrong


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"y_mm": 5.0}, "reaches out"),
        ({"x_mm": -1.0}, "reaches out"),
        ({"angle_deg": 90.0}, "turned by 90"),
        ({"angle_deg": 1.0}, "turned by 1"),
        ({"mirrored": True}, "mirrored and not marked"),
        ({"mirrored": True, "turned_over": True}, "is turned over"),
        ({"other_hand": True, "mirrored": True}, "wrong hand"),
        ({"kit": 2}, "kit 2 is laid once too often"),
    ],
)
def test_what_may_not_be_cut_is_found(changes, told):
    assert told in faults(spoiled(0, **changes))


def test_a_quarter_turn_is_sound_on_a_balanced_weave_only():
    small = next(i for i, p in enumerate(SOUND.sheets[0].placements) if p.piece == "b")
    place = SOUND.sheets[0].placements[small]
    turned = spoiled(small, angle_deg=90.0, x_mm=place.x_mm + 100)

    assert "turned by 90" in faults(turned)
    assert faults(turned, fabric=cloth("weave", balanced=True)) == ""
    assert faults(turned, fabric=cloth("mat")) == ""


def test_a_defect_and_a_short_roll_are_found():
    flawed = stock(roll(1000, 2000, selvedge=10, defects=(Defect(x_mm=5, y_mm=20, radius_mm=4),)))

    assert "on the defect" in faults(SOUND, flawed)
    assert "mm are used" in faults(SOUND, stock(roll(1000, 300, selvedge=10)))
    assert "no roll 'roll'" in faults(SOUND, stock(roll(id="other")))


def test_an_offcut_is_measured_with_its_warp_turned_straight():
    """A 400 x 250 offcut lying across: the warp-long piece fits, the same piece on end does not."""
    offcut = Offcut(id="o", fabric="cloth", outline=np.array(rectangle(250.0, 400)), warp_deg=90)
    shelf = stock(roll(), offcuts=(offcut,))
    sheet = replace(SOUND.sheets[0], stock_id="o", kind="offcut")
    one = replace(sheet.placements[0], piece="a", x_mm=0.0, y_mm=0.0)

    fine = replace(SOUND, sheets=(replace(sheet, placements=(one,)),))
    out = replace(SOUND, sheets=(replace(sheet, placements=(replace(one, x_mm=101.0),)),))

    assert "reaches out" not in faults(fine, shelf)
    assert "reaches out" in faults(out, shelf)


def test_a_common_edge_is_sound_only_where_asked_for():
    """Two rectangles butted along 300 mm; then one of them moved along by a third."""
    first = SOUND.sheets[0].placements[0]
    butted = spoiled(1, x_mm=first.x_mm, y_mm=first.y_mm + 200)

    assert "apart" in faults(butted)
    told = faults(butted, asked=simple(gap_mm=5, common_edges=True))
    assert "'a' and 'a'" not in told


def test_an_edge_that_touches_at_its_ends_only_is_no_common_edge():
    """A recess 2 mm deep: between the two feet the pieces are closer than the gap of 5."""
    feet = [(0, 0), (30, 0), (30, 2), (270, 2), (270, 0), (300, 0), (300, 100), (0, 100)]
    pieces = [piece("slab", rectangle(300, 100)), piece("feet", feet)]
    asked = simple(gap_mm=5, common_edges=True)
    apart = nest(pieces, cloth(), SHELF, asked)
    sheet = apart.sheets[0]
    slab, stool = sorted(sheet.placements, key=lambda place: place.piece, reverse=True)

    butted = replace(stool, x_mm=slab.x_mm, y_mm=slab.y_mm + 100)
    found = replace(apart, sheets=(replace(sheet, placements=(slab, butted)),))

    assert check_nest(apart, pieces, cloth(), SHELF, asked) == []
    assert "mm apart" in " ".join(check_nest(found, pieces, cloth(), SHELF, asked))
