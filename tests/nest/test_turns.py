"""The fibre direction is never traded for density."""

import pytest
from nest.cloths import cloth, piece, rectangle, roll, searched, simple, stock
from shapely import Polygon, box
from shapely.affinity import rotate

from flatten.errors import InputError
from flatten.nest.check import check_nest
from flatten.nest.nest import nest
from flatten.nest.too_large import too_large
from flatten.nest.turns import allowed_turns, may_turn_over


@pytest.mark.parametrize(
    ("fabric", "base"),
    [
        (cloth("unidirectional"), (0, 180)),
        (cloth("biaxial", fibre_angles_deg=(45, -45)), (0, 180)),
        (cloth("weave"), (0, 180)),
        (cloth("weave", balanced=True), (0, 180, 90, 270)),
    ],
)
def test_cloth_with_a_direction_allows_its_own_turns_only(fabric, base):
    turns = allowed_turns(fabric, 3)

    assert set(turns.to_try()) >= set(base)
    for angle in turns.to_try():
        assert min(abs((angle - one + 180) % 360 - 180) for one in base) <= 3


def test_mat_and_film_allow_any_turn():
    for kind in ("mat", "film"):
        assert allowed_turns(cloth(kind)).to_try() is None
        assert allowed_turns(cloth(kind)).any_turn


@pytest.mark.parametrize(
    ("fabric", "may"),
    [
        (cloth("weave"), True),
        (cloth("weave", has_face=True), False),
        (cloth("biaxial", fibre_angles_deg=(45, -45)), True),
        (cloth("biaxial", fibre_angles_deg=(45,)), False),
        (cloth("biaxial", fibre_angles_deg=(0, 60)), False),
        (cloth("unidirectional", fibre_angles_deg=(0,)), True),
        (cloth("unidirectional", fibre_angles_deg=(90,)), True),
        (cloth("mat"), True),
        (cloth("film", has_face=True), False),
    ],
)
def test_turning_over_keeps_every_fibre_direction(fabric, may):
    """Turned over about the warp a fibre at +a comes to lie at -a: plain geometry."""
    assert may_turn_over(fabric) is may


LEFT = [(0, 0), (400, 0), (400, 60), (60, 60), (60, 300), (0, 300)]


@pytest.mark.parametrize(("has_face", "over"), [(False, True), (True, False)])
def test_pieces_are_turned_over_only_where_asked_and_both_sides_are_alike(has_face, over):
    """The L and its mirror image interlock in a 620 mm roll; two of one hand need more length."""
    pieces = [piece("L", LEFT, 4)]
    fabric = cloth("weave", has_face=has_face)
    asked = searched(1.6, turn_over=True)

    found = nest(pieces, fabric, stock(roll(620)), asked)

    notes = {place.note for sheet in found.sheets for place in sheet.placements}
    assert ("TURN OVER" in notes) <= over
    assert check_nest(found, pieces, fabric, stock(roll(620)), asked) == []
    never = nest(pieces, cloth("weave"), stock(roll(620)), searched(0.8))
    assert not any(p.turned_over for sheet in never.sheets for p in sheet.placements)


def test_a_mirrored_kit_is_the_mirror_image_with_the_same_warp():
    """y becomes -y; areas and bounding boxes along the warp are those of the other hand."""
    pieces = [piece("L", LEFT)]

    found = nest(pieces, cloth(has_face=True), stock(), simple(kits=1, mirrored_kits=1))

    one, two = sorted(found.sheets[0].placements, key=lambda place: place.kit)
    assert (one.note, two.note) == ("", "OTHER HAND")
    shapes = [place.outline_on_cloth(Polygon(LEFT)) for place in (one, two)]
    assert shapes[0].area == pytest.approx(shapes[1].area, rel=1e-12)
    assert [place.angle_deg for place in (one, two)] == [0, 0]
    foot = [shape.intersection(Polygon(rectangle(3000, 61))).area for shape in shapes]
    assert foot[0] != pytest.approx(foot[1], rel=0.1) or one.y_mm != two.y_mm


def test_a_long_piece_is_turned_on_a_balanced_weave():
    """500 x 900 on a roll of 700: only the quarter turn fits, and the length is then 900."""
    pieces = [piece("a", rectangle(500, 900))]

    found = nest(pieces, cloth("weave", balanced=True), stock(roll(700)), simple())

    assert found.used_length_mm == pytest.approx(900)
    assert found.sheets[0].placements[0].angle_deg in (90, 270)


def test_too_large_names_the_best_turn_and_the_excess():
    pieces = [piece("wide", rectangle(300, 1100)), piece("fine", rectangle(300, 900))]
    shelf = stock(roll(1000, selvedge=10), roll(800, id="narrow"))

    (found,) = too_large(pieces, cloth(), shelf)

    assert (found.piece, found.roll, found.across) == ("wide", "roll", True)
    assert found.excess_mm == pytest.approx(120)
    assert found.cut_y_mm == pytest.approx((550,))
    finding = found.finding()
    assert (finding.code, finding.severity) == ("piece_too_large", "stop")
    assert "120 mm wider than roll 'roll'" in finding.message
    assert too_large(pieces, cloth("weave", balanced=True), shelf) == []
    with pytest.raises(InputError, match="'wide' is 120 mm wider"):
        nest(pieces, cloth(), shelf, simple())


def test_a_bias_strip_across_the_roll_is_as_long_as_on_paper():
    """At 45 degrees a strip of no width spans 1270 sqrt 2 = 1796.05 mm: Pythagoras."""
    thin = 0.02
    fits, over = (
        [piece("strip", [(0, 0), (x, x), (x, x + thin * 2**0.5), (0, thin * 2**0.5)])]
        for x in (1796.0 / 2**0.5, 1796.2 / 2**0.5)
    )
    shelf = stock(roll(1270))

    assert too_large(fits, cloth(), shelf) == []
    assert too_large(over, cloth(), shelf)[0].excess_mm == pytest.approx(0.134, abs=0.01)


def test_a_piece_of_mat_lies_at_its_narrowest():
    """A 900 x 300 plate drawn 27 degrees off: on a roll of 300 mm only 27 degrees back fits."""
    plate = rotate(box(0, 0, 900, 300), 27, origin=(0, 0))
    pieces = [piece("plate", plate)]
    mat, shelf = cloth("mat"), stock(roll(300.001))

    found = nest(pieces, mat, shelf, simple())

    assert found.used_length_mm == pytest.approx(900, abs=1e-6)
    assert found.sheets[0].placements[0].angle_deg % 180 == pytest.approx(153, abs=1e-4)
    narrow = too_large(pieces, mat, stock(roll(290)))
    assert narrow[0].excess_mm == pytest.approx(10, abs=1e-6)
