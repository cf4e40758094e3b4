"""Records: what is written reads back equal; what no one wrote on purpose is refused by field."""

import json
import re
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatten.arrays import Floats, Ints, frozen_floats
from flatten.errors import InputError
from flatten.records import LONGEST_TEXT, from_plain, to_plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    x_mm: float
    y_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    start: Point
    end: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    name: str
    side: Literal["up", "down"] = "up"
    count: int = 1
    flat: bool = True
    width_mm: float | None = None
    origin: Point = Point(x_mm=0)
    corners: tuple[Point, ...] = ()
    size: tuple[float, float] = (1.0, 2.0)
    price: dict[str, float] = field(default_factory=dict)
    tag: str | int = ""
    amount: int | float = 0
    shape: Point | Line | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cloud:
    at: Floats
    which: Ints | None = None


finite = st.floats(allow_nan=False, allow_infinity=False)
# what a person can type: no control characters, no half of a surrogate pair
texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=30)
points = st.builds(Point, x_mm=finite, y_mm=finite)
sheets = st.builds(
    Sheet,
    name=texts,
    side=st.sampled_from(["up", "down"]),
    count=st.integers(-(2**62), 2**62),
    flat=st.booleans(),
    width_mm=st.none() | finite,
    origin=points,
    corners=st.lists(points, max_size=4).map(tuple),
    size=st.tuples(finite, finite),
    price=st.dictionaries(texts, finite, max_size=3),
    tag=texts | st.integers(0, 9),
    amount=st.integers(0, 9) | finite,
    shape=st.none() | points | st.builds(Line, start=points, end=points),
)


@given(sheets)
def test_what_is_written_reads_back_equal(sheet):
    text = json.dumps(to_plain(sheet), allow_nan=False)

    assert from_plain(Sheet, json.loads(text), "sheet") == sheet
    assert json.dumps(to_plain(from_plain(Sheet, json.loads(text), "sheet"))) == text


@given(st.lists(st.tuples(finite, finite, finite), min_size=1, max_size=5))
def test_arrays_read_back_equal(rows):
    cloud = Cloud(at=frozen_floats("at", rows, (None, 3)), which=np.array([1, 2]))

    again = from_plain(Cloud, json.loads(json.dumps(to_plain(cloud))), "cloud")

    assert np.array_equal(again.at, cloud.at)
    assert np.array_equal(again.which, cloud.which)
    assert again.which.dtype.kind == "i"


def test_defaults_may_be_left_out_and_order_is_kept():
    sheet = from_plain(Sheet, {"name": "deck"}, "sheet")

    assert sheet == Sheet(name="deck")
    assert list(to_plain(sheet)) == [one.name for one in fields(Sheet)]


def test_whole_numbers_in_fields_for_fractions_are_written_as_fractions():
    """Equal records, equal text: the digest of a job hangs on it."""
    whole = Sheet(name="x", width_mm=3, size=(1, 2), price={"a": 4}, origin=Point(x_mm=5))
    written = Sheet(
        name="x", width_mm=3.0, size=(1.0, 2.0), price={"a": 4.0}, origin=Point(x_mm=5.0)
    )

    assert json.dumps(to_plain(whole)) == json.dumps(to_plain(written))
    assert "4.0" in json.dumps(to_plain(whole))


def test_numpy_numbers_become_plain_ones():
    plain = to_plain({"a": np.float64(1.5), "b": np.int64(2), "c": np.bool_(True)})

    assert json.dumps(plain) == '{"a": 1.5, "b": 2, "c": true}'


@pytest.mark.parametrize("value", [{1, 2}, b"bytes", object(), 1j])
def test_what_json_has_no_form_for_is_a_mistake_in_the_program(value):
    with pytest.raises(TypeError, match="no plain form"):
        to_plain({"a": [value]})


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=8,
)


