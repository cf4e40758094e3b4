"""Proposed darts: none where the cloth lies down; mirror images together; they do what they say.

Longer than most files: one search, asked on every kind of part.
"""

from dataclasses import replace

import numpy as np
import pytest
from cloth.trays import tray
from scipy.spatial import Delaunay
from shapes import cap, sheet

from flatten.cloth.drape import drape_surface
from flatten.cloth.fabric import Fabric
from flatten.cloth.relief import propose_relief
from flatten.cloth.relief_length import next_length
from flatten.cloth.relief_line import DartLine, shortest_to_rim, slit
from flatten.cloth.relief_proposal import lies_of
from flatten.cloth.relief_search import passed_by
from flatten.cloth.relief_splice import propose_splice
from flatten.errors import Cancelled
from flatten.surface.cut import Cut, cut
from flatten.surface.geodesic import Tracer, closest_point
from flatten.surface.mesh import MouldMesh
from flatten.surface.region import Region

NO_TIPS = np.zeros((0, 3))
TWILL = Fabric(
    id="twill",
    name="twill",
    kind="weave",
    areal_weight_gsm=200,
    fibre_density_g_cm3=1.78,
    dry_thickness_mm=0.22,
    roll_width_mm=300,
    shear_warn_deg=40,
    shear_lock_deg=50,
    balanced=True,
)


def plane(width=100.0, depth=60.0, cells=20):
    return sheet(
        lambda u, v: (u, v, 0 * u),
        np.linspace(0, width, cells + 1),
        np.linspace(0, depth, cells + 1),
    )


def test_no_darts_where_the_cloth_lies_down():
    assert propose_relief(plane(), TWILL, tack_mm=(50, 30, 0), warp=(1, 0, 0)) == []


SHARES: list[float] = []


@pytest.fixture(scope="module")
def tray_darts():
    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=9)
    darts = propose_relief(
        surface,
        TWILL,
        tack_mm=(0, 0, 0),
        warp=(1, 0, 0),
        max_edge_mm=9,
        thorough=False,
        progress=lambda share, what: SHARES.append(share),
    )
    return surface, darts


def test_a_stop_is_heard_in_the_middle_of_a_drape():
    """At its fourth word it is still laying the cloth for the first time."""
    heard = []

    def stop(share, what):
        heard.append(what)
        if len(heard) == 4:
            raise Cancelled

    surface = tray(length=160, width=110, depth=40, corner=20, fillet=6, edge_mm=9)
    with pytest.raises(Cancelled):
        propose_relief(surface, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), progress=stop)
    assert not any("with darts" in what for what in heard)


def test_the_share_done_never_runs_back(tray_darts):
    """It is told at every step of every drape: a dozen drapes of several steps each."""
    assert tray_darts
    assert sorted(SHARES) == SHARES
    assert SHARES[-1] == 1.0
    assert len(SHARES) > 60


def test_a_tray_gets_one_dart_a_corner_and_mirror_images_agree(tray_darts):
    """The tray repeats over both its middle planes, so the four darts are one dart mirrored."""
    _, darts = tray_darts

    assert len(darts) == 4
    assert {dart.set_number for dart in darts} == {1}
    starts = np.array([dart.cut.path[0] for dart in darts])
    tips = np.array([dart.cut.path[-1] for dart in darts])
    for points in (starts, tips):
        spread = np.ptp(np.abs(points), axis=0)
        assert (spread < 0.5).all()
    assert {dart.cut.under for dart in darts} == {"left", "right"}


def test_accepted_darts_let_the_cloth_lie_down(tray_darts):
    """Cut along the proposed paths and draped once more, by the road an accepted cut takes."""
    surface, darts = tray_darts
    mould = MouldMesh(surface.vertices, surface.faces)
    region = Region("tray", np.arange(len(surface.faces)))

    (patch,) = cut(mould, region, [dart.cut for dart in darts])
    drape = drape_surface(patch.surface, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=9)

    fine = drape.fine
    corners = fine.flat[fine.surface.faces]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = 0.5 * np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    middle = fine.surface.corners.mean(axis=1)
    clear = np.ones(len(area), bool)
    for dart in darts:
        clear &= np.linalg.norm(middle - dart.cut.path[-1], axis=1) > 3
    locked = (np.abs(np.degrees(fine.strain[:, 2])) > 50) & clear
    assert area[locked].sum() <= 5e-4 * area.sum()
    assert sum(dart.before.locked_share for dart in darts) > 0.02
    shown = sum(dart.after.locked_mm2 for dart in darts)
    assert shown == pytest.approx(area[locked].sum(), abs=0.01)


