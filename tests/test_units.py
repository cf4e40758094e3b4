"""Units: exact where they are exact by definition, refused where they could be misread."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import flatten
from flatten.errors import InputError
from flatten.units import (
    AREAS,
    LENGTHS,
    MASSES,
    celsius,
    parse_area_mm2,
    parse_areal_weight_gsm,
    parse_length_mm,
    parse_mass_g,
    percent,
    show,
    span_mm,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("10 in", 254.0),
        ('10"', 254.0),
        ("1 1/2 in", 38.1),
        ("1-1/2in", 38.1),
        ('3/8"', 9.525),
        ("-3/8 in", -9.525),
        ("0.5 m", 500.0),
        ("2 ft", 609.6),
        ("1 yd", 914.4),
        (" 12 ", 12.0),
        ("12.5mm", 12.5),
        (".5 cm", 5.0),
        ("1e3 mm", 1000.0),
        ("3 Metres", 3000.0),
    ],
)
def test_lengths_as_people_type_them(text, mm):
    """Inch, foot and yard are exact: NIST SP 811 (2008), appendix B.8."""
    assert parse_length_mm(text) == pytest.approx(mm, rel=1e-15)


def test_a_bare_number_takes_the_fields_own_unit():
    assert parse_length_mm("2", unit="in") == pytest.approx(50.8, rel=1e-15)


@pytest.mark.parametrize(
    ("parse", "text", "value", "tolerance"),
    [
        # NIST SP 811 (2008), appendix B.8, factors printed to seven figures
        (parse_areal_weight_gsm, "1 oz/yd2", 33.90575, 5e-6),
        (parse_areal_weight_gsm, "1 oz/ft2", 305.1517, 5e-5),
        (parse_mass_g, "1 oz", 28.34952, 5e-6),
        (parse_mass_g, "1 lb", 453.5924, 5e-5),
        (parse_area_mm2, "1 yd2", 836127.4, 0.05),
        (parse_area_mm2, "1 ft²", 92903.04, 5e-3),
        (parse_areal_weight_gsm, "210 gsm", 210, 0),
        (parse_areal_weight_gsm, "210 g/m²", 210, 0),
    ],
)
def test_weights_and_areas_agree_with_the_published_factors(parse, text, value, tolerance):
    assert parse(text) == pytest.approx(value, abs=tolerance)


def test_six_ounce_cloth_is_the_trades_200_gram_cloth():
    """Common practice, no source: a 6 oz/yd2 cloth is sold as 200 to 204 g/m2."""
    assert 200 <= parse_areal_weight_gsm("6 oz/yd2") <= 204


@pytest.mark.parametrize(("f", "c"), [(32, 0), (212, 100), (90, 32.222), (-40, -40)])
def test_fahrenheit(f, c):
    assert celsius(f) == pytest.approx(c, abs=5e-4)


@given(
    st.floats(-1e6, 1e6),
    st.sampled_from([(parse_length_mm, LENGTHS), (parse_area_mm2, AREAS), (parse_mass_g, MASSES)]),
    st.data(),
)
def test_what_is_shown_reads_back(value, kind, data):
    parse, units = kind
    unit = data.draw(st.sampled_from(sorted(units)))

    again = parse(show(value, unit, digits=9))

    assert again == pytest.approx(value, rel=1e-9, abs=1e-9 * units[unit])


def test_shown_values_carry_their_unit():
    assert show(254, "in") == "10.000 in"
    assert show(1250, "m") == "1.250 m"
    assert show(203.4, "g/m2") == "203 g/m²"
    assert show(203.4345, "oz/yd2") == "6.00 oz/yd²"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "does not start with a number"),
        ("wide", "does not start with a number"),
        ("NaN mm", "does not start with a number"),
        ("inf", "does not start with a number"),
        ("1,250 mm", "comma"),
        ("0,5", "comma"),
        ("10 furlongs", "'furlongs' is not its unit"),
        ("10 g/m2", "is not its unit"),
        ("1/0 in", "no number"),
        ("1e999", "no number"),
        ("10 mm mm", "is not its unit"),
    ],
)
def test_a_length_that_could_be_misread_is_refused(text, reason):
    with pytest.raises(InputError, match=reason) as caught:
        parse_length_mm(text, field="Roll width")
    assert str(caught.value).startswith("Roll width")
    assert caught.value.hint


def test_a_number_where_a_text_belongs_is_refused():
    with pytest.raises(InputError, match="not a text"):
        parse_length_mm(10)


def test_an_unknown_unit_cannot_be_shown():
    with pytest.raises(InputError, match="cubit"):
        show(1, "cubit")


def test_the_inch_is_written_once():
    """A second 25.4 is a second truth."""
    engine = Path(flatten.__file__).parent
    found = [
        path.name
        for path in sorted(engine.rglob("*.py"))
        if re.search(r"(?<![\d.])25\.4(?!\d)", path.read_text(encoding="utf-8"))
    ]
    assert found == ["units.py"]


def test_shares_are_told_as_people_read_them():
    assert [percent(share) for share in (0.0, 2e-4, 0.0042, 0.042, 0.131, 1.0)] == [
        "0 %", "under 0.1 %", "0.42 %", "4.2 %", "13 %", "100 %",
    ]  # fmt: skip


def test_a_thickness_is_a_range_where_it_differs():
    assert span_mm(1.27, 1.31) == "1.31 mm"
    assert span_mm(1.31, 6.31) == "1.3-6.3 mm"
