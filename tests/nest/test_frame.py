"""What stands still in a search: a flaw no piece may touch, an odd offcut's missing corner."""

import time

import numpy as np
import pytest
import shapely
from nest.cloths import blob, cloth, piece, roll, searched
from shapely import Point, Polygon, box
from shapely.affinity import translate

from flatten.nest.clock import Clock
from flatten.nest.flaws import off_flaws
from flatten.nest.frame import offcut_frame, roll_frame
from flatten.nest.part import Spot, parts_of, reach
from flatten.nest.plan import roll_bin
from flatten.nest.roll import Defect
from flatten.nest.rolls import lay_on_rolls
from flatten.nest.search import StripSearch
from flatten.nest.shelf import Strip, shelve
from flatten.nest.strips import StripLayer

FLAWS = (Defect(x_mm=300, y_mm=700, radius_mm=40), Defect(x_mm=900, y_mm=0, radius_mm=90))
BIN = roll_bin(roll(1000, selvedge=10, defects=FLAWS))
ODD = Polygon([(0, 0), (900, 0), (900, 300), (500, 600), (0, 600)])


def frame_of_roll(gap):
    return roll_frame(BIN.region_to(2000), BIN.strip, 1000, gap)


@pytest.mark.parametrize("gap", [0.0, 3.0, 20.0])
def test_what_keeps_off_the_frame_keeps_off_flaws_and_margins(gap):
    """Thrown at random: a grown disc clear of the frame has its own outline on free cloth.

    And the frame takes little else: a disc with free cloth around it is clear of the frame, but
    where a stem, which is thin, runs through it.
    """
    frame, free = frame_of_roll(gap), BIN.region_to(2000)
    shapely.prepare(frame.outline)
    rng = np.random.default_rng(3)
    clear = lost = 0
    for x, y, radius in rng.uniform([10, 0, 5], [900, 1000, 80], (2000, 3)):
        disc = Point(x, y).buffer(radius)
        if x < radius:
            continue
        keeps_off = not frame.outline.intersects(frame.grown(disc))
        clear += keeps_off
        assert free.buffer(0.1).covers(disc) or not keeps_off
        roomy = free.buffer(-gap - 1).covers(disc)
        lost += roomy and not keeps_off
    assert clear > 500
    assert lost < 0.15 * clear  # those a stem runs through


def test_the_frame_has_no_room_to_move_across():
    frame = frame_of_roll(3.0)

    low, high = frame.outline.bounds[1], frame.outline.bounds[3]

    assert high - low == pytest.approx(frame.height(BIN.strip), abs=1e-9)
    assert frame.outline.is_valid
    assert not frame.outline.interiors


def test_two_grown_pieces_that_touch_have_the_gap_between_them():
    frame = frame_of_roll(8.0)
    one, two = (Polygon(blob(seed)) for seed in (1, 2))
    apart = np.linspace(200, 500, 400)

    nearest = next(
        x for x in apart if not frame.grown(one).intersects(frame.grown(translate(two, x)))
    )

    assert 8.0 <= one.distance(translate(two, nearest)) < 8.0 + 1.0


@pytest.mark.parametrize(
    "free", [box(0, 10, 2000, 990), box(0, 10, 2000, 990).difference(box(500, 0, 510, 1000))]
)
def test_a_roll_without_flaws_or_parted_by_one_has_no_frame(free):
    assert roll_frame(free, BIN.strip, 1000, 3.0) is None


def test_the_frame_of_an_offcut_is_what_it_lacks_of_its_box():
    """The missing corner, 400 x 300 / 2 mm2, less what the pieces are grown by along its edge."""
    frame = offcut_frame(ODD, Strip(low_y=0.0, high_y=600.0, length=900.0), 0.0)

    missing = frame.outline.intersection(box(450, 250, 901, 601))
    assert missing.area == pytest.approx(400 * 300 / 2, rel=0.01)
    assert missing.intersection(ODD).area < 60  # rails and growth: hundredths of a millimetre


def test_the_first_layout_around_flaws_is_clear_of_them_and_told_from_the_wall():
    some = parts_of([piece("b", blob(3, 110), 12)], cloth(), searched())
    frame = frame_of_roll(3.0)
    endless = Strip(low_y=BIN.strip.low_y, high_y=BIN.strip.high_y)

    with StripSearch(
        some, [12], endless, gap=3, seconds=30, seed=1, workers=1, frame=frame
    ) as search:
        while search.poll() and search.best is None:
            time.sleep(0.02)

    shapes = [some[0].at(spot) for spot in search.best]
    assert len(shapes) == 12
    assert min(a.distance(b) for i, a in enumerate(shapes) for b in shapes[:i]) >= 3 - 0.01
    inside = [shape for shape in shapes if shape.bounds[0] > -0.02 and shape.bounds[2] < 1000]
    assert len(inside) > 8
    free = BIN.region_to(2000).buffer(0.01)
    assert all(free.covers(shape) for shape in inside)


def test_what_lies_before_the_strip_is_lifted():
    """Left of the wall is no cloth: such a part is laid elsewhere."""
    some = parts_of([piece("b", blob(3, 110), 2)], cloth(), searched())
    spots = [Spot(0, -20.0, 500.0, 0.0), Spot(0, 600.0, 400.0, 0.0)]

    mended = off_flaws(some, spots, BIN, 3.0, Clock(5))

    shapes = [some[0].at(spot) for spot in mended]
    assert min(shape.bounds[0] for shape in shapes) >= -1e-6
    assert shapes[0].distance(shapes[1]) >= 3


def test_a_layer_with_a_frame_gives_no_layout_that_ignores_it():
    some = parts_of([piece("b", blob(3, 110), 12)], cloth(), searched())

    spots = StripLayer(searched()).lay(some, [12], BIN.strip, Clock(1.5), frame=frame_of_roll(3.0))

    shapes = [some[0].at(spot) for spot in spots]
    on_flaws = [shape for shape in shapes if any(z.intersects(shape) for z in BIN.strip.blocked)]
    assert on_flaws == []
    assert reach(some, spots) < 1400


@pytest.mark.parametrize(
    ("few", "searches"), [(150, [(True, False), (False, True)]), (5, [(False, False)])]
)
def test_few_pieces_are_searched_twice_around_flaws_and_many_once(monkeypatch, few, searches):
    """Few: shortly without knowing the flaws, then knowing them. Many: once, with all the time."""
    monkeypatch.setattr("flatten.nest.rolls.FEW_PIECES", few)
    some = parts_of([piece("b", blob(3, 110), 12)], cloth(), searched())
    seen = []

    class Layer(StripLayer):
        def lay(self, parts, counts, strip, clock, **more):
            seen.append((clock.left < 5, more.get("frame") is not None))
            return shelve(parts, counts, Strip(low_y=strip.low_y, high_y=strip.high_y), 3.0)[0]

    laid, left = lay_on_rolls(some, [12], [BIN], Layer(searched()), Clock(20), 3.0)

    assert seen == searches
    assert (len(laid[0]), left) == (12, [0])
