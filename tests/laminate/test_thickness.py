"""Thickness against the handbook formula, and over a mould with partial plies."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import ARAMID, CARBON, FILM, GLASS, PEEL_PLY

from flatten.errors import InputError
from flatten.laminate.settings import LaminateSettings
from flatten.laminate.thickness import Course, cured_thickness_mm, inverse_cosine, thickness_map

# t in mm of one ply at Vf 0.35, 0.45, 0.55: t = m_A / (1000 rho_f Vf), worked by hand
PER_PLY = [
    (CARBON, 160, (0.257, 0.200, 0.163)),
    (CARBON, 200, (0.321, 0.250, 0.204)),
    (CARBON, 245, (0.393, 0.306, 0.250)),
    (CARBON, 416, (0.668, 0.519, 0.425)),
    (CARBON, 650, (1.043, 0.811, 0.664)),
    (GLASS, 106, (0.119, 0.092, 0.076)),
    (GLASS, 280, (0.314, 0.244, 0.200)),
    (ARAMID, 173, (0.343, 0.267, 0.218)),
]


@pytest.mark.parametrize(("fabric", "weight", "thicknesses"), PER_PLY)
def test_one_ply(fabric, weight, thicknesses):
    cloth = replace(fabric, areal_weight_gsm=weight)
    for share, thickness in zip((0.35, 0.45, 0.55), thicknesses, strict=True):
        settings = LaminateSettings(fibre_volume_fraction=share)
        assert cured_thickness_mm(cloth, settings) == pytest.approx(thickness, abs=5.1e-4)


@pytest.mark.parametrize(
    ("share", "thickness"),
    [(0.30, 1.180), (0.35, 1.011), (0.40, 0.885), (0.45, 0.787), (0.50, 0.708), (0.55, 0.644)],
)
def test_three_plies_of_210(share, thickness):
    settings = LaminateSettings(fibre_volume_fraction=share)
    assert cured_thickness_mm(CARBON, settings, count=3) == pytest.approx(thickness, abs=5e-4)


def test_equal_weights_give_nine_tenths_of_a_millimetre():
    """3 x 210 g/m2 of 1.80 g/cm3 at 50 % by weight: 0.898 mm."""
    cloth = replace(CARBON, fibre_density_g_cm3=1.80)
    settings = LaminateSettings(fibre_mass_fraction=0.5)
    assert cured_thickness_mm(cloth, settings, count=3) == pytest.approx(0.898, abs=5e-4)


def test_voids_thicken():
    """t / (1 - Vv): voids add volume and no mass."""
    dense = cured_thickness_mm(CARBON, LaminateSettings())
    foamy = cured_thickness_mm(CARBON, LaminateSettings(void_fraction=0.04))
    assert foamy == pytest.approx(dense / 0.96, rel=1e-12)


@pytest.mark.parametrize("fabric", [FILM, PEEL_PLY])
def test_what_does_not_stay_has_no_thickness(fabric):
    assert cured_thickness_mm(fabric, LaminateSettings()) == 0


@pytest.mark.parametrize(
    ("shear_deg", "factor"),
    [(10, 1.0154), (20, 1.0642), (30, 1.1547), (40, 1.3054), (52.425, 1.6399), (60, 2.0)],
)
def test_shear_thickens_by_its_inverse_cosine(shear_deg, factor):
    """Either sign; the area of a net's cell is the cosine of its shear."""
    shear = np.radians([shear_deg, -shear_deg])
    assert inverse_cosine(shear) == pytest.approx([factor, factor], abs=5e-5)


def test_shear_past_locking_does_not_run_away():
    assert inverse_cosine(np.radians([90.0]))[0] == pytest.approx(
        1 / math.cos(math.radians(85)), rel=1e-12
    )


def test_cloth_in_folds_is_not_told_as_one_thick_layer():
    """Mass follows 1 / cos to the end; the thickness of one layer stops where every cloth locks."""
    locked = Course(
        number=1, ply_id="a", faces=[0, 1], thickness_mm=0.2, shear_rad=np.radians([60.0, 82.0])
    )

    assert thickness_map([locked], 2) == pytest.approx([0.4, 0.4], rel=1e-12)


def test_partial_plies_add_up_face_by_face():
    base = Course(number=1, ply_id="a", faces=[0, 1, 2, 3], thickness_mm=0.3)
    patch = Course(
        number=2, ply_id="b", faces=[1, 2], thickness_mm=0.2, shear_rad=np.radians([0.0, 60.0])
    )

    assert thickness_map([base, patch], 5) == pytest.approx([0.3, 0.5, 0.7, 0.3, 0.0])
    assert thickness_map([], 3) == pytest.approx([0, 0, 0])


@given(st.lists(st.sets(st.integers(0, 19), min_size=1), min_size=1, max_size=6))
def test_volume_is_each_plys_thickness_on_its_faces(regions):
    courses = [
        Course(number=i + 1, ply_id=f"p{i}", faces=sorted(faces), thickness_mm=0.1 * (i + 1))
        for i, faces in enumerate(regions)
    ]
    total = sum(0.1 * (i + 1) * len(faces) for i, faces in enumerate(regions))

    assert thickness_map(courses, 20).sum() == pytest.approx(total, rel=1e-12)
    assert thickness_map(courses[::-1], 20) == pytest.approx(thickness_map(courses, 20), rel=1e-12)


@pytest.mark.parametrize("faces", [[0, 7], [-1, 0]])
def test_a_face_the_mould_has_not_is_refused(faces):
    with pytest.raises(InputError, match="has 5 faces"):
        thickness_map([Course(number=1, ply_id="a", faces=faces, thickness_mm=0.3)], 5)


def test_a_course_that_does_not_fit_is_refused():
    with pytest.raises(InputError, match="shear of ply 1"):
        Course(number=1, ply_id="a", faces=[0, 1], thickness_mm=0.3, shear_rad=np.zeros(3))
    with pytest.raises(InputError, match="twice"):
        Course(number=1, ply_id="a", faces=[1, 1], thickness_mm=0.3)
