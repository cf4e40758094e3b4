"""The laminate code, read and written as handbooks print it."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatten.errors import InputError
from flatten.laminate.code import CodePly, read_code, write_code


def angles(text):
    return [ply.angle_deg for ply in read_code(text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # forms as in CMH-17 and TM 1-1500-204-23-11, para. 5-7 (s from memory)
        ("[0]", [0]),
        ("[0/45/-45/90]T", [0, 45, -45, 90]),
        ("[0/45/-45/90]s", [0, 45, -45, 90, 90, -45, 45, 0]),
        ("[0/90]2s", [0, 90, 0, 90, 90, 0, 90, 0]),
        ("[0/90]_2s", [0, 90, 0, 90, 90, 0, 90, 0]),
        ("[0/90]₂ₛ".replace("ₛ", "s"), [0, 90, 0, 90, 90, 0, 90, 0]),
        ("[0_2/90]s", [0, 0, 90, 90, 0, 0]),
        ("[0₂/90]S", [0, 0, 90, 90, 0, 0]),
        ("[0/±45/90]s", [0, 45, -45, 90, 90, -45, 45, 0]),
        ("[0/+-45]T", [0, 45, -45]),
        ("[∓30]T", [-30, 30]),
        ("[(0/90)2/45]T", [0, 90, 0, 90, 45]),
        ("[0/90\u0305]s", [0, 90, 0]),
        ("[0/9\u03050\u0305]s", [0, 90, 0]),
        ("[0/90~]s", [0, 90, 0]),
        (" [ 0 / −45 ] T", [0, -45]),
        ("[22.5/-22.5]", [22.5, -22.5]),
        ("[-90/90]", [90, 90]),
        ("[45/45/45]3", [45] * 9),
    ],
)
def test_codes_as_handbooks_write_them(text, expected):
    assert angles(text) == expected


def test_cloth_is_marked():
    plies = read_code("[0f/45/45w2/M]T")

    assert [ply.woven for ply in plies] == [True, False, True, True, False]
    assert plies[-1].angle_deg is None


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("[0/45/-45/90/90/-45/45/0]", "[0/±45/90]s"),
        ("[0/90/0/90/90/0/90/0]", "[0/90]2s"),
        ("[0/90/0]", "[0/90~]s"),
        ("[0f/0f/0f]", "[0f]3T"),
        ("[45f/0f]", "[45f/0f]T"),
        ("[0/0/90]", "[0_2/90]T"),
        ("[0/90/0/90]", "[0/90]2T"),
        ("[M/0f]", "[M/0f]T"),
        ("[45/-45/-45]", "[45/-45_2]T"),
    ],
)
def test_the_shortest_usual_form_is_written(text, written):
    assert write_code(read_code(text)) == written


plies = st.builds(
    CodePly,
    angle_deg=st.sampled_from([0.0, 45.0, -45.0, 90.0, 30.0, -30.0, 22.5, -60.0]),
    woven=st.booleans(),
) | st.just(CodePly(angle_deg=None))


@given(st.lists(plies, min_size=1, max_size=8), st.integers(1, 3), st.sampled_from(["", "s", "1"]))
def test_what_is_written_reads_back(half, times, mirror):
    stack = half * times
    stack += {"": [], "s": stack[::-1], "1": stack[-2::-1]}[mirror]

    assert list(read_code(write_code(stack))) == stack


@given(st.text(alphabet="[]()/0123456789.+-±∓fwMsT~_ ", max_size=40))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(InputError):
        stack = read_code(text)
        assert list(read_code(write_code(stack))) == list(stack)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "does not read as"),
        ("0/90", "does not read as"),
        ("[0/90]x", "does not read as"),
        ("[0/90]s2", "does not read as"),
        ("[]", "missing"),
        ("[0//90]", "missing"),
        ("[0/90/]", "missing"),
        ("[0 90]", "out of place"),
        ("[090]", "out of place"),
        ("[0/90/x]", "missing"),
        ("[north]", "missing"),
        ("[0/135]", "-90 to 90"),
        ("[±45f]", "one ply or two"),
        ("[±-45]", "one ply or two"),
        ("[0/(45/90]", "not closed"),
        ("[0/90)]", "out of place"),
        ("[0/90~]T", "symmetric"),
        ("[0~/90]s", "last ply"),
        ("[0/90~]2s", "repeated"),
        ("[0/±45~]s", "more than one"),
        ("[0/(90~)2]s", "group"),
        ("[0_0]", "0 times"),
        ("[0_999999]", "999999 times"),
        ("[(0_1000)_1000]", "plies"),
        ("[((((((0))))))]", "nested"),
        ("[" + "0/" * 5000 + "0]", "does not read as"),
    ],
)
def test_what_could_be_misread_is_refused(text, reason):
    with pytest.raises(InputError, match=reason) as caught:
        read_code(text)
    assert caught.value.hint


def test_not_a_text_and_no_plies_are_refused():
    with pytest.raises(InputError, match="not a text"):
        read_code(45)
    with pytest.raises(InputError, match="needs plies"):
        write_code([])
