"""Plies from a code, and the mirrored part."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import CARBON, MAT, TAPE, design

from flatten.errors import InputError
from flatten.laminate.balance import code_of
from flatten.laminate.designs import mirrored_plies, mirrored_rosette, plies_from_code
from flatten.laminate.stack import Stack
from flatten.surface.cut import Cut
from flatten.surface.rosette import Rosette

FABRICS = {fabric.id: fabric for fabric in (CARBON, TAPE, MAT)}
UP = (0.0, 0.0, 1.0)


def test_angles_are_positive_counter_clockwise_seen_on_the_mould_face():
    """TM 1-1500-204-23-11, para. 5-7, citing ASTM D6507: +45 lies between 0 and the left hand."""
    rosette = Rosette((0, 0, 0), (1, 0, 0), UP)

    assert rosette.direction(45, UP) == pytest.approx([0.5**0.5, 0.5**0.5, 0])


@pytest.mark.parametrize("code", ["[0f/±45/90]s", "[M/0f/45f]T", "[0]2T"])
def test_plies_from_a_code_have_that_code(code):
    plies = plies_from_code(code, faces=[0, 1], woven=CARBON.id, tape=TAPE.id, mat=MAT.id)
    written = code_of(Stack(plies=plies).laid, FABRICS)

    assert written == code
    assert len({ply.id for ply in plies}) == len(plies)


def test_a_code_without_its_cloth_is_refused():
    with pytest.raises(InputError, match="ply 2 is marked f"):
        plies_from_code("[0/45f]T", faces=[0], tape=TAPE.id)


@given(st.floats(-90, 90), st.floats(0, 6.28))
def test_the_mirrored_part_is_laid_with_the_opposite_angle(angle, turn):
    """The mirror image of a fibre is the fibre the mirrored rosette gives at minus the angle."""
    rosette = Rosette((10, 20, 30), (np.cos(turn), np.sin(turn), 0), UP)
    normal = (0.6, 0.0, 0.8)

    twin = mirrored_rosette(rosette, at_mm=(5, 0, 0), normal=normal)

    fibre, n = rosette.direction(angle, UP), np.array(normal)
    mirrored = fibre - 2 * (fibre @ n) * n
    assert twin.direction(-angle, twin.normal) == pytest.approx(mirrored, abs=1e-9)


def test_tack_cuts_and_rosette_are_mirrored_and_twice_is_once():
    cut = Cut(id="c", kind="splice", path=[(0, 0, 0), (10, 0, 0)], under="left")
    ply = design(
        "a",
        angle_deg=30,
        tack_mm=(7.0, 2.0, 3.0),
        cuts=(cut,),
        rosette=Rosette((1, 2, 3), (0, 1, 0), UP),
    )
    plane = {"at_mm": (5, 0, 0), "normal": (1, 0, 0)}

    (twin,) = mirrored_plies([ply], **plane)
    (again,) = mirrored_plies([twin], **plane)

    assert twin.angle_deg == -30
    assert twin.tack_mm == pytest.approx([3, 2, 3])
    assert twin.cuts[0].under == "right"
    assert twin.cuts[0].path == pytest.approx(np.array([(10, 0, 0), (0, 0, 0)]))
    assert twin.rosette.origin == pytest.approx([9, 2, 3])
    assert again.tack_mm == pytest.approx(ply.tack_mm)
    assert again.cuts[0].under == "left"
    assert again.cuts[0].path == pytest.approx(cut.path)


def test_a_plane_without_direction_is_refused():
    with pytest.raises(InputError, match="no direction"):
        mirrored_plies([design("a")], at_mm=(0, 0, 0), normal=(0, 0, 0))
