"""Offcuts before rolls, rolls that end, flaws, common edges, and life without the library.

Longer than most files: stock of every kind, one plan each.
"""

import importlib.util
import json
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from nest.cloths import blob, cloth, piece, rectangle, roll, searched, simple, stock
from shapely import Point, Polygon

import flatten
from flatten.nest.check import check_nest
from flatten.nest.child import whole_seconds
from flatten.nest.clock import Clock
from flatten.nest.improve import _best
from flatten.nest.nest import nest
from flatten.nest.pairs import paired
from flatten.nest.part import Spot, parts_of, reach
from flatten.nest.plan import Plan, offcut_bin, roll_bin
from flatten.nest.roll import Defect, Offcut
from flatten.nest.search import StripSearch
from flatten.nest.shelf import Strip, lying_turn, shelve
from flatten.nest.strips import StripLayer
from flatten.nest.what_if import what_if

BLOBS = [piece(f"blob {seed}", blob(seed, 60 + 12 * seed)) for seed in range(12)]


def offcut(name, outline, warp_deg=0.0):
    outline = np.array(outline, float)
    return Offcut(id=name, fabric="cloth", outline=outline, warp_deg=warp_deg)


def test_offcuts_are_used_first_and_save_roll():
    """The same pieces with and without two offcuts, one of them odd and lying across."""
    odd = offcut("odd", [(0, 0), (420, 0), (420, 300), (200, 450), (0, 450)], 90)
    without = nest(BLOBS, cloth(), stock(), searched(1))
    shelf = stock(offcuts=(offcut("rest", rectangle(500, 350)), odd))
    asked = searched(3)

    found = nest(BLOBS, cloth(), shelf, asked)

    assert {sheet.stock_id for sheet in found.sheets} == {"rest", "odd", "roll"}
    assert found.used_length_mm < without.used_length_mm - 30
    assert check_nest(found, BLOBS, cloth(), shelf, asked) == []
    cloth_used = found.used_length_mm * 1000 + 500 * 350 + Polygon(odd.outline).area
    assert found.account.cloth_mm2 == pytest.approx(cloth_used)


def test_a_search_never_makes_a_layout_longer():
    """Nine 500 x 410 in three columns fill 1230 exactly: 1500 mm, which no search improves on."""
    pieces = [piece("tile", rectangle(500, 410), 9)]

    found = nest(pieces, cloth(), stock(roll(1230)), searched(1.2, gap_mm=0))

    assert found.used_length_mm == pytest.approx(1500, abs=0.01)


def test_the_plan_that_takes_least_new_cloth_is_taken():
    """Missing pieces weigh most, then roll area, then offcut area; the earlier of equals."""
    parts = tuple(parts_of([piece("a", rectangle(300, 200), 2)], cloth(), simple()))
    bins = (offcut_bin(offcut("o", rectangle(400, 300))), roll_bin(roll()))
    near, far = Spot(0, 0.0, 0.0, 0.0), Spot(0, 300.0, 0.0, 0.0)
    beside = Spot(0, 0.0, 200.0, 0.0)
    short = Plan(parts=parts, bins=bins, spots=((), (near, beside)))
    long = Plan(parts=parts, bins=bins, spots=((), (near, far)))
    on_offcut = Plan(parts=parts, bins=bins, spots=((near,), (near,)))
    lacking = Plan(parts=parts, bins=bins, spots=((), (near,)), left=(1,))

    assert short.taken(0) == (0, 300_000, 0)
    assert on_offcut.taken(0) == (0, 300_000, 120_000)
    assert _best([lacking, long, short, on_offcut], 0) is short


def test_an_offcut_no_piece_fits_is_left_alone():
    shelf = stock(offcuts=(offcut("strip", rectangle(900, 40)),))

    found = nest(BLOBS, cloth(), shelf, searched(0.8))

    assert [sheet.stock_id for sheet in found.sheets] == ["roll"]


