"""Every setting refuses nonsense by name, and survives the job file."""

import json
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laminate.cloths import CARBON, MAT, laid

from flatten.errors import InputError
from flatten.laminate.pot_checks import check_pot
from flatten.laminate.quantities import quantities
from flatten.laminate.settings import ClothPrice, Coat, Consumed, LaminateSettings, Rates
from flatten.records import from_plain, to_plain


def numeric(kind):
    """Names of the fields that hold a number by default."""
    return [
        field.name
        for field in fields(kind)
        if isinstance(field.default, int | float) and not isinstance(field.default, bool)
    ]


EVERY = [
    (kind, name) for kind in (LaminateSettings, Coat, Consumed, Rates) for name in numeric(kind)
]


@pytest.mark.parametrize(("kind", "name"), EVERY)
@pytest.mark.parametrize("value", [float("nan"), float("inf"), -273.5, "12", True, None])
def test_no_number_takes_nonsense(kind, name, value):
    with pytest.raises(InputError, match=name) as caught:
        kind(**{name: value})
    assert caught.value.hint


@pytest.mark.parametrize(
    ("field", "value", "hint"),
    [
        ("fibre_volume_fraction", 1.0, "between 0 and 1"),
        ("fibre_volume_fraction", 45, "between 0 and 1"),
        ("fibre_mass_fraction", 0, "between 0 and 1"),
        ("mat_fibre_volume_fraction", -0.2, "between 0 and 1"),
        ("void_fraction", 0.6, "0 to 0.5"),
        ("pot_life_min", 0, "above zero"),
        ("pot_limit_g", 0, "above zero"),
        ("scale_step_g", 0, "above zero"),
        ("spread_g_per_min", 0, "above zero"),
        ("brush_loss", -0.1, "from 0"),
        ("resin_density_g_cm3", 1150, "g/cm3"),
        ("hardener_density_g_cm3", 0, "g/cm3"),
        ("shop_c", 90, "-10 to 60"),
        ("process", "autoclave", "hand, bagged"),
        ("mix_by", "eye", "weight, volume"),
        ("stack_order", "backwards", "symmetric"),
        ("stack_times", 1.5, "whole number"),
        ("mix_hardener", 0, "100:30"),
    ],
)
def test_the_hint_is_the_way_out(field, value, hint):
    with pytest.raises(InputError, match=field) as caught:
        LaminateSettings(**{field: value})
    assert hint in caught.value.hint


def test_two_fractions_at_once_are_refused():
    with pytest.raises(InputError, match="both given"):
        LaminateSettings(fibre_volume_fraction=0.4, fibre_mass_fraction=0.5)


def test_a_coat_of_unknown_kind_is_refused():
    with pytest.raises(InputError, match="paint"):
        Coat(kind="paint")


# what a person can type: no control characters, no half of a surrogate pair
names = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=8)
settings = st.builds(
    LaminateSettings,
    process=st.sampled_from(["hand", "bagged", "infusion", "mat"]),
    fibre_volume_fraction=st.none() | st.floats(0.1, 0.7),
    mix_hardener=st.floats(1, 100),
    liquid_resin_density_g_cm3=st.none() | st.floats(0.9, 1.5),
    shop_c=st.floats(5, 40),
    coats=st.lists(
        st.builds(Coat, kind=st.sampled_from(["gel", "surface", "flow"])), max_size=3
    ).map(tuple),
    consumed=st.builds(Consumed, peel_ply=st.none() | st.booleans()),
    rates=st.builds(
        Rates,
        currency=names,
        cloth=st.lists(
            st.builds(ClothPrice, fabric=names, per_m2=st.floats(0, 100)), max_size=2
        ).map(tuple),
    ),
)


@given(settings)
def test_settings_survive_the_job_file(value):
    text = json.dumps(to_plain(value), allow_nan=False)

    assert from_plain(LaminateSettings, json.loads(text), "laminate") == value


def test_a_file_from_before_a_setting_existed_still_reads():
    assert from_plain(LaminateSettings, {"process": "bagged"}, "laminate").process == "bagged"


@pytest.mark.parametrize(
    ("plain", "reason"),
    [
        ({"pot_life": 30}, "unknown field 'pot_life'"),
        ({"pot_life_min": "30"}, "pot_life_min is '30'"),
        ({"pot_life_min": 0}, "pot_life_min is 0"),
        ({"coats": [{"kind": "gel", "colour": "white"}]}, "unknown field 'colour'"),
        ({"coats": {"kind": "gel"}}, "coats is"),
        ({"process": "autoclave"}, "process is 'autoclave'"),
        ({"rates": None}, "rates is None"),
    ],
)
def test_a_file_with_a_slip_is_refused_by_field(plain, reason):
    with pytest.raises(InputError, match=reason) as caught:
        from_plain(LaminateSettings, plain, "laminate")
    assert caught.value.hint


def found(settings, plies=None):
    return [finding.code for finding in quantities(plies or [laid(1)], settings).findings]


def test_the_defaults_raise_no_finding():
    for process in ("hand", "bagged", "infusion"):
        assert found(LaminateSettings(process=process)) == []


def test_a_fraction_the_process_does_not_reach_is_a_finding():
    assert found(LaminateSettings(fibre_volume_fraction=0.6)) == ["fibre_fraction_unusual"]
    assert found(LaminateSettings(fibre_volume_fraction=0.44)) == []
    (impossible,) = check_pot([laid(1)], LaminateSettings(fibre_volume_fraction=0.8), ())
    assert "0.785" in impossible.message  # pi / 4: circles in squares
    mat = LaminateSettings(fibre_volume_fraction=0.6)
    assert found(mat, [laid(1, MAT)]) == []


def test_a_batch_too_small_for_the_scale_is_a_finding():
    coarse = LaminateSettings(scale_step_g=1.0)
    assert found(coarse, [laid(1, CARBON, 0.03)]) == ["batch_too_small_to_weigh"]
    assert found(coarse, [laid(1, CARBON, 1.0)]) == []


def test_a_pot_life_nobody_can_work_with_is_a_finding():
    assert found(LaminateSettings(pot_life_min=12)) == ["pot_life_short"]
    assert found(LaminateSettings(pot_life_min=20, shop_c=33)) == ["pot_life_short"]
    assert found(LaminateSettings(pot_life_min=20)) == []
