"""Balance and symmetry, whole and local."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import BIAX, CARBON, FILM, GLASS, MAT, TAPE, design

from flatten.laminate.balance import (
    check_stack,
    code_of,
    is_balanced,
    is_symmetric,
    local_stacks,
    widest_code,
)
from flatten.laminate.stack import Stack

FABRICS = {fabric.id: fabric for fabric in (CARBON, GLASS, TAPE, BIAX, MAT, FILM)}


def tape(*angles, **more):
    """Plies of unidirectional tape at these angles."""
    return tuple(
        design(f"p{i}", angle_deg=angle, fabric=TAPE.id, **more) for i, angle in enumerate(angles)
    )


def codes(stack):
    return [finding.code for finding in check_stack(stack, FABRICS)]


@pytest.mark.parametrize(
    ("angles", "expected"),
    [
        # textbook cases: balanced has a -a for each +a; symmetric reads the same both ways
        ((0, 90, 90, 0), []),
        ((45, -45, -45, 45), []),
        ((0,), []),
        ((45, -45), ["stack_not_symmetric"]),
        ((45, 45), ["stack_not_balanced"]),
        ((0, 45, 90), ["stack_not_balanced", "stack_not_symmetric"]),
        ((0, 90), ["stack_not_symmetric"]),
        ((135, 45, 45, -45), []),  # a fibre at 135 is one at -45
        ((90, -90), []),
    ],
)
def test_tape(angles, expected):
    assert codes(Stack(plies=tape(*angles))) == expected


@pytest.mark.parametrize("angle", [0, 45, -45, 90])
def test_plies_of_a_balanced_twill_are_balanced_on_the_axes(angle):
    """0 is 90 and +45 is -45 in a cloth with warp and weft alike."""
    plies = (design("a", angle_deg=angle), design("b", angle_deg=angle + 90))
    assert codes(Stack(plies=plies)) == []


def test_a_twill_off_the_axes_is_not_balanced():
    assert codes(Stack(plies=(design("a", angle_deg=30),))) == ["stack_not_balanced"]


def test_a_biaxial_is_symmetric_only_with_its_mirror_image():
    one = Stack(plies=(design("a", fabric=BIAX.id),))
    two = Stack(
        plies=(design("a", fabric=BIAX.id), design("b", fabric=BIAX.id, angle_deg=90)),
    )

    assert codes(one) == ["stack_not_symmetric"]
    assert codes(two) == []  # [45, -45] then, turned by 90 degrees, [-45, 45]


def test_the_same_angle_in_other_fibre_does_not_balance():
    plies = (
        design("a", angle_deg=30, fabric=TAPE.id),
        design("b", angle_deg=-30, fabric="glass_ud"),
    )
    glass = replace(TAPE, id="glass_ud", fibre="glass")
    assert not is_balanced(Stack(plies=plies).laid, FABRICS | {"glass_ud": glass})


def test_mat_and_film_turn_no_stack():
    plies = (design("a", fabric=MAT.id, angle_deg=17), design("b", fabric=FILM.id))
    assert codes(Stack(plies=plies)) == []


def test_a_stack_of_films_has_no_finding():
    assert codes(Stack(plies=(design("a", fabric=FILM.id),))) == []


def test_a_local_ply_is_found_where_it_lies():
    plies = (
        design("skin", faces=range(10), fabric=TAPE.id),
        design("doubler", faces=[3, 4], fabric=TAPE.id, angle_deg=30),
        design("inner", faces=range(10), fabric=TAPE.id),
    )

    (finding,) = check_stack(Stack(plies=plies), FABRICS)

    assert finding.code == "stack_not_balanced"
    assert finding.faces == (3, 4)
    assert "[0/30~]s" in finding.message
    assert finding.hint


@given(
    st.lists(st.sets(st.integers(0, 15), min_size=1), min_size=1, max_size=5),
)
def test_local_stacks_part_the_covered_faces(regions):
    plies = tuple(design(f"p{i}", faces=sorted(faces)) for i, faces in enumerate(regions))

    parts = list(local_stacks(Stack(plies=plies), FABRICS))

    faces = np.concatenate([part for part, _ in parts])
    assert sorted(faces.tolist()) == sorted(set().union(*regions))
    for part, laid in parts:
        for face in part:
            assert {one.ply.id for one in laid} == {
                f"p{i}" for i, region in enumerate(regions) if face in region
            }


@given(st.lists(st.sampled_from([0, 30, -30, 45, 90, 60]), min_size=1, max_size=6))
def test_a_symmetric_stack_is_symmetric_and_mirroring_keeps_balance(angles):
    plies = tape(*angles)
    whole = Stack(plies=plies, order="symmetric").laid

    assert is_symmetric(whole, FABRICS)
    assert is_balanced(whole, FABRICS) == is_balanced(Stack(plies=plies).laid, FABRICS)
    opposite = tape(*angles, *[-angle for angle in angles])
    assert is_balanced(Stack(plies=opposite).laid, FABRICS)


def test_code_of_a_mixed_stack():
    plies = (
        design("a", fabric=MAT.id),
        design("b", angle_deg=45),
        design("c", fabric=TAPE.id, angle_deg=270),
        design("d", fabric=FILM.id),
    )
    assert code_of(Stack(plies=plies).laid, FABRICS) == "[M/45f/90]T"


def test_a_stitched_biaxial_is_written_as_its_two_layers():
    """Its yarns run at +45 and -45 to the roll: laid at 0 it is no woven ply at 0."""
    ply = design("a", fabric=BIAX.id, angle_deg=0)

    assert code_of(Stack(plies=(ply,)).laid, FABRICS) == "[±45]T"


def test_the_widest_code_is_that_where_most_plies_lie():
    plies = (design("a", faces=range(9)), design("b", faces=[1, 2], fabric=TAPE.id, angle_deg=90))

    assert widest_code(Stack(plies=plies), FABRICS) == "[0f/90]T"
    assert widest_code(Stack(plies=(design("d", fabric=FILM.id),)), FABRICS) == ""
