"""Chains: pieces that share straight edges side by side, one cut instead of two and a gap."""

import pytest
from nest.cloths import blob, cloth, piece, rectangle, roll, searched, simple, stock
from shapely import Polygon

from flatten.nest.chains import MOST, chained
from flatten.nest.check import check_nest
from flatten.nest.nest import nest
from flatten.nest.part import parts_of

WIDE = 1000.0


def fits(part):
    x0, y0, x1, y1 = part.outline.bounds
    return y1 - y0 <= WIDE and x1 - x0 <= WIDE


def chains_of(pieces, gap=20.0, fabric=None, fits=fits):
    return chained(parts_of(pieces, fabric or cloth(), simple()), gap, fits)


def copies(parts):
    """Count every piece in all parts."""
    return sum(len(part.members) * part.count for part in parts)


def test_slats_make_chains_as_wide_as_the_roll():
    """Thirteen 300 x 150: two chains of six are 900 mm wide each, a seventh would not fit."""
    found = chains_of([piece("slat", rectangle(300, 150), 13)])

    assert [(len(part.members), part.count) for part in found] == [(6, 2), (1, 1)]
    assert found[0].outline.area == pytest.approx(6 * 300 * 150, rel=1e-9)
    assert sorted(found[0].outline.bounds[3:]) == [pytest.approx(450)]


def test_different_pieces_with_equal_edges_are_chained():
    """A slat and a trapezium with a side of 300 mm; the square has no equal edge."""
    pieces = [
        piece("slat", rectangle(300, 150), 2),
        piece("trapezium", [(0, 0), (300, 0), (240, 80), (60, 80)]),
        piece("square", rectangle(100, 100)),
    ]

    chain, single = chains_of(pieces)

    assert sorted(member.piece for member in chain.members) == ["slat", "slat", "trapezium"]
    assert chain.area_mm2 == pytest.approx(2 * 300 * 150 + 0.5 * (300 + 180) * 80)
    assert chain.outline.area == pytest.approx(chain.area_mm2, rel=1e-6)
    assert [member.piece for member in single.members] == ["square"]


def test_edges_along_and_across_only_meet_where_the_cloth_may_be_turned_so():
    """One bar's long edge is along the warp, the other's across: only balanced cloth turns it."""
    pieces = [piece("along", rectangle(300, 90)), piece("across", rectangle(90, 300))]

    assert len(chains_of(pieces)) == 2
    (chain,) = chains_of(pieces, fabric=cloth("weave", balanced=True))
    turns = sorted(member.angle_deg % 180 for member in chain.members)
    assert turns == [0, 90]


def test_no_piece_is_lost_and_round_ones_stay_alone():
    pieces = [piece("slat", rectangle(210, 60), 41), piece("blob", blob(2), 3)]

    found = chains_of(pieces)

    assert copies(found) == 44
    assert max(len(part.members) for part in found) <= MOST
    assert [(len(p.members), p.count) for p in found if p.members[0].piece == "blob"] == [(1, 3)]


def test_once_the_time_is_up_the_rest_stays_single():
    asked = []
    parts = parts_of(
        [piece("slat", rectangle(300, 150), 6), piece("b", blob(1), 2)], cloth(), simple()
    )

    found = chained(parts, 20.0, fits, lambda: asked.append(1) or len(asked) < 2)

    assert sorted((len(part.members), part.count) for part in found) == [(1, 2), (6, 1)]


def test_a_chain_keeps_the_gap_but_at_its_common_edges():
    """Hooks whose lugs would come nearer than the gap are not chained there."""
    hook = [(0, 0), (300, 0), (300, 60), (320, 60), (320, 90), (300, 90), (300, 150), (0, 150)]

    for part in chains_of([piece("hook", hook, 4)], gap=30.0):
        assert part.outline.area == pytest.approx(len(part.members) * Polygon(hook).area, rel=1e-6)


def test_chains_of_different_pieces_pass_the_check_and_save_cloth():
    """Six strips of three widths across 920 mm, gap 20: five gaps are 100 mm, none is left."""
    pieces = [piece(f"strip {w}", rectangle(300, w), 2) for w in (110, 150, 200)]
    shelf = stock(roll(921))
    asked = searched(2, gap_mm=20, common_edges=True)

    apart = nest(pieces, cloth(), shelf, searched(1, gap_mm=20))
    butted = nest(pieces, cloth(), shelf, asked)

    assert apart.used_length_mm > 600
    assert butted.used_length_mm == pytest.approx(320, abs=1)
    assert check_nest(butted, pieces, cloth(), shelf, asked) == []
