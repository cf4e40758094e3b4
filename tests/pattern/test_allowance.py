"""Allowances: against shapely on convex pieces, against closed form on circles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pattern.pieces import grid, laid, piece
from shapely import MultiPoint, Polygon, constrained_delaunay_triangles
from shapely.affinity import rotate

from flatten.errors import InputError
from flatten.pattern.allowance import allowance
from flatten.pattern.outline import outline


def of_polygon(polygon, kind_of=lambda a, b: ("trim", -1)):
    """A patch that fills a flat polygon."""
    corners = np.array(polygon.exterior.coords)[:-1]
    rings = [corners] + [np.array(ring.coords)[:-1] for ring in polygon.interiors]
    points = np.vstack(rings)
    number = {tuple(p): i for i, p in enumerate(points)}
    triangles = constrained_delaunay_triangles(polygon).geoms
    faces = []
    for triangle in triangles:
        ring = np.array(triangle.exterior.coords)[:-1]
        ring = ring if triangle.exterior.is_ccw else ring[::-1]
        faces.append([number[tuple(p)] for p in ring])
    return piece(np.column_stack([points, 0 * points[:, 0]]), faces, kind_of=kind_of)


def cut_of(polygon, *, trim=15.0, lap=25.0, corner="mitre", kind_of=lambda a, b: ("trim", -1)):
    patch = of_polygon(polygon, kind_of)
    return allowance(outline(patch, laid(patch)), trim_mm=trim, lap_mm=lap, corner=corner)


@given(st.lists(st.tuples(st.integers(-99, 99), st.integers(-99, 99)), min_size=5, max_size=30))
def test_convex_pieces_agree_with_shapely(points):
    """Source: shapely's own buffer (GEOS), round and mitred, an independent offset."""
    hull = MultiPoint(points).convex_hull
    if not isinstance(hull, Polygon) or hull.minimum_clearance < 0.5:
        return
    round_cut = cut_of(hull, corner="round")
    exact = hull.buffer(15, quad_segs=256)
    assert round_cut.buffer(0.021).contains(exact)  # chords of 0.02 mm height
    assert exact.buffer(1e-3).contains(round_cut)
    mitred = cut_of(hull)
    limited = hull.buffer(15, join_style="mitre", mitre_limit=2)
    assert mitred.symmetric_difference(limited).area <= 0.02 * limited.area
    if sharpest(hull) > np.radians(61):  # no corner reaches the limit: then exactly the same
        assert mitred.symmetric_difference(limited).area <= 1e-6 * limited.area


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 45.0, 57.0])
def test_strips_along_an_edge_leave_no_crack_between_them(turn_deg):
    """An L cut on the bias, its edges in steps of 5 mm: rounding must not slit the trim."""
    el = Polygon([(0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)]).segmentize(5.0)
    cut = cut_of(rotate(el, turn_deg, origin=(0, 0)))

    ring = np.array(cut.exterior.coords)[:-1]
    back, on = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    cosine = (back * on).sum(1) / np.linalg.norm(back, axis=1) / np.linalg.norm(on, axis=1)
    assert cosine.max() < 0.5  # nowhere does the knife turn back on itself
    # 100 + 100 + 60 + 60 + 40 + 40 mm of edge, five outer corners square, the inner one shared
    assert cut.area == pytest.approx(6400 + 400 * 15 + 4 * 15**2, rel=1e-9)


def sharpest(polygon):
    p = np.array(polygon.exterior.coords)[:-1]
    a, b = np.roll(p, 1, axis=0) - p, np.roll(p, -1, axis=0) - p
    cosine = (a * b).sum(1) / np.linalg.norm(a, axis=1) / np.linalg.norm(b, axis=1)
    return np.arccos(np.clip(cosine, -1, 1)).min()


@pytest.mark.parametrize("corner", ["mitre", "round"])
def test_a_disc_grows_by_the_trim(corner):
    """Closed form: an n-gon round R, mitred, is the n-gon round R + w: area ratio exact."""
    n, inradius = 180, 100.0
    angle = 2 * np.pi * np.arange(n) / n
    radius = inradius / np.cos(np.pi / n)
    disc = Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))

    cut = cut_of(disc, corner=corner)

    exact = n * np.tan(np.pi / n) * 115.0**2
    assert cut.area == pytest.approx(exact, rel=1e-9 if corner == "mitre" else 1e-5)


def test_a_round_opening_shrinks_by_the_trim():
    """Closed form: the hole's polygon of inradius 60 becomes one of inradius 45."""
    n = 90
    angle = 2 * np.pi * np.arange(n) / n
    ring = 60 * np.column_stack([np.cos(angle), np.sin(angle)])
    plate = Polygon([(-100, -100), (100, -100), (100, 100), (-100, 100)], [ring])

    cut = cut_of(plate)

    hole = Polygon(cut.interiors[0])
    inradius = 60 * np.cos(np.pi / n) - 15
    assert hole.area == pytest.approx(n * np.tan(np.pi / n) * inradius**2, rel=1e-6)


