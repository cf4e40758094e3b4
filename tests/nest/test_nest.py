"""The nest as a whole: what is known on paper, and what must hold of every layout."""

import json
import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nest.cloths import blob, cloth, piece, rectangle, roll, searched, simple, stock

from flatten.errors import Cancelled, InputError
from flatten.nest.check import check_nest
from flatten.nest.layout import Nest
from flatten.nest.nest import nest
from flatten.nest.roll import Defect
from flatten.nest.short import StockShort

BLOBS = [piece(f"blob {seed}", blob(seed, 90 + 12 * seed)) for seed in range(10)]


def test_waste_of_a_cut_length_is_as_on_paper():
    """1.27 x 0.80 m of cloth with 0.70 m2 of pieces in it wastes 31.10 %: plain arithmetic."""
    pieces = [piece("panel", rectangle(800, 875))]

    found = nest(pieces, cloth(), stock(roll(1270, selvedge=10, price_per_m=40)), simple())

    account = found.account
    assert found.used_length_mm == pytest.approx(800, abs=1e-9)
    assert account.pieces_mm2 == pytest.approx(0.70e6, rel=1e-12)
    assert 1 - account.utilisation == pytest.approx(0.3110, abs=5e-5)
    assert account.cost == pytest.approx(32.0, rel=1e-12)


def test_pieces_that_tile_the_roll_waste_nothing():
    """Four halves of the width, 250 mm long, gap 0: 500 mm of roll, all of it pieces."""
    found = nest([piece("half", rectangle(250, 500), 4)], cloth(), stock(), simple())

    assert found.used_length_mm == pytest.approx(500, abs=1e-6)
    assert found.account.waste_mm2 == pytest.approx(0, abs=1e-3)


def test_pieces_kept_offcuts_and_waste_are_all_of_the_cloth():
    """Areas from the placed outlines themselves, against the cloth that was taken."""
    given_stock = stock(roll(1000, selvedge=15))

    found = nest(BLOBS, cloth(), given_stock, simple(gap_mm=3, keep_offcut_mm=(100, 150)))

    account = found.account
    kept = sum((x1 - x0) * (y1 - y0) for s in found.sheets for _, x0, y0, x1, y1 in s.kept)
    assert kept > 0
    assert account.pieces_mm2 == pytest.approx(sum(p.polygon.area for p in BLOBS), rel=1e-9)
    assert account.cloth_mm2 == pytest.approx(found.used_length_mm * 1000, rel=1e-9)
    assert account.pieces_mm2 + kept + account.waste_mm2 == pytest.approx(account.cloth_mm2)


def test_the_search_beats_the_simple_layout_and_passes_the_check():
    given_stock, asked = stock(roll(1000, selvedge=10)), searched(2, kits=2, mirrored_kits=1)
    told, seen = [], []

    found = nest(
        BLOBS,
        cloth(),
        given_stock,
        asked,
        progress=lambda share, what: told.append(what),
        watch=seen.append,
    )

    plain = nest(BLOBS, cloth(), given_stock, simple(gap_mm=3, kits=2, mirrored_kits=1))
    assert found.method == "searched"
    assert found.used_length_mm < 0.9 * plain.used_length_mm
    assert check_nest(found, BLOBS, cloth(), given_stock, asked) == []
    assert len({what for what in told if "filled" in what}) > 1
    assert {len(sheet.placements) for sheet in seen} == {30}


def test_a_nest_survives_its_file_and_the_same_job_keeps_it():
    asked = searched(1)
    first = nest(BLOBS, cloth(), stock(), asked)

    read = Nest.from_plain(json.loads(json.dumps(first.to_plain())))
    again = nest(BLOBS, cloth(), stock(), asked, stored=read)

    assert read == first
    assert again == first


def test_a_stored_layout_is_kept_at_todays_price():
    """Length times price; the layout depends on neither."""
    before = nest(BLOBS, cloth(), stock(), simple(gap_mm=3))
    rolls = tuple(replace(roll, price_per_m=20.0) for roll in stock().rolls)

    after = nest(BLOBS, cloth(), replace(stock(), rolls=rolls), simple(gap_mm=3), stored=before)

    assert after.sheets == before.sheets
    assert after.account.cost == pytest.approx(20.0 * after.account.roll_length_mm / 1000)


def test_a_stored_layout_tells_of_a_flaw_found_since():
    """The flaw lies where no piece does, so the layout stands; whoever cuts it is told."""
    before = nest([piece("a", rectangle(300, 900))], cloth(), stock(), simple())
    marked = stock(roll(defects=(Defect(x_mm=150, y_mm=950, radius_mm=20),)))

    after = nest([piece("a", rectangle(300, 900))], cloth(), marked, simple(), stored=before)

    assert before.sheets[0].flaws == ()
    assert after.sheets[0].flaws == ((150, 950, 20),)
    assert after.sheets[0].placements == before.sheets[0].placements
    assert Nest.from_plain(json.loads(json.dumps(after.to_plain()))) == after


def test_a_stored_layout_is_kept_unless_beaten():
    good = nest(BLOBS, cloth(), stock(), searched(1.5))

    same_cloth_less_effort = nest(BLOBS, cloth(), stock(), simple(gap_mm=3, seed=2), stored=good)
    other_cloth = nest(BLOBS[1:], cloth(), stock(), simple(gap_mm=3), stored=good)

    assert same_cloth_less_effort.sheets == good.sheets
    assert other_cloth.sheets != good.sheets


