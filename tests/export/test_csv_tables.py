"""CSV: the numbers, in any script, and no formula for a spreadsheet to run."""

import csv
import io

import pytest
from export.bench_sheet import full_sheet
from export.kit import kit_of_patterns, pattern
from shapely import box

from flatten.export.csv_tables import cut_list_csv, harmless, stack_csv


def rows(data: bytes) -> list[dict[str, str]]:
    """Read it as a spreadsheet does: UTF-8 by its mark, commas, CR LF."""
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_the_cut_list_has_each_pattern_with_its_sizes():
    patterns = kit_of_patterns()
    table = rows(cut_list_csv(patterns))

    assert [row["piece"] for row in table] == [p.id for p in patterns]
    for row, one in zip(table, patterns, strict=True):
        assert float(row["cut area mm2"]) == pytest.approx(one.cut.area, abs=0.05)
        assert float(row["length mm"]) == pytest.approx(
            one.cut.bounds[2] - one.cut.bounds[0], abs=0.05
        )
    assert float(table[0]["largest shear deg"]) > 40
    assert table[1]["largest shear deg"] == "0.0"


def test_the_cut_list_counts_every_kit_and_the_other_hand():
    once = rows(cut_list_csv(kit_of_patterns()))
    table = rows(cut_list_csv(kit_of_patterns(), kits=3, mirrored_kits=2))

    for before, row in zip(once, table, strict=True):
        count = int(row["in one kit"])
        assert (int(before["to cut"]), before["of these other hand"]) == (count, "0")
        assert int(row["to cut"]) == 5 * count
        assert int(row["of these other hand"]) == 2 * count


def test_the_stack_stands_in_laying_order():
    table = rows(stack_csv(full_sheet().stack))

    assert [row["ply"] for row in table] == ["1", "2", "3", "4"]
    assert table[1]["angle"] == "'+45°"
    assert float(table[0]["resin g"]) == pytest.approx(29.5)


@pytest.mark.parametrize(
    "name", ["=1+1", "+A1", "-2", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0", "＝1", " =1"]
)
def test_a_name_is_never_a_formula(name):
    """Signs to guard against: OWASP, "CSV Injection"."""
    table = rows(cut_list_csv([pattern(box(0, 0, 90, 70), part=name)]))

    assert table[0]["part"].startswith("'")
    assert table[0]["part"][1:] == " ".join(name.split())


@pytest.mark.parametrize("name", ['a,"b"\n"c', "Крышка, люка", "カヤック;"])
def test_names_with_commas_and_quotes_stay_in_their_cell(name):
    table = rows(cut_list_csv([pattern(box(0, 0, 90, 70), part=name)]))

    assert table[0]["part"] == " ".join(name.split())
    assert len(table) == 1


def test_numbers_stay_numbers():
    negative = pattern(box(0, 0, 90, 70), angle_deg=-45.0)

    assert rows(cut_list_csv([negative]))[0]["angle deg"] == "-45.0"
    assert harmless("outer skin") == "outer skin"
