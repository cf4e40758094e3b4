"""Filling what is left over: several starts, and odd offcuts that the search is told of."""

import numpy as np
import pytest
from nest.cloths import blob, cloth, piece, rectangle, roll, searched, simple, stock
from shapely import Polygon, box

from flatten.nest.check import check_nest
from flatten.nest.clock import Clock
from flatten.nest.fill_bin import fill_bin, within
from flatten.nest.fit import FreeCloth, fill, fill_in
from flatten.nest.nest import nest
from flatten.nest.part import Spot, parts_of
from flatten.nest.plan import offcut_bin, roll_bin
from flatten.nest.roll import Defect, Offcut
from flatten.nest.starts import fill_best
from flatten.nest.strips import StripLayer

SLANTED = np.array([(0.0, 0), (900, 0), (900, 250), (450, 600), (0, 600)])


def area(parts, spots):
    return sum(parts[spot.part].area_mm2 for spot in spots)


def test_several_starts_fill_more_than_one():
    """500 mm of a band: largest first lays 260 + 200; 260 + 240 - with 200 and 40 too - fits."""
    pieces = [piece(f"p{a}", rectangle(a, 100)) for a in (260, 200, 240)]
    some = parts_of(pieces, cloth(), simple())
    room = box(0, 0, 460.5, 100)
    order = [2, 0, 1]  # 240 first: 260 no longer goes in, 200 does: 440

    one, _ = fill(some, [1, 1, 1], room, 0.0, order=order)
    best, left = fill_best(some, [1, 1, 1], room, 0.0, order=order)

    assert area(some, one) == pytest.approx(440 * 100)
    assert area(some, best) == pytest.approx(460 * 100)
    assert left == [0, 0, 1]


def test_cloth_looked_at_again_is_empty_again():
    """The second start must not find the first one's pieces in its way, nor lose what was there."""
    some = parts_of([piece("a", rectangle(100, 100), 9)], cloth(), simple())
    there = box(0, 0, 100, 300)
    cloth_ = FreeCloth(box(0, 0, 300, 300), 0.0, [there])

    counts = [len(fill_in(cloth_.again(), some, [9])[0]) for _ in range(2)]

    assert counts == [6, 6]
    assert cloth_.room == pytest.approx(300 * 300 - 100 * 300)


def test_further_starts_have_a_time_of_their_own():
    """The first start lays all it can; of the others none is made once their time is up."""
    some = parts_of([piece("a", rectangle(100, 100), 9)], cloth(), simple())

    spots, left = fill_best(some, [9], box(0, 0, 250, 250), 0.0, once_more=lambda: False)

    assert (len(spots), left) == (4, [5])


def test_once_the_time_is_up_no_further_start_is_made():
    some = parts_of([piece("a", blob(1, 40), 30)], cloth(), simple())
    asked = []

    def go_on():
        asked.append(1)
        return len(asked) < 5

    spots, left = fill_best(some, [30], box(0, 0, 600, 600), 2.0, go_on=go_on)

    assert len(spots) == 4
    assert left == [26]


def test_what_reaches_beyond_an_odd_offcut_is_not_on_it():
    some = parts_of([piece("a", rectangle(100, 100))], cloth(), simple())
    bin_ = offcut_bin(Offcut(id="o", fabric="cloth", outline=SLANTED))
    on, off, before = (Spot(0, x, y, 0.0) for x, y in ((10, 10), (750, 450), (-5, 10)))

    assert within(some, [on, off, before], bin_) == [on]


def test_an_odd_offcut_is_searched_not_only_filled_piece_by_piece(monkeypatch):
    """The library is told the outline: what it lays is on the cloth and keeps the gap."""
    pieces = [piece(f"b{n}", blob(n, 50 + 5 * n), 3) for n in range(14)]
    some = parts_of(pieces, cloth(), searched())
    bin_ = offcut_bin(Offcut(id="o", fabric="cloth", outline=SLANTED))
    monkeypatch.setattr("flatten.nest.fill_bin.fill_best", lambda parts, left, *a, **k: ([], left))
    monkeypatch.setattr("flatten.nest.fill_bin.topped_up", lambda p, c, spots, *a: spots)

    spots = fill_bin(some, [3] * 14, bin_, StripLayer(searched()), Clock(5), 3.0)

    shapes = [some[spot.part].at(spot) for spot in spots]
    assert area(some, spots) > 0.5 * Polygon(SLANTED).area
    assert all(Polygon(SLANTED).buffer(1e-3).covers(shape) for shape in shapes)
    assert min(a.distance(b) for i, a in enumerate(shapes) for b in shapes[:i]) >= 3 - 0.01


def test_a_roll_that_ends_is_searched_around_its_flaws(monkeypatch):
    """Nothing is mended afterwards here, and still no piece lies on a flaw."""
    pieces = [piece(f"b{n}", blob(n, 50 + 5 * n), 3) for n in range(14)]
    some = parts_of(pieces, cloth(), searched())
    flaws = (Defect(x_mm=300, y_mm=500, radius_mm=40), Defect(x_mm=700, y_mm=100, radius_mm=60))
    bin_ = roll_bin(roll(1000, 900, defects=flaws))
    monkeypatch.setattr("flatten.nest.fill_bin.fill_best", lambda parts, left, *a, **k: ([], left))
    monkeypatch.setattr("flatten.nest.fill_bin.shelve", lambda parts, left, *a: ([], left))
    monkeypatch.setattr("flatten.nest.fill_bin.topped_up", lambda p, c, spots, *a: spots)
    monkeypatch.setattr("flatten.nest.fill_bin.off_flaws", lambda p, spots, *a: spots)

    spots = fill_bin(some, [3] * 14, bin_, StripLayer(searched()), Clock(5), 3.0)

    shapes = [some[spot.part].at(spot) for spot in spots]
    assert area(some, spots) > 0.5 * 900 * 1000
    assert all(bin_.region.buffer(1e-3).covers(shape) for shape in shapes)


def test_an_odd_offcut_takes_part_in_a_nest_that_passes_the_check():
    pieces = [piece(f"b{n}", blob(n, 50 + 5 * n), 4) for n in range(10)]
    shelf = stock(offcuts=(Offcut(id="o", fabric="cloth", outline=SLANTED, warp_deg=90),))
    asked = searched(4)

    found = nest(pieces, cloth(), shelf, asked)

    assert check_nest(found, pieces, cloth(), shelf, asked) == []
    laid = next(sheet for sheet in found.sheets if sheet.kind == "offcut")
    shapes = {p.id: p.polygon for p in pieces}
    on_it = sum(shapes[place.piece].area for place in laid.placements)
    assert on_it > 0.55 * Polygon(SLANTED).area
