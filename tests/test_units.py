"""Units: exact where they are exact by definition, refused where they could be misread."""

import re
from pathlib import Path

import pytest

import flatten
from flatten.errors import InputError
from flatten.units import parse_length_mm, percent, span_mm


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