def test_a_tray_that_only_just_jams_is_not_worse_for_its_darts():
    """Too shallow for threads to lie on each other once it is darted: the law of cloth changes
    between the two drapes, and what locks must fall all the same, at every dart."""
    surface = tray(length=160, width=110, depth=26, corner=20, fillet=6, edge_mm=9)

    darts = propose_relief(
        surface, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=9, thorough=False
    )

    (patch,) = cut(
        MouldMesh(surface.vertices, surface.faces),
        Region("tray", np.arange(len(surface.faces))),
        [dart.cut for dart in darts],
    )
    whole, darted = (
        drape_surface(part, TWILL, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=9)
        for part in (surface, patch.surface)
    )
    middles, tips = [d.cut.path[0] for d in darts], np.array([d.cut.path[-1] for d in darts])
    before = lies_of([whole], TWILL, middles, NO_TIPS)
    after = lies_of([darted], TWILL, middles, tips)
    assert whole.locks
    assert not darted.locks
    for dart, without, with_cut in zip(darts, before, after, strict=True):
        assert with_cut.locked_mm2 < 0.05 * without.locked_mm2
        assert with_cut.locked_mm2 == pytest.approx(dart.after.locked_mm2, abs=0.01)


def test_a_proposal_says_what_it_gains_and_the_other_way_out(tray_darts):
    _, darts = tray_darts

    for dart in darts:
        assert dart.enough
        assert dart.after.locked_mm2 < 0.05 * dart.before.locked_mm2
        assert 50 < dart.accept_deg < 90
        assert f"accept up to {dart.accept_deg:.0f}° of shear" in dart.message
        assert dart.faces


def test_a_slit_is_straight_and_as_long_as_asked():
    """On a plane the straightest line to the rim is the perpendicular: 25 mm up from y = 35."""
    surface = plane()

    line = shortest_to_rim(surface, np.array([41.0, 35.0, 0.0]))
    opened, tip = slit(surface, line.trace(surface, 33.3))

    np.testing.assert_allclose(line.start, [41, 60, 0], atol=0.01)
    np.testing.assert_allclose(tip, [41, 60 - 33.3, 0], atol=0.5)
    assert opened.edges.boundary.sum() > surface.edges.boundary.sum()
    np.testing.assert_allclose(opened.areas.sum(), 6000, rtol=1e-12)


@pytest.mark.parametrize("inward", [(0, -1, 0), (-0.2, -1, 0), (0.3, -1, 0)])
def test_a_slit_from_a_corner_of_the_rim_folds_nothing(inward):
    """It sets out in a face with one corner on the rim and no edge: the first of those round it."""
    surface = plane()
    start = np.array([40.0, 60.0, 0.0])
    line = DartLine(start=start, inward=np.array(inward) / np.linalg.norm(inward))
    face = closest_point(surface, start).face
    assert not surface.edges.boundary[surface.edges.of_face[face]].any()

    opened, _ = slit(surface, line.trace(surface, 33.3))

    assert (opened.normals[:, 2] > 0).all()
    np.testing.assert_allclose(opened.areas.sum(), 6000, rtol=1e-12)
    (rim,) = opened.edges.boundary_loops(opened.faces)
    assert (opened.vertices[rim] == start).all(axis=1).sum() == 2  # it is parted there


def test_a_line_that_clips_a_corner_goes_on_straight():
    """On a plane it is a straight line, however near it passes to the vertices on its way."""
    rng = np.random.default_rng(4)
    points = np.vstack([rng.uniform(0, 100, (150, 2)), [[0, 0], [100, 0], [100, 100], [0, 100]]])
    faces = Delaunay(points).simplices
    corners = points[faces]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    faces = np.where((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] < 0)[:, None], faces[:, ::-1], faces)
    surface = MouldMesh(np.column_stack([points, 0 * points[:, 0]]), faces)
    start = closest_point(surface, np.array([50.0, 50.0, 0.0]))
    tracer = Tracer(surface)

    for aim in surface.vertices[:50]:
        away = aim - start.position
        for off_mm in (1e-7, 2e-7, 4e-7, 8e-7, 1.6e-6, -2e-7, -6e-7):
            heading = away + off_mm * np.array([-away[1], away[0], 0]) / np.linalg.norm(away)
            trace = tracer.trace(start, heading, longest_mm=500)
            heading = heading / np.linalg.norm(heading)
            stray = np.cross(trace.points - start.position, heading)[:, 2]
            assert np.abs(stray).max() < 1e-4
            assert trace.end == "boundary"


def test_a_dart_line_keeps_to_its_length_over_a_curve():
    """On a sphere the straightest line is a great circle: 0.5 R up from the equator."""
    surface = cap(100, 90, 40)
    line = DartLine(start=np.array([100.0, 0, 0]), inward=np.array([0, 0, 1.0]))

    trace = line.trace(surface, 50.0)

    exact = 100 * np.array([np.cos(0.5), 0, np.sin(0.5)])
    np.testing.assert_allclose(trace.points[-1], exact, atol=0.3)


