"""The fingerprint changes with everything a layout depends on, and with nothing else."""

from dataclasses import replace

import pytest
from nest.cloths import cloth, piece, rectangle, roll, simple, stock

from flatten.nest.digest import nest_digest

PIECES = [piece("a", rectangle(300, 200))]
GIVEN = {"pieces": PIECES, "fabric": cloth(), "stock": stock(), "settings": simple(gap_mm=3)}
SAME = nest_digest(**GIVEN)


@pytest.mark.parametrize(
    "change",
    [
        {"pieces": [piece("b", rectangle(300, 200))]},
        {"pieces": [piece("a", rectangle(300, 200), 2)]},
        {"pieces": [piece("a", rectangle(300, 200.001))]},
        {"fabric": cloth("weave", balanced=True)},
        {"stock": stock(roll(1001))},
        {"settings": simple(gap_mm=2)},
        {"settings": simple(gap_mm=3, kits=2)},
        {"settings": simple(gap_mm=3, turn_over=True)},
    ],
)
def test_another_input_is_another_fingerprint(change):
    assert nest_digest(**{**GIVEN, **change}) != SAME


@pytest.mark.parametrize("effort", [{"seconds": 99}, {"seed": 7}, {"chunk": 20}, {"processes": 1}])
def test_effort_is_not_part_of_it(effort):
    asked = replace(GIVEN["settings"], **effort)

    assert nest_digest(**{**GIVEN, "settings": asked}) == SAME
