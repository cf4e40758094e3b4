"""The shelf between jobs: booked once, written whole, never spoilt."""

from dataclasses import replace

import numpy as np
import pytest
from nest.cloths import blob, cloth, piece, rectangle, roll, simple, stock

from flatten.errors import InputError
from flatten.nest.nest import nest
from flatten.nest.roll import Defect, Offcut, Roll, Stock
from flatten.nest.stock import backup_of, book, read_stock, write_stock

FLAWS = (Defect(x_mm=100, y_mm=990, radius_mm=3), Defect(x_mm=4000, y_mm=500, radius_mm=30))
SHELF = Stock(
    rolls=(
        roll(1000, 5000, selvedge=10, defects=FLAWS, price_per_m=31.5),
        Roll(id="glass", fabric="glass", width_mm=1270),
    ),
    offcuts=(Offcut(id="rest", fabric="glass", outline=np.array(rectangle(400.0, 300))),),
)
PIECES = [piece("a", rectangle(600, 500)), piece("b", rectangle(400, 300))]


def same(one, other):
    """Offcuts hold arrays, which have no single answer to ==."""
    offcuts = [
        [(o.id, o.fabric, o.outline.tolist(), o.warp_deg) for o in shelf.offcuts]
        for shelf in (one, other)
    ]
    return one.rolls == other.rolls and offcuts[0] == offcuts[1]


def test_a_nest_takes_its_length_off_the_roll_and_adds_offcuts():
    found = nest(PIECES, cloth(), SHELF, simple(keep_offcut_mm=(150, 300)))

    after = book(SHELF, found)

    assert after.rolls[0].length_mm == pytest.approx(5000 - found.used_length_mm, abs=1e-9)
    assert after.rolls[1] == SHELF.rolls[1]
    new = [offcut for offcut in after.offcuts if offcut.fabric == "cloth"]
    assert len(new) == sum(len(sheet.kept) for sheet in found.sheets) > 0
    assert sum(o.laid_straight().area for o in new) == pytest.approx(found.account.kept_mm2)


def test_defects_move_with_the_free_end_and_go_with_the_piece_cut_off():
    found = nest(PIECES, cloth(), SHELF, simple())

    flaws = book(SHELF, found).rolls[0].defects

    assert [flaw.y_mm for flaw in flaws] == [500]
    assert flaws[0].x_mm == pytest.approx(4000 - found.used_length_mm)


def test_new_offcuts_take_pieces_of_the_next_job():
    """What was booked as left over is offered first the next time."""
    first = nest(PIECES, cloth(), SHELF, simple(keep_offcut_mm=(150, 300)))
    after = book(SHELF, first)

    asked = simple(seconds=0.5)
    second = nest([piece("small", rectangle(250, 140))], cloth(), after, asked)

    assert [sheet.kind for sheet in second.sheets] == ["offcut"]
    assert second.used_length_mm == 0
    left = {offcut.id for offcut in book(after, second).offcuts}
    assert second.sheets[0].stock_id not in left


def test_a_nest_cannot_be_booked_on_cloth_that_is_gone():
    found = nest(PIECES, cloth(), SHELF, simple())
    short = replace(SHELF, rolls=(replace(SHELF.rolls[0], length_mm=100), SHELF.rolls[1]))

    with pytest.raises(InputError, match="has 100 mm"):
        book(short, found)
    with pytest.raises(InputError, match="no roll 'roll'"):
        book(replace(SHELF, rolls=SHELF.rolls[1:]), found)


def test_the_file_gives_back_the_stock_and_keeps_the_state_before(tmp_path):
    path = tmp_path / "shop" / "stock.json"
    write_stock(path, SHELF)
    changed = replace(SHELF, offcuts=())

    write_stock(path, changed)

    assert same(read_stock(path), changed)
    assert same(read_stock(backup_of(path)), SHELF)
    assert sorted(p.name for p in path.parent.iterdir()) == ["stock.json", "stock.json.backup"]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "damaged"),
        (b'{"version": 1, "rolls": [', "damaged"),
        (b"\xff\xfe\x00", "damaged"),
        (b"[1, 2]", "no named fields"),
        (b'{"rolls": []}', "version is None"),
        (b'{"version": 2, "rolls": []}', "version is 2"),
        (b'{"version": 1, "shelf": []}', "unknown field 'shelf'"),
        (
            b'{"version": 1, "rolls": [{"id": "r", "fabric": "f", "width_mm": -5}]}',
            "width_mm is -5",
        ),
        (
            b'{"version": 1, "rolls": [{"id": "r", "fabric": "f", "width_mm": NaN}]}',
            "NaN is no number",
        ),
        (b'{"version": 1, "rolls": [{"id": "r", "fabric": "f", "width_mm": 1e999}]}', "width_mm"),
        (b'{"version": 1, "rolls": [{"id": "r", "fabric": "f"}]}', "lacks the field 'width_mm'"),
        (b"[" * 100_000, "damaged"),
    ],
)
def test_a_corrupt_file_is_named_and_left_as_it_is(tmp_path, content, reason):
    path = tmp_path / "stock.json"
    path.write_bytes(content)

    with pytest.raises(InputError, match=reason):
        read_stock(path)
    with pytest.raises(InputError, match=reason):
        write_stock(path, SHELF)

    assert path.read_bytes() == content
    assert [p.name for p in tmp_path.iterdir()] == ["stock.json"]


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"'none.json' is not there"):
        read_stock(tmp_path / "none.json")


def test_a_write_that_breaks_off_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "stock.json"
    write_stock(path, SHELF)
    before = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("flatten.folder.os.replace", full)
    with pytest.raises(InputError, match="No space left"):
        write_stock(path, replace(SHELF, offcuts=()))

    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["stock.json"]


def test_blobs_leave_offcuts_that_are_really_free():
    """No new offcut touches a piece: areas of the overlaps are zero."""
    pieces = [piece(f"b{n}", blob(n, 150)) for n in range(6)]
    shapes = {p.id: p.polygon for p in pieces}

    found = nest(pieces, cloth(), stock(), simple(gap_mm=4, keep_offcut_mm=(60, 80)))

    sheet = found.sheets[0]
    laid = [place.outline_on_cloth(shapes[place.piece]) for place in sheet.placements]
    assert len(sheet.kept) >= 2
    for number, kept in enumerate(sheet.kept):
        area = piece("kept", rectangle(kept[3] - kept[1], kept[4] - kept[2], *kept[1:3])).polygon
        assert min(area.distance(shape) for shape in laid) >= 4 - 0.05
        others = [rectangle(k[3] - k[1], k[4] - k[2], *k[1:3]) for k in sheet.kept[number + 1 :]]
        assert all(piece("o", other).polygon.intersection(area).area < 1e-6 for other in others)