@given(json_values)
def test_any_json_is_read_or_refused(value):
    """No other error escapes: a slip in a file is the user's to mend, never a traceback."""
    for kind in (Sheet, Cloud, Point):
        with pytest.raises(InputError) as caught:
            from_plain(kind, value, "file")
        assert caught.value.message.startswith("file")
        assert caught.value.hint


@given(st.sampled_from([one.name for one in fields(Sheet)]), json_values)
def test_any_value_in_any_field_is_read_or_refused_by_name(name, value):
    plain = {"name": "deck", name: value}
    try:
        sheet = from_plain(Sheet, plain, "sheet")
    except InputError as error:
        refusal = error
    else:
        assert from_plain(Sheet, to_plain(sheet), "sheet") == sheet
        return
    assert f"sheet, {name}" in refusal.message
    assert refusal.hint


@pytest.mark.parametrize(
    ("plain", "reason"),
    [
        ([], "sheet is \\[\\]"),
        (None, "sheet is None"),
        ({}, "lacks the field 'name'"),
        ({"nam": "x"}, "unknown field 'nam'.*Did you mean 'name'"),
        ({"name": "x", "colour_of_it": 1}, "unknown field 'colour_of_it'"),
        ({"name": 5}, "sheet, name is 5.*a text"),
        ({"name": None}, "sheet, name is None"),
        ({"name": "x" * (LONGEST_TEXT + 1)}, "characters long"),
        ({"name": "a\x00b"}, "control characters"),
        ({"name": "\ud800"}, "control characters"),
        ({"name": "x", "side": "left"}, "Use one of up, down"),
        ({"name": "x", "side": ["up"]}, "sheet, side is"),
        ({"name": "x", "count": 1.0}, "a whole number"),
        ({"name": "x", "count": True}, "a whole number"),
        ({"name": "x", "count": 10**400}, "smaller number"),
        ({"name": "x", "flat": 1}, "true or false"),
        ({"name": "x", "width_mm": "10"}, "a number"),
        ({"name": "x", "width_mm": True}, "a number"),
        ({"name": "x", "width_mm": float("nan")}, "finite"),
        ({"name": "x", "width_mm": float("-inf")}, "finite"),
        ({"name": "x", "width_mm": 2**63}, "smaller number"),
        ({"name": "x", "origin": {}}, "sheet, origin lacks the field 'x_mm'"),
        ({"name": "x", "origin": {"x_mm": 1, "z_mm": 2}}, "origin has an unknown field 'z_mm'"),
        ({"name": "x", "corners": {}}, "Write a list"),
        ({"name": "x", "corners": [{"x_mm": 1}, {"x_mm": "a"}]}, "sheet, corners 2, x_mm is 'a'"),
        ({"name": "x", "size": [1.0]}, "has 1 entries. Write 2"),
        ({"name": "x", "price": []}, "Write an object"),
        ({"name": "x", "price": {"a": None}}, "sheet, price, a is None"),
        ({"name": "x", "tag": 1.5}, "documented kind"),
        ({"name": "x", "shape": {"z": 1}}, "documented kind"),
    ],
)
def test_a_slip_is_named_with_its_place(plain, reason):
    with pytest.raises(InputError) as caught:
        from_plain(Sheet, plain, "sheet")
    assert re.search(reason, str(caught.value))


@pytest.mark.parametrize(
    ("at", "reason"),
    [
        (5, "list of numbers"),
        ("abc", "list of numbers"),
        ([[1, 2], [3]], "different lengths"),
        ([[1, "2"]], "a number"),
        ([True], "a whole number"),
        ([float("nan")], "finite"),
        ([10**400], "smaller number"),
        ([[[[[[[[[[1]]]]]]]]]], "nested too deep"),
    ],
)
def test_an_array_that_is_none_is_refused(at, reason):
    with pytest.raises(InputError, match=reason):
        from_plain(Cloud, {"at": at}, "cloud")


def test_long_values_are_cut_in_messages():
    with pytest.raises(InputError) as caught:
        from_plain(Sheet, {"name": "x", "width_mm": "9" * 5000}, "sheet")
    assert len(str(caught.value)) < 200