def test_a_piece_too_wide_is_spliced_along_its_warp():
    """A 500 x 400 plate on a roll of 300 usable: two strips, parted off the tack point."""
    surface = plane(500, 400, 40)
    drape = drape_surface(surface, TWILL, tack_mm=(250, 200, 0), warp=(1, 0, 0))

    proposal = propose_splice(drape, TWILL, usable_mm=300)

    assert proposal.strips == 2
    assert max(proposal.widths_mm) <= 300
    assert sum(proposal.widths_mm) == pytest.approx(400 + TWILL.lap_mm)
    (one,) = proposal.cuts
    assert np.ptp(one.path[:, 1]) < 1e-6  # along the warp
    assert abs(one.path[0, 1] - 200) >= 15 - 1e-5  # off the tack point
    assert abs(np.ptp(one.path[:, 0]) - 500) < 1e-6
    pieces = cut(
        MouldMesh(surface.vertices, surface.faces),
        Region("plate", np.arange(len(surface.faces))),
        proposal.cuts,
    )
    assert len(pieces) == 2


def test_a_piece_that_fits_either_way_is_left_whole():
    """Warp and weft alike: 400 x 280 lies across a roll of 300."""
    surface = plane(280, 400, 30)
    drape = drape_surface(surface, TWILL, tack_mm=(140, 200, 0), warp=(1, 0, 0))

    assert propose_splice(drape, TWILL, usable_mm=300) is None
    assert propose_splice(drape, TWILL, usable_mm=270) is not None


def test_a_dart_is_found_from_above_where_its_line_reaches_zero():
    """Tries on an exact line, 2 degrees a millimetre from 40 mm on, end on 40 mm; an odd high
    value below it, as of a cloth that buckles, is not followed."""

    def excess(length):
        return 30.0 if length < 39.5 else 2.0 * (40.0 - length)

    for first in (33.0, 39.0, 42.0, 60.0):
        tried, length, done = [], first, False
        while not done:
            tried.append((length, excess(length)))
            length, done = next_length(tried, 100.0)
            assert len(tried) < 12
        assert length == pytest.approx(40.0, abs=1e-9)


def test_a_dart_as_long_as_may_be_that_never_lies_is_the_end():
    assert next_length([(100.0, 4.0)], 100.0) == (100.0, True)


def test_the_value_an_area_passes_does_not_depend_on_how_it_is_divided():
    """A ramp from 10 to 0 over 100 mm2: 30 mm2 lie above 7, in 50 faces or in 1000."""
    for count in (50, 1000):
        values = 10 * (1 - (np.arange(count) + 0.5) / count)
        area = np.full(count, 100 / count)
        assert passed_by(values, area, 30.0) == pytest.approx(7.0, abs=1e-9)


def test_accepting_the_shear_told_needs_no_cut(tray_darts):
    """A cloth that locks at the angle told lies down as it is; two degrees earlier it does not."""
    surface, darts = tray_darts
    told = max(dart.accept_deg for dart in darts)

    def proposed(lock_deg):
        cloth = replace(TWILL, shear_lock_deg=lock_deg)
        whole = drape_surface(surface, cloth, tack_mm=(0, 0, 0), warp=(1, 0, 0), max_edge_mm=9)
        return sum(lie.locked_share for lie in lies_of([whole], cloth, [np.zeros(3)], NO_TIPS))

    assert proposed(told) <= 5e-4
    assert proposed(told - 2) > 5e-4


def test_a_dart_starts_at_the_rim_and_not_at_a_cut_that_is_there():
    """A plate of 100 x 60 slit up to its middle: 8 mm beside the slit, the rim is 20 mm away."""
    plate = plane()
    slit_there = Cut(id="a", kind="dart", path=np.array([[50.0, 0, 0], [50, 40, 0]]))
    (patch,) = cut(
        MouldMesh(plate.vertices, plate.faces),
        Region("plate", np.arange(len(plate.faces))),
        [slit_there],
    )
    slits = patch.surface.vertices[patch.edge_vertices[patch.edge_joints >= 0]]
    middle = np.array([58.0, 20, 0])

    line = shortest_to_rim(patch.surface, middle, slits=slits)

    np.testing.assert_allclose(line.start, (58, 0, 0), atol=1e-3)
    nearest = shortest_to_rim(patch.surface, middle).start
    assert nearest[0] == pytest.approx(50)  # a side of the slit
    ahead = shortest_to_rim(patch.surface, np.array([52.0, 50, 0]), slits=slits).start
    np.testing.assert_allclose(ahead, (52, 60, 0), atol=1e-3)  # the slit would lead there, no more