def test_rolls_are_used_up_in_their_order():
    shelf = stock(roll(1000, 450, id="end"), roll(800, 500, id="short"), roll(1000, id="new"))
    asked = searched(3)

    found = nest(BLOBS, cloth(), shelf, asked)

    assert [sheet.stock_id for sheet in found.sheets][:2] == ["end", "short"]
    lengths = {sheet.stock_id: sheet.used_length_mm for sheet in found.sheets}
    assert lengths["end"] <= 450
    assert lengths["short"] <= 500
    assert check_nest(found, BLOBS, cloth(), shelf, asked) == []


def test_pieces_keep_off_flaws():
    flaws = (
        Defect(x_mm=300, y_mm=400, radius_mm=30),
        Defect(x_mm=600, y_mm=1000, radius_mm=80),
        Defect(x_mm=9000, y_mm=0, radius_mm=80),
    )
    asked = searched(1.5)
    shelf = stock(roll(1000, defects=flaws))

    found = nest(BLOBS, cloth(), shelf, asked)

    shapes = {p.id: p.polygon for p in BLOBS}
    laid = [p.outline_on_cloth(shapes[p.piece]) for p in found.sheets[0].placements]
    for flaw in flaws:
        near = min(shape.distance(Point(flaw.x_mm, flaw.y_mm)) for shape in laid)
        assert near >= flaw.radius_mm
    assert found.used_length_mm < 2000


def test_a_common_edge_saves_the_gap():
    """Six 300 x 150 rectangles across 920 mm, gap 20: five gaps are 100, two are 40 mm."""
    pieces = [piece("slat", rectangle(300, 150), 6)]
    shelf = stock(roll(961))

    apart = nest(pieces, cloth(), shelf, searched(1, gap_mm=20))
    butted = nest(pieces, cloth(), shelf, searched(1.5, gap_mm=20, common_edges=True))

    assert apart.used_length_mm > 600
    assert butted.used_length_mm == pytest.approx(320, abs=1)
    assert check_nest(butted, pieces, cloth(), shelf, searched(gap_mm=20, common_edges=True)) == []


def test_pairs_share_their_longest_straight_edge():
    """Two right triangles along the hypotenuse are a rectangle of twice the area."""
    wedge = [piece("wedge", [(0, 0), (400, 0), (0, 300)], 3)]

    pair, single = paired(parts_of(wedge, cloth(), simple()), 10.0)

    assert (len(pair.members), pair.count, single.count) == (2, 1, 1)
    assert pair.outline.area == pytest.approx(400 * 300, rel=1e-6)
    assert pair.outline.bounds == pytest.approx((0, 0, 400, 300), abs=1e-3)


@pytest.mark.parametrize("gap", [0.0, 8.0])
def test_an_edge_with_something_in_its_way_is_not_shared(gap):
    """A trough with a lug: two copies along the trough's floor, its longest edge, would collide."""
    lug = [(0, 0), (150, 0), (150, -30), (180, -30), (180, 0), (400, 0)]
    trough = [(400, 100), (390, 100), (390, 50), (30, 50), (30, 100), (0, 100)]
    outline = Polygon(lug + trough)

    for part in paired(parts_of([piece("hook", outline, 2)], cloth(), simple()), gap):
        assert part.outline.area <= len(part.members) * outline.area + 1
        assert part.area_mm2 == pytest.approx(len(part.members) * outline.area)
        assert part.outline.area >= len(part.members) * outline.area - 1


def test_round_pieces_have_no_common_edge():
    some = parts_of([piece("blob", blob(1), 4)], cloth(), simple())

    assert paired(some, 5.0) == some


def test_many_pieces_are_searched_in_chunks(monkeypatch):
    monkeypatch.setattr("flatten.nest.strips.WHOLE_UP_TO", 20)
    some = parts_of(BLOBS, cloth(), searched(kits=3))
    layer = StripLayer(searched(kits=3, chunk=12))
    started = []
    original = StripSearch.__init__

    def counted(self, parts, counts, *args, **more):
        started.append(sum(counts))
        original(self, parts, counts, *args, **more)

    monkeypatch.setattr(StripSearch, "__init__", counted)

    spots = layer.lay(some, [3] * 12, Strip(low_y=0.0, high_y=1000.0), Clock(2.5))

    assert set(started) == {12}
    assert sorted(spot.part for spot in spots) == sorted([*range(12)] * 3)
    shapes = [some[spot.part].at(spot) for spot in spots]
    assert min(a.distance(b) for i, a in enumerate(shapes) for b in shapes[:i]) >= 2.99
    area = sum(part.area_mm2 for part in some) * 3
    assert area / reach(some, spots) / 1000 > 0.6


