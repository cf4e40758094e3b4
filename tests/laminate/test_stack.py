"""Laying order, repeats, mirror image, and the thickness each ply lies on."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import CARBON, FILM, GLASS, design

from flatten.errors import InputError
from flatten.laminate.settings import LaminateSettings
from flatten.laminate.stack import Stack
from flatten.laminate.thickness import cured_thickness_mm, thickness_map

HAND = LaminateSettings()
FABRICS = {fabric.id: fabric for fabric in (CARBON, GLASS, FILM)}
T = cured_thickness_mm(CARBON, HAND)


def order(stack):
    return "".join(laid.ply.id for laid in stack.laid)


@pytest.mark.parametrize(
    ("how", "times", "expected"),
    [
        ("as_listed", 1, "abbc"),
        ("as_listed", 2, "abbcabbc"),
        ("symmetric", 1, "abbccbba"),
        ("symmetric_middle_once", 1, "abbcbba"),
        ("symmetric", 2, "abbcabbccbbacbba"),
    ],
)
def test_laying_order(how, times, expected):
    plies = (design("a"), design("b", repeat=2), design("c"))

    stack = Stack(plies=plies, order=how, times=times)

    assert order(stack) == expected
    assert [laid.number for laid in stack.laid] == list(range(1, len(expected) + 1))


def test_copies_of_a_design_are_counted():
    laid = Stack(plies=(design("a"), design("b", repeat=2)), order="symmetric").laid

    assert [(one.ply.id, one.copy, one.copies) for one in laid] == [
        ("a", 1, 2),
        ("b", 1, 4),
        ("b", 2, 4),
        ("b", 3, 4),
        ("b", 4, 4),
        ("a", 2, 2),
    ]


def test_settings_choose_the_order():
    settings = LaminateSettings(stack_order="symmetric", stack_times=2)
    assert order(Stack.of((design("a"), design("b")), settings)) == "ababbaba"


def test_a_ply_lies_on_what_was_laid_before_it_where_it_was_laid():
    stack = Stack(
        plies=(
            design("a", faces=[0, 1, 2, 3]),
            design("b", faces=[1, 2]),
            design("c", faces=[2, 3]),
        )
    )

    below = [b for _, b in stack.with_thickness_below(FABRICS, HAND, 5)]

    assert np.allclose(below[0], 0)
    assert np.allclose(below[1], [T, T, T, T, 0])
    assert np.allclose(below[2], [T, 2 * T, 2 * T, T, 0])
    assert not below[1].flags.writeable


def test_shear_found_on_the_way_thickens_what_lies_below_the_next():
    stack = Stack(plies=(design("a", faces=[0, 1]), design("b", faces=[0, 1])))
    shear = {}
    below = {}

    for laid, under in stack.with_thickness_below(FABRICS, HAND, 2, shear):
        below[laid.ply.id] = under
        shear[laid.ply.id] = np.radians([0.0, 60.0])

    assert below["b"] == pytest.approx([T, 2 * T])


def test_film_adds_nothing_below():
    stack = Stack(plies=(design("a", fabric="film"), design("b")))
    assert np.allclose([b for _, b in stack.with_thickness_below(FABRICS, HAND, 4)][1], 0)


@given(
    st.lists(
        st.tuples(st.sets(st.integers(0, 11), min_size=1), st.integers(1, 3)),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from(["as_listed", "symmetric", "symmetric_middle_once"]),
)
def test_last_ply_on_top_of_the_rest_makes_the_whole(regions, how):
    plies = tuple(
        design(f"p{i}", faces=sorted(faces), repeat=repeat)
        for i, (faces, repeat) in enumerate(regions)
    )
    stack = Stack(plies=plies, order=how)
    courses = stack.courses(FABRICS, HAND)

    *_, (last, below) = stack.with_thickness_below(FABRICS, HAND, 12)

    whole = thickness_map(courses, 12)
    assert last.number == len(courses)
    assert thickness_map(courses[-1:], 12) + below == pytest.approx(whole, abs=1e-12)
    if how == "symmetric":
        assert whole == pytest.approx(
            2 * thickness_map(Stack(plies=plies).courses(FABRICS, HAND), 12), rel=1e-12
        )


def test_no_plies_an_unknown_order_and_a_thousand_plies_are_refused():
    with pytest.raises(InputError, match="no plies"):
        Stack(plies=())
    with pytest.raises(InputError, match="order is 'backwards'"):
        Stack(plies=(design("a"),), order="backwards")
    with pytest.raises(InputError, match="has 2000 plies"):
        Stack(plies=(design("a", repeat=200),), times=10)
    with pytest.raises(InputError, match="times is 0"):
        Stack(plies=(design("a"),), times=0)


def test_a_cloth_or_a_face_that_is_not_there_is_refused():
    with pytest.raises(InputError, match="asks for cloth 'linen'"):
        Stack(plies=(design("a", fabric="linen"),)).courses(FABRICS, HAND)
    with pytest.raises(InputError, match="has 3 faces"):
        list(Stack(plies=(design("a"),)).with_thickness_below(FABRICS, HAND, 3))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("angle_deg", "45"),
        ("angle_deg", float("nan")),
        ("repeat", 0),
        ("repeat", 1.5),
        ("repeat", True),
        ("trim_mm", -1),
        ("lap_mm", "wide"),
        ("faces", []),
        ("name", "  "),
    ],
)
def test_a_design_no_one_can_lay_is_refused(field, value):
    named = {"faces": "no faces", "name": "no name"}.get(field, field)
    with pytest.raises(InputError, match=named) as caught:
        design("a", **{field: value})
    assert caught.value.hint
