"""Splices where darts are not enough, and over ragged regions: each is cut and draped again."""

from types import SimpleNamespace

import numpy as np
import pytest
from cloth.test_relief import TWILL, plane
from cloth.trays import tray

from flatten.cloth import relief, relief_part
from flatten.cloth.drape import drape_surface
from flatten.cloth.relief_part import _together, part_at_zones, width_proposals
from flatten.cloth.relief_proposal import Lie
from flatten.cloth.relief_zones import locked_zones
from flatten.cloth.strain import flat_areas
from flatten.errors import InputError
from flatten.surface.cut import cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.region import Region


def drape_part(part, tack, warp):
    return drape_surface(part, TWILL, tack_mm=tack, warp=warp, max_edge_mm=9)


def test_splices_along_threads_free_the_corners_of_a_tray():
    """They mirror, keep off the tack point, part the piece, and lock less than no cut does."""
    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=9)
    whole = drape_part(surface, np.zeros(3), np.array([1.0, 0, 0]))
    zones = locked_zones(whole, TWILL)

    parted = part_at_zones(whole, TWILL, [zone.centre for zone in zones], [], drape_part)

    before = sum(zone.locked_mm2 for zone in zones)
    assert sum(lie.locked_mm2 for lie in parted.lies) < 0.5 * before
    assert len(parted.drapes) == 3
    one, other = (np.abs(c.path[:, :2]).mean(axis=0) for c in parted.cuts)
    np.testing.assert_allclose(one, other, atol=4.5)  # half an edge: the mesh is no mirror image
    total = sum(np.abs(flat_areas(d.fine.flat, d.fine.surface.faces)).sum() for d in parted.drapes)
    assert total == pytest.approx(surface.areas.sum(), rel=0.02)


def test_a_thread_that_cannot_be_cut_along_leaves_the_others():
    """As one that runs along the rim for a while: the first that is tried is refused."""
    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=14)
    whole = drape_part(surface, np.zeros(3), np.array([1.0, 0, 0]))
    asked = []

    def drape(part, tack, warp):
        asked.append(part)
        if len(asked) == 1:
            raise InputError("It runs along the edge of the piece.", "Draw it clear of the edge.")
        return whole

    middles = [zone.centre for zone in locked_zones(whole, TWILL)]
    parted = part_at_zones(whole, TWILL, middles, [], drape)

    assert len(asked) == 1 + 3 * 3  # two threads each way part it in three; the first is refused
    assert parted.cuts


def test_a_splice_over_a_ragged_region_is_cut_where_the_rim_lets_it():
    """A 500 x 400 plate with steps in both ends and a bay: every part fits, none is refused."""
    surface = plane(500, 400, 40)
    middle = surface.corners.mean(axis=1)
    rng = np.random.default_rng(7)
    row = (middle[:, 1] // 10).astype(int)
    ragged = (middle[:, 0] > 12.5 * rng.integers(0, 4, 41)[row]) & (
        middle[:, 0] < 500 - 12.5 * rng.integers(0, 4, 41)[row]
    )
    bay = (np.abs(middle[:, 1] - 215) < 25) & (middle[:, 0] > 380)
    region = Region("ragged", np.flatnonzero(ragged & ~bay))
    mould = MouldMesh(surface.vertices, surface.faces)
    (patch,) = cut(mould, region)
    whole = drape_part(patch.surface, np.array([250.0, 200, 0]), np.array([1.0, 0, 0]))

    proposals = width_proposals(whole, TWILL, drape_part, usable_mm=300)

    assert proposals
    assert all(one.enough and one.accept_deg is None for one in proposals)
    parts = cut(mould, region, [one.cut for one in proposals])
    assert len(parts) >= 2
    for part in parts:
        used = part.surface.vertices[np.unique(part.surface.faces)]
        assert np.ptp(used[:, 1]) <= 300 - TWILL.lap_mm
    for one in proposals:
        assert np.ptp(one.cut.path[:, 1]) < 1e-6  # straight, along the warp
        assert one.length_mm == pytest.approx(np.ptp(one.cut.path[:, 0]), abs=1e-6)


@pytest.mark.parametrize("refused", [{"splice-2"}, {"splice-1", "splice-2"}])
def test_a_splice_that_cannot_be_cut_is_left_out_and_it_is_said_why(refused, monkeypatch):
    """A plate of 400 mm takes two splices on a roll of 165; with one fewer it does not fit."""
    real = relief_part.cut

    def refusing(mould, region, cuts):
        for one in cuts:
            if one.id in refused:
                raise InputError(f"{one.id} leaves a sliver of cloth.", "Move it.")
        return real(mould, region, cuts)

    monkeypatch.setattr(relief_part, "cut", refusing)
    whole = drape_part(plane(400, 400, 40), np.array([200.0, 200, 0]), np.array([1.0, 0, 0]))

    if len(refused) == 2:
        with pytest.raises(InputError, match="splice-1 leaves a sliver"):
            width_proposals(whole, TWILL, drape_part, usable_mm=165)
        return
    found = width_proposals(whole, TWILL, drape_part, usable_mm=165)

    assert found
    assert not {one.cut.id for one in found} & refused
    assert not any(one.enough for one in found)
    assert all("splice-2 leaves a sliver" in one.message for one in found)


def test_where_darts_are_not_enough_the_cloth_is_parted_instead(monkeypatch):
    """Darts kept too short on purpose: splices free the corners, and say what they gain."""
    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=9)

    def too_short(mesh, orbits, fabric, drape, progress):
        for orbit in orbits:
            orbit.length_mm, orbit.enough = 3.0, False
        return drape(mesh)

    for search in ("find_lengths", "lengthen"):
        monkeypatch.setattr(relief, search, too_short)

    proposals = relief.propose_relief(
        surface, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=9, thorough=False
    )

    assert {one.cut.kind for one in proposals} == {"splice"}
    before = sum({id(one.before): one.before.locked_mm2 for one in proposals}.values())
    after = sum({id(one.after): one.after.locked_mm2 for one in proposals}.values())
    assert 0 <= after < 0.5 * before
    mould = MouldMesh(surface.vertices, surface.faces)
    parts = cut(mould, Region("tray", np.arange(len(surface.faces))), [p.cut for p in proposals])
    assert len(parts) == 3


