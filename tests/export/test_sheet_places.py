"""Plies told together at one tack point read as one list."""

import pytest

from flatten.export.sheet_places import _together


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["plies 1, 5", "ply 2"], "plies 1, 2, 5"),
        (["ply 3"], "ply 3"),
        (["all plies", "all plies"], "all plies"),
        (["ply 10", "ply 9 piece 2"], "plies 9 piece 2, 10"),
    ],
)
def test_names_of_plies_are_put_together(names, told):
    assert _together(names) == told