def test_stop_ends_within_a_second_and_keeps_the_best():
    """Stopped as soon as the library has a first layout, of a search that has a minute."""
    asked, told, stopped = searched(60), set(), []

    def stop():
        if len(told) > 1 and not stopped:
            stopped.append(time.monotonic())
        return bool(stopped)

    found = nest(
        BLOBS, cloth(), stock(), asked, progress=lambda share, what: told.add(what), stop=stop
    )

    assert time.monotonic() - stopped[0] < 1.0
    assert found.method == "searched"
    assert check_nest(found, BLOBS, cloth(), stock(), asked) == []


def test_a_searched_layout_that_fails_the_check_is_never_given(monkeypatch):
    """A search that ignores the gap: the simple layout is given instead, and says why."""
    monkeypatch.setattr("flatten.nest.search.SHORT_MM", 1.5)
    asked = searched(1.5)

    found = nest(BLOBS, cloth(), stock(), asked)

    assert found.method == "simple"
    assert "mm apart" in found.notes[0]
    assert check_nest(found, BLOBS, cloth(), stock(), asked) == []


def test_a_hundred_metres_keep_the_gap_to_a_hundredth():
    """In single precision 100 m are known to 0.008 mm only: long strips must be cut up."""
    pieces = [piece("hull side", 5000 / 170 * blob(4, 100) * [1, 0.15], 20)]
    asked = searched(2)

    found = nest(pieces, cloth(), stock(), asked)

    assert found.method == "searched"
    assert found.used_length_mm > 50_000


def test_cancelling_leaves_nothing_and_ends_at_once():
    def cancel(share, what):
        raise Cancelled

    with pytest.raises(Cancelled):
        nest(BLOBS, cloth(), stock(), searched(60), progress=cancel)


@settings(max_examples=25)
@given(
    sizes=st.lists(
        st.tuples(st.floats(5, 900), st.floats(5, 900), st.integers(1, 3)), min_size=1, max_size=9
    ),
    gap=st.floats(0, 40),
    kits=st.integers(1, 2),
    balanced=st.booleans(),
)
def test_a_simple_layout_never_overlaps(sizes, gap, kits, balanced):
    """Any rectangles that fit: the check finds nothing, and all cloth is accounted for."""
    pieces = [piece(f"p{i}", rectangle(a, b), n) for i, (a, b, n) in enumerate(sizes)]
    fabric = cloth("weave", balanced=balanced)
    asked = simple(gap_mm=gap, kits=kits, mirrored_kits=1)

    found = nest(pieces, fabric, stock(), asked)

    assert check_nest(found, pieces, fabric, stock(), asked) == []
    assert 0 < found.account.utilisation <= 1 + 1e-9


@pytest.mark.parametrize(
    ("pieces", "given_stock", "changes", "reason"),
    [
        ([], stock(), {}, "no piece"),
        ([BLOBS[0], BLOBS[0]], stock(), {}, "listed twice"),
        (BLOBS, stock(roll(30)), {"gap_mm": 30}, "smaller gap"),
        (BLOBS, stock(roll(100)), {}, "wider than roll 'roll'"),
        (BLOBS, stock(roll(1000, 50)), {}, "longer than what is left"),
        (BLOBS, stock(roll(1000, 500)), {"kits": 3}, "too short by about [0-9.]+ m"),
        (BLOBS, stock(roll(id="a"), roll(id="b", selvedge=490)), {"gap_mm": 25}, "roll 'b'"),
        (BLOBS, stock(), {"kits": 3000}, "30000 pieces"),
    ],
)
def test_what_cannot_be_nested_is_refused(pieces, given_stock, changes, reason):
    with pytest.raises(InputError, match=reason):
        nest(pieces, cloth(), given_stock, simple(**changes))


def test_a_piece_of_another_cloth_is_refused():
    with pytest.raises(InputError, match="is of cloth 'cloth', the nest of 'glass'"):
        nest(BLOBS, cloth(id="glass"), stock(), simple())


def test_stock_too_short_names_the_pieces_and_what_is_missing():
    """Three 400 mm long pieces as wide as the roll, 900 mm of it: one is left, 400 + 3 mm."""
    pieces = [piece("panel", rectangle(400, 950), 3)]

    with pytest.raises(StockShort) as caught:
        nest(pieces, cloth(), stock(roll(1000, 900)), simple(gap_mm=3))

    short = caught.value
    assert short.pieces == {"panel": 1}
    assert short.more_mm == pytest.approx(403)
    assert "too short by about 0.40 m: 1 piece, 'panel', found no place" in short.message
    assert "'roll' 0.90 m" in short.message
    assert "Add a roll" in short.hint
    assert short.finding().severity == "stop"


def test_many_pieces_without_place_are_counted():
    with pytest.raises(StockShort) as caught:
        nest(BLOBS, cloth(), stock(roll(1000, 450)), simple(gap_mm=3, kits=9))

    assert sum(short := caught.value.pieces.values()) > 60, short
    assert "2 more" in caught.value.message
    assert "fewer kits" in caught.value.hint


def test_a_stored_layout_that_fits_is_kept_where_the_search_finds_none():
    """The stock is just what an earlier search needed; the simple layout needs more."""
    good = nest(BLOBS, cloth(), stock(), searched(1.5))
    just = stock(roll(1000, good.used_length_mm))
    with pytest.raises(StockShort):
        nest(BLOBS, cloth(), just, simple(gap_mm=3))

    kept = nest(BLOBS, cloth(), just, simple(gap_mm=3), stored=good)

    assert kept.sheets == good.sheets