def test_without_the_library_a_plain_layout_stands_and_says_so(monkeypatch):
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "spyrrow" else find(name)
    )
    asked = searched(1)

    found = nest(BLOBS, cloth(), stock(), asked)

    plain = nest(BLOBS, cloth(), stock(), simple(gap_mm=3))
    assert "nesting library is not installed" in found.notes[0]
    assert check_nest(found, BLOBS, cloth(), stock(), asked) == []
    assert found.used_length_mm < plain.used_length_mm


def test_a_library_that_gives_up_is_named_and_the_layout_stands(monkeypatch, tmp_path):
    broken = tmp_path / "child.py"
    broken.write_text("raise SystemExit('the library is of another platform')")
    monkeypatch.setattr("flatten.nest.search.CHILD", broken)
    asked = searched(2)

    found = nest(BLOBS, cloth(), stock(), asked)

    assert "another platform" in found.notes[0]
    assert check_nest(found, BLOBS, cloth(), stock(), asked) == []


def test_a_library_that_is_slow_is_waited_for_once(monkeypatch, tmp_path):
    """Three rolls, an offcut and pairs are many strips; the grace is one for all of them."""
    slow = tmp_path / "child.py"
    slow.write_text("import time; time.sleep(60)")
    monkeypatch.setattr("flatten.nest.search.CHILD", slow)
    monkeypatch.setattr("flatten.nest.strips.GRACE_SECONDS", 1.5)
    rolls = (roll(1000, 450, id="end"), roll(800, 500, id="short"), roll(1000, id="new"))
    shelf = stock(*rolls, offcuts=(offcut("rest", rectangle(500, 350)),))
    asked = searched(0.5, common_edges=True)
    started = time.monotonic()

    found = nest([*BLOBS, piece("slat", rectangle(300, 90), 6)], cloth(), shelf, asked)

    assert time.monotonic() - started < 0.5 + 1.5 + 2.0  # two for what is done without a search
    assert sum(len(sheet.placements) for sheet in found.sheets) == 18


def test_the_library_is_given_the_seconds_there_are():
    """It wants whole ones: never more than half a second too few, a fifth for compressing."""
    for left in np.arange(2.0, 61.0, 0.05):
        explore, compress = whole_seconds(left)

        assert abs(explore + compress - left) <= 0.5 + 1e-9
        assert abs(compress - 0.2 * left) <= max(0.5, 1 - 0.2 * left) + 1e-9


def test_a_shelf_looks_only_at_parts_it_is_to_lay(monkeypatch):
    """A chunk of 50 of 1000 pieces must not take the time of 1000."""
    some = parts_of(BLOBS, cloth(), simple())
    looked = []
    monkeypatch.setattr(
        "flatten.nest.shelf.lying_turn",
        lambda part, height: looked.append(part) or lying_turn(part, height),
    )

    spots, _ = shelve(some, [0] * 10 + [1, 0], Strip(low_y=0.0, high_y=1000.0), 3.0)

    assert [spot.part for spot in spots] == [10]
    assert {id(part) for part in looked} == {id(some[10])}


def test_a_searched_strip_starts_at_the_cut_end_and_the_margin():
    some = parts_of(BLOBS, cloth(), searched())
    strip = Strip(low_y=12.0, high_y=900.0)

    with StripSearch(some, [1] * 12, strip, gap=3, seconds=30, seed=1, workers=1) as search:
        while search.poll() and search.best is None:
            time.sleep(0.02)

    boxes = np.array([some[spot.part].at(spot).bounds for spot in search.best])
    assert boxes[:, :2].min(axis=0) == pytest.approx([0, 12], abs=1e-6)
    assert boxes[:, 3].max() <= 900 + 1e-6


