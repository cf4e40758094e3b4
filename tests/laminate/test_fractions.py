"""Fibre fractions against ASTM D3171's relation and the published practice."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import ARAMID, CARBON, GLASS, MAT

from flatten.errors import InputError
from flatten.laminate.fractions import (
    fibre_volume_fraction,
    resin_per_fibre,
    volume_fraction,
)
from flatten.laminate.process import PROCESSES, process_of
from flatten.laminate.settings import LaminateSettings

# Vf for W = 0.40 to 0.70, resin 1.15 g/cm3: the relation of ASTM D3171, worked by hand
TABLE = {
    1.78: (0.3010, 0.3458, 0.3925, 0.4412, 0.4922, 0.5454, 0.6012),
    2.55: (0.2312, 0.2695, 0.3108, 0.3553, 0.4035, 0.4558, 0.5127),
    1.44: (0.3474, 0.3952, 0.4440, 0.4939, 0.5450, 0.5973, 0.6508),
}
ROWS = [
    (density, mass, volume)
    for density, row in TABLE.items()
    for mass, volume in zip((0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70), row, strict=True)
]


@pytest.mark.parametrize(("density", "mass", "volume"), ROWS)
def test_the_table(density, mass, volume):
    both = {"fibre_density_g_cm3": density, "resin_density_g_cm3": 1.15}

    assert volume_fraction(mass, **both) == pytest.approx(volume, abs=5e-5)


def mass_fraction(volume_share, fibre_density, resin_density=1.15):
    """The same relation solved for the mass."""
    fibre = volume_share * fibre_density
    return fibre / (fibre + (1 - volume_share) * resin_density)


@given(st.floats(0.01, 0.99), st.floats(0.5, 10), st.floats(0.5, 10))
def test_there_and_back(share, fibre, resin):
    volume = volume_fraction(share, fibre_density_g_cm3=fibre, resin_density_g_cm3=resin)

    assert mass_fraction(volume, fibre, resin) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize("fabric", [CARBON, GLASS, ARAMID, MAT])
@pytest.mark.parametrize("process", [process.id for process in PROCESSES])
def test_resin_for_each_gram_of_cloth_is_one_less_w_over_w(fabric, process):
    settings = LaminateSettings(process=process)
    share = mass_fraction(fibre_volume_fraction(fabric, settings), fabric.fibre_density_g_cm3)

    assert resin_per_fibre(fabric, settings) == pytest.approx((1 - share) / share, rel=1e-12)


def test_resin_worked_by_hand():
    """630 g of fibre at W = 0.457 take 748.6 g of resin."""
    settings = LaminateSettings(fibre_mass_fraction=0.457)

    assert 630 * resin_per_fibre(CARBON, settings) == pytest.approx(748.6, abs=0.05)


@pytest.mark.parametrize(
    ("process", "low", "high", "by_mass"),
    [
        # common practice, no source: fibre by volume, carbon by mass
        ("hand", 0.30, 0.40, (0.40, 0.51)),
        ("bagged", 0.40, 0.50, (0.51, 0.61)),
        ("infusion", 0.50, 0.60, (0.61, 0.70)),
    ],
)
def test_defaults_lie_in_the_usual_range(process, low, high, by_mass):
    share = fibre_volume_fraction(CARBON, LaminateSettings(process=process))

    assert low <= share <= high
    assert process_of(process).usual == (low, high)
    mass = mass_fraction(share, 1.78)
    assert by_mass[0] <= mass <= by_mass[1]


def test_a_given_fraction_wins_over_the_process():
    assert fibre_volume_fraction(CARBON, LaminateSettings(fibre_volume_fraction=0.42)) == 0.42
    by_mass = LaminateSettings(fibre_mass_fraction=0.5)
    assert fibre_volume_fraction(CARBON, by_mass) == pytest.approx(0.3925, abs=5e-5)
    assert fibre_volume_fraction(MAT, by_mass) == process_of("hand").mat_fibre
    assert fibre_volume_fraction(MAT, replace(by_mass, mat_fibre_volume_fraction=0.2)) == 0.2


@pytest.mark.parametrize("share", [0, 1, -0.1, 1.5, float("nan"), "0.4", True, None])
def test_a_share_that_is_none_is_refused(share):
    both = {"fibre_density_g_cm3": 1.78, "resin_density_g_cm3": 1.15}
    with pytest.raises(InputError, match="fibre_mass_fraction"):
        volume_fraction(share, **both)


@pytest.mark.parametrize("field", ["fibre_density_g_cm3", "resin_density_g_cm3"])
@pytest.mark.parametrize("value", [0, -1.15, 1150, float("inf"), "1.15"])
def test_a_density_no_material_has_is_refused(field, value):
    both = {"fibre_density_g_cm3": 1.78, "resin_density_g_cm3": 1.15, field: value}
    with pytest.raises(InputError, match=field):
        volume_fraction(0.5, **both)


def test_an_unknown_process_is_refused():
    with pytest.raises(InputError, match="autoclave"):
        process_of("autoclave")