def joints(a, b):
    if a[0] == b[0] == 100:
        return "lap_over", 0
    if a[0] == b[0] == 0:
        return "lap_under", 1
    if a[1] == b[1] == 0:
        return "butt", 2
    return "trim", -1


def test_laps_stand_on_the_over_side_only():
    """A 100 x 80 plate: lap 25 right, bare left and below, trim 15 above, mitred."""
    plate = Polygon([(0, 0), (100, 0), (100, 80), (0, 80)])

    cut = cut_of(plate, corner="round", kind_of=joints)

    assert cut.bounds == pytest.approx((0, 0, 125, 95))
    assert cut.area == pytest.approx(125 * 95)


def test_trim_ends_on_the_continuation_of_a_butted_edge():
    """A butted edge at 60 degrees: the trim of both pieces must meet on its line, not cross."""
    lean = 80 / np.tan(np.radians(60))
    plate = Polygon([(0, 0), (100, 0), (100 + lean, 80), (0, 80)])

    def kind(a, b):
        return ("butt", 0) if a[0] > 99 and b[0] > 99 else ("trim", -1)

    cut = cut_of(plate, kind_of=kind)

    ahead = Polygon([(100, 0), (100 + lean, 80), (300, 80), (300, -200), (-16, -200)])
    line = Polygon([(100 - 1000, -1000 * np.sqrt(3)), (100 + 1000, 1000 * np.sqrt(3)), (1e4, 0)])
    assert cut.intersection(line).area == pytest.approx(0, abs=1e-6)
    assert ahead.area > 0
    assert cut.bounds[1] == pytest.approx(-15)


def test_a_lap_wider_than_the_piece_is_refused():
    """The lap of 25 mm lies on 20 mm of cloth. Along a strip it is no trouble."""
    narrow = Polygon([(80, 0), (100, 0), (100, 80), (80, 80)])
    with pytest.raises(InputError, match=r"lap is 25 mm, but the piece is only 20\.0 mm wide"):
        cut_of(narrow, kind_of=joints)
    cut_of(Polygon([(0, 0), (100, 0), (100, 20), (0, 20)]), kind_of=joints)


def test_the_draped_strip_is_part_of_the_cut():
    """A strip of the mould draped 20 mm past the net reaches further than the flat 15."""
    vertices, faces = grid(np.linspace(0, 120, 25), np.linspace(0, 100, 21))
    patch = piece(vertices, faces, inside=vertices[faces].mean(axis=1)[:, 0] < 100)
    shape = outline(patch, laid(patch))

    cut = allowance(shape, trim_mm=15, lap_mm=25)

    assert shape.net.area == pytest.approx(100 * 100)
    assert cut.bounds == pytest.approx((-15, -15, 120, 115))


@given(st.integers(0, 10_000), st.integers(5, 40), st.sampled_from(["mitre", "round"]))
def test_no_outline_ever_crosses_itself(seed, corners, corner):
    """Star-shaped pieces with deep notches and edges of all kinds, allowances up to their size.

    The cut line is valid, covers the net, and reaches out no further than a mitre may.
    """
    rng = np.random.default_rng(seed)
    angle = 2 * np.pi * (np.arange(corners) + rng.uniform(-0.3, 0.3, corners)) / corners
    radius = rng.uniform(20, 120, corners)
    star = Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    if not star.is_valid or star.minimum_clearance < 0.1:
        return
    kinds = rng.choice(["trim", "trim", "butt", "lap_under", "lap_over"], corners)
    edge = {tuple(np.round(p, 6)): i for i, p in enumerate(np.array(star.exterior.coords)[:-1])}

    def kind(a, b):
        i = edge[tuple(np.round(a[:2], 6))]
        chosen = str(kinds[i])
        return chosen, -1 if chosen == "trim" else i

    patch = of_polygon(star, kind)
    shape = outline(patch, laid(patch))
    trim, lap = rng.uniform(1, 40), rng.uniform(1, 10)

    cut = allowance(shape, trim_mm=trim, lap_mm=lap, corner=corner, smooth_mm=0.05, relieve=True)

    assert cut.is_valid
    assert cut.geom_type == "Polygon"
    assert cut.buffer(1e-6).contains(shape.net)
    reach = np.sqrt(5) * max(trim, lap)  # a mitre cut off at two widths is one wide either side
    assert shape.net.buffer(reach + 0.1).contains(cut)