def test_no_process_and_no_folder_is_left_behind(monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    some = parts_of(BLOBS, cloth(), searched())
    strip = Strip(low_y=0.0, high_y=1000.0)

    with StripSearch(some, [1] * 12, strip, gap=3, seconds=30, seed=1, workers=1) as search:
        process = search._process
        assert len(list(tmp_path.iterdir())) == 1

    assert process.poll() is not None
    assert list(tmp_path.iterdir()) == []


def test_the_search_ends_when_the_program_that_started_it_is_gone(tmp_path):
    """A worker may be killed from outside; its search must not run on alone."""
    code = f"""
import os, sys, tempfile
sys.path[:0] = {[str(Path(flatten.__file__).parents[1]), str(Path(__file__).parents[1])]!r}
tempfile.tempdir = {str(tmp_path)!r}
from nest.cloths import blob, piece, cloth, searched
from flatten.nest.part import parts_of
from flatten.nest.search import StripSearch
from flatten.nest.shelf import Strip, lying_turn, shelve
parts = parts_of([piece("b", blob(1), 9)], cloth(), searched())
strip = Strip(low_y=0.0, high_y=900.0)
search = StripSearch(parts, [9], strip, gap=3, seconds=60, seed=1, workers=1)
while search.poll() and search.best is None:
    pass
print(search._process.pid, flush=True)
os._exit(9)
"""
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert run.returncode == 9, run.stderr

    ends = time.monotonic() + 10
    while any(tmp_path.iterdir()) and time.monotonic() < ends:
        time.sleep(0.05)

    assert list(tmp_path.iterdir()) == []


def test_it_works_wherever_the_package_lies(tmp_path):
    """Inside an add-on the engine is x.y.flatten: only relative imports and paths may be used."""
    inner = tmp_path / "shop" / "addon"
    shutil.copytree(
        Path(flatten.__file__).parent,
        inner / "flatten",
        ignore=shutil.ignore_patterns("__pycache__"),
    )
    code = """
import json
from shop.addon.flatten.cloth.fabric import Fabric
from shop.addon.flatten.nest.nest import nest
from shop.addon.flatten.nest.piece import NestPiece
from shop.addon.flatten.nest.roll import Roll, Stock
from shop.addon.flatten.nest.settings import NestSettings
mat = Fabric(id="m", name="m", kind="mat", areal_weight_gsm=300, fibre_density_g_cm3=2.5,
             dry_thickness_mm=0.6, roll_width_mm=1000)
wedge = NestPiece(id="wedge", outline=[(0, 0), (700, 0), (0, 500)], fabric="m", count=4)
found = nest([wedge], mat, Stock(rolls=(Roll(id="r", fabric="m", width_mm=1000),)),
             NestSettings(seconds=1))
print(json.dumps([found.method, found.notes]))
"""
    path = [str(tmp_path), *(entry for entry in sys.path if "site-packages" in entry)]

    run = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env={"PYTHONPATH": ":".join(path), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert run.returncode == 0, run.stderr
    assert json.loads(run.stdout) == ["searched", []]


def test_what_if_sets_widths_and_kits_side_by_side():
    """Rectangles of half the width tile 1000 mm; on 1500 a third column fits; 400 is too narrow."""
    pieces = [piece("half", rectangle(250, 500), 6)]

    rows = what_if(
        pieces,
        cloth(),
        simple(),
        widths_mm=(400, 1000, 1500),
        kits=(1, 2),
        prices_per_m={1000: 20.0, 1500: 36.0},
        selvedge_mm=0,
    )

    assert [(row.width_mm, row.kits) for row in rows] == [
        (width, kits) for width in (400, 1000, 1500) for kits in (1, 2)
    ]
    assert rows[0].too_wide == ("half",)
    assert rows[0].length_mm is None
    assert [row.length_mm for row in rows[2:]] == pytest.approx([750, 1500, 500, 1000])
    assert [row.cost for row in rows[2:]] == pytest.approx([15, 30, 18, 36])
    assert max(row.waste_share for row in rows[2:]) == pytest.approx(0, abs=1e-6)