@pytest.mark.parametrize(("locked_mm2", "kinds"), [(30.0, ["enough", "weak"]), (10.0, None)])
def test_splices_take_the_place_of_weak_darts_only_where_they_leave_less_locked(
    locked_mm2, kinds, monkeypatch
):
    """A weak dart leaves 20 mm2; one that is enough stays either way."""
    enough, weak = (
        SimpleNamespace(
            enough=name == "enough",
            faces=(),
            cut=name,
            set_number=number,
            after=SimpleNamespace(locked_mm2=20.0 * number),
        )
        for number, name in enumerate(("enough", "weak"))
    )
    parted = SimpleNamespace(drapes=[SimpleNamespace(converged=True)])
    splice = SimpleNamespace(cut="splice", after=SimpleNamespace(locked_mm2=locked_mm2))
    monkeypatch.setattr(relief, "part_at_zones", lambda *_: parted)
    monkeypatch.setattr(relief, "splice_proposals", lambda *_: [splice])

    found = relief._parted(None, [enough, weak], True, TWILL, plane(), None)

    assert [one.cut for one in found] == (kinds or ["enough", "splice"])


def test_parts_beside_each_other_lock_together_and_the_worst_speaks_for_them():
    lies = [
        Lie(locked_mm2=30.0, locked_share=0.01, shear_deg=52.0, stretch=0.02),
        Lie(locked_mm2=12.0, locked_share=0.004, shear_deg=61.0, stretch=0.01),
    ]

    whole = _together(lies)

    assert (whole.locked_mm2, whole.locked_share) == (42.0, pytest.approx(0.014))
    assert (whole.shear_deg, whole.stretch) == (61.0, 0.02)


@pytest.mark.parametrize(("after_mm2", "made"), [(30.0, 0), (30.1, 0), (29.0, 1)])
def test_a_proposal_that_gains_nothing_is_not_made(after_mm2, made, monkeypatch):
    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=14)
    lies = [SimpleNamespace(locked_mm2=mm2) for mm2 in (30.0, after_mm2)]
    dart = SimpleNamespace(before=lies[0], after=lies[1])

    def lengths(mesh, orbits, *_):
        for orbit in orbits:
            orbit.length_mm, orbit.enough = 3.0, True
        return SimpleNamespace(converged=True)

    for search in ("find_lengths", "lengthen"):
        monkeypatch.setattr(relief, search, lengths)
    monkeypatch.setattr(relief, "_accepted", lambda *_: ([dart], True))

    proposals = relief.propose_relief(
        surface, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=14, thorough=False
    )

    assert len(proposals) == made
