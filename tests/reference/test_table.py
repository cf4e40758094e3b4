"""The table of published checks names tests that exist and hold its values."""

import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
ROWS = [
    [cell.strip() for cell in line.strip("|\n").split("|")]
    for line in (TESTS / "reference" / "README.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("|") and "::" in line
]


@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0][:40]}" for row in ROWS])
def test_every_row_is_tested(row):
    _, value, source, held_to, test = row
    file, name = test.strip("`").split("::")
    text = (TESTS / file).read_text(encoding="utf-8")

    assert re.search(rf"^def {name}\(", text, re.MULTILINE), f"{file} has no {name}"
    assert source
    assert held_to
    numbers = {float(found) for found in re.findall(r"(?<![\w.^-])\d+(?:\.\d+)?(?!\w)", text)}
    for figure in re.findall(r"(?<![\w.^-])\d+\.\d+(?!\w)", value):
        assert float(figure) in numbers, f"{figure} is not in {file}"


def test_the_table_is_not_empty():
    assert len(ROWS) > 30
