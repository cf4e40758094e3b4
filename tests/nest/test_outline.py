"""Outlines are refused or put right before the search library sees them."""

import numpy as np
import pytest
from nest.cloths import blob, piece, rectangle, roll, searched
from shapely import Point, Polygon
from shapely.geometry.polygon import orient

from flatten.errors import InputError
from flatten.nest.outline import sound_polygon
from flatten.nest.part import FEW_VERTICES, simple_cover
from flatten.nest.roll import Defect, Offcut, Stock
from flatten.nest.settings import NestSettings


@pytest.mark.parametrize(
    ("outline", "reason"),
    [
        ([(0, 0), (100, 100), (100, 0), (0, 100)], r"crosses or touches itself at \(50, 50\)"),
        ([(0, 0), (100, 0), (50, 0)], "encloses 0 mm2|crosses"),
        ([(0, 0), (100, 0)], "2 different points"),
        ([(0, 0), (0, 0), (0, 0), (100, 0)], "2 different points"),
        ([(0, 0), (100, 0), (float("nan"), 50)], "finite"),
        ([(0, 0), (100, 0), (float("inf"), 50)], "finite"),
        ([(0, 0), (0.1, 0), (0, 0.1)], "encloses 0.005 mm2"),
        ([(0, 0), (2e5, 0), (0, 100)], "reaches 2e\\+05 mm"),
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], "shape"),
        ([], "shape"),
        ("square", "not numbers"),
        ([(0, 0), (50, 50), (100, 0), (100, 100), (50, 50), (0, 100)], "crosses or touches"),
    ],
)
def test_a_bad_outline_is_refused_by_name(outline, reason):
    with pytest.raises(InputError, match=reason) as refused:
        piece("rib", outline)

    assert "rib" in refused.value.message


def test_repeated_points_and_the_wrong_way_round_are_put_right():
    corners = rectangle(100, 50)
    given = [corners[0], *corners[::-1], corners[-1]][1:]
    given = [given[0], given[0], *given[1:]]

    polygon = sound_polygon("x", given)

    assert polygon.equals(Polygon(corners))
    assert len(polygon.exterior.coords) == 5
    assert polygon == orient(polygon)


def test_holes_stay_and_specks_go():
    plate = Polygon(rectangle(200, 200), [rectangle(50, 50, 20, 20), rectangle(0.5, 0.5, 100, 100)])

    polygon = piece("plate", plate).polygon

    assert [round(Polygon(hole).area) for hole in polygon.interiors] == [2500]


@pytest.mark.parametrize("points", [200, 3000])
def test_the_search_outline_covers_the_piece_in_the_same_box(points):
    """Outwards and no further: covers, same bounding box, at most 0.5 mm more all round."""
    outline = sound_polygon("x", blob(3, 250, points))

    cover = simple_cover(outline)

    assert len(cover.exterior.coords) <= 2 * FEW_VERTICES
    assert cover.covers(outline)
    assert cover.bounds == pytest.approx(outline.bounds, abs=1e-9)
    assert cover.hausdorff_distance(outline) < 2.0
    assert cover.area < outline.area + 0.6 * outline.length


def test_a_simple_outline_is_left_as_it_is():
    outline = sound_polygon("x", blob(3, 250, 20))

    assert simple_cover(outline) is outline


@pytest.mark.parametrize(
    "changes",
    [
        {"gap_mm": -1},
        {"gap_mm": float("nan")},
        {"kits": 0},
        {"kits": -1},
        {"mirrored_kits": -1},
        {"turn_tolerance_deg": 16},
        {"seconds": -1},
        {"seconds": float("inf")},
        {"keep_offcut_mm": (0, 100)},
        {"chunk": 1},
        {"seed": -1},
        {"processes": 0},
    ],
)
def test_settings_nobody_can_cut_by_are_refused(changes):
    name = next(iter(changes))
    with pytest.raises(InputError, match=f"{name}|0 kits"):
        NestSettings(**changes)


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda: roll(0), "width_mm is 0"),
        (lambda: roll(float("nan")), "width_mm is nan"),
        (lambda: roll(1000, -5), "length_mm is -5"),
        (lambda: roll(1000, selvedge=500), "leave no cloth"),
        (lambda: roll(1000, price_per_m=-1), "price_per_m is -1"),
        (lambda: Defect(x_mm=0, y_mm=float("nan"), radius_mm=5), "has no place"),
        (lambda: Defect(x_mm=0, y_mm=0, radius_mm=0), "radius_mm is 0"),
        (
            lambda: Offcut(id="o", fabric="c", outline=[[0, 0], [1, 1], [1, 0], [0, 1]]),
            "Offcut 'o'",
        ),
        (
            lambda: Offcut(id="o", fabric="c", outline=rectangle(9, 9), warp_deg=float("nan")),
            "warp_deg",
        ),
        (lambda: Stock(rolls=(roll(), roll())), "'roll' twice"),
        (lambda: piece("a", rectangle(9, 9), 0), "count is 0"),
        (lambda: searched(gap_mm=-3), "gap_mm is -3"),
    ],
)
def test_stock_and_pieces_that_cannot_be_are_refused(make, reason):
    with pytest.raises(InputError, match=reason):
        make()


def test_an_offcut_is_laid_with_its_warp_along_x():
    """A triangle whose warp runs along its hypotenuse: 5-4-3, so its box is 500 x 240."""
    offcut = Offcut(
        id="o",
        fabric="cloth",
        outline=np.array([(0.0, 0), (400, 0), (0, 300)]),
        warp_deg=float(np.degrees(np.arctan2(300, -400))),
    )

    assert offcut.laid_straight().bounds == pytest.approx((0, 0, 500, 240), abs=1e-9)
    assert Point(0, 0).buffer(1).intersects(offcut.laid_straight())
