"""Smoothing never cuts into a piece; slits stay in the trim; one template for identical pieces."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pattern.pieces import laid, piece
from pattern.test_allowance import of_polygon
from pattern.test_dress import ASKED, hook
from shapely import Point, Polygon

from flatten.pattern.alike import alike
from flatten.pattern.allowance import allowance
from flatten.pattern.dress import dress
from flatten.pattern.outline import outline
from flatten.pattern.smooth import smooth_outward
from flatten.pattern.snips import SHORT_OF_NET_MM, relief_slits


@given(st.integers(0, 10_000), st.floats(0.005, 0.2))
def test_smoothing_stays_outside_and_within(seed, within):
    """A wavy ring: the smooth one covers it, leaves it by no more than told, and has less."""
    rng = np.random.default_rng(seed)
    angle = 2 * np.pi * np.arange(200) / 200
    radius = 80 + 8 * np.cos(3 * angle) + rng.uniform(-0.03, 0.03, 200)
    ring = Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))

    smooth = smooth_outward(ring, within)

    assert smooth.buffer(1e-6).contains(ring)
    assert ring.exterior.hausdorff_distance(smooth.exterior) <= within + 0.03
    assert ring.buffer(within + 1e-6).contains(smooth)
    assert len(smooth.exterior.coords) <= len(ring.exterior.coords)


def test_points_of_an_outward_arc_are_kept():
    """They are what a cutter turns back into a true arc."""
    disc = Point(0, 0).buffer(50, quad_segs=32)

    assert smooth_outward(disc, 0.05).equals(disc)


def test_jitter_on_a_straight_edge_goes():
    x = np.linspace(0, 100, 51)
    dent = 0.02 * (np.arange(51) % 2)
    dent[[0, -1]] = 0
    ring = Polygon([*zip(x, dent, strict=True), (100, 60), (0, 60)])

    assert len(smooth_outward(ring, 0.05).exterior.coords) == 5


def test_trim_round_a_tight_opening_is_slit_short_of_the_net():
    """A 25 mm round opening, 15 mm trim: a slit for each 30 degrees, none nearer than 3 mm."""
    plate = Polygon(
        [(-90, -90), (90, -90), (90, 90), (-90, 90)],
        [np.array(Point(0, 0).buffer(25, quad_segs=18).exterior.coords)[::-1]],
    )
    patch = of_polygon(plate)
    shape = outline(patch, laid(patch))

    slits = relief_slits(shape, 15)
    cut = allowance(shape, trim_mm=15, lap_mm=0, relieve=True)

    assert 10 <= len(slits) <= 12
    assert min(slit.distance(shape.net) for slit in slits) >= SHORT_OF_NET_MM - 1e-3
    assert cut.contains(shape.net)
    assert cut.interiors[0].length > 2 * np.pi * 10 + 10 * 2 * 11


def test_wide_curves_and_straight_edges_are_not_slit():
    plate = Polygon(
        [(-290, -290), (290, -290), (290, 290), (-290, 290)],
        [np.array(Point(0, 0).buffer(120, quad_segs=32).exterior.coords)[::-1]],
    )
    patch = of_polygon(plate)

    assert relief_slits(outline(patch, laid(patch)), 15) == []


def test_an_inner_corner_is_slit_once():
    """The L has one inner corner of 90 degrees."""
    patch = hook()

    assert len(relief_slits(outline(patch, laid(patch)), 15)) == 1


def test_a_mirror_image_is_not_the_same_piece():
    """The same L, turned by half a turn, shares the template; mirrored it does not."""
    one = dress(hook(), laid(hook()), **ASKED)
    patch = hook()
    turned = dress(patch, laid(patch, -patch.surface.vertices[:, :2]), **ASKED)
    mirrored = dress(hook(-1), laid(hook(-1)), **ASKED)

    assert alike(one, turned)
    assert not alike(one, mirrored)


def test_a_piece_of_another_length_is_not_the_same():
    one = dress(hook(), laid(hook()), **ASKED)
    patch = hook()
    longer = piece(patch.surface.vertices * [1.003, 1, 1], patch.surface.faces)

    assert not alike(one, dress(longer, laid(longer), **ASKED))


def test_a_slit_takes_no_more_than_the_kerf():
    """A slit is as wide as the knife's kerf, so that the outline stays valid."""
    patch = hook()
    shape = outline(patch, laid(patch))
    whole = allowance(shape, trim_mm=15, lap_mm=0)
    slit = allowance(shape, trim_mm=15, lap_mm=0, relieve=True)

    assert slit.is_valid
    taken = whole.area - slit.area
    assert taken == pytest.approx(0.2 * (15 * np.sqrt(2) - 3), rel=0.1)
