"""The trim strip: as wide as asked where the mould goes on, told where it does not."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from surface.parts import (
    block,
    edge_lengths,
    euler,
    everything,
    net_edges,
    plate,
    trough,
    tube,
    within,
)

from flatten.errors import InputError
from flatten.surface.cut import Cut, cut
from flatten.surface.distance import distance_from
from flatten.surface.extend import extend_sheet
from flatten.surface.isoline import keep_below
from flatten.surface.region import Region, grow_to_sharp_edges
from flatten.surface.sheet import take_out


def rim_length(extension):
    ends = extension.sheet.vertices[extension.rim]
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)


@pytest.mark.parametrize("cells", [4, 20, 40])
@pytest.mark.parametrize("trim_mm", [10, 40])
def test_a_square_grows_by_its_sides_and_four_quarter_circles(cells, trim_mm):
    """Steiner: a^2 + 4 a t + pi t^2, less the chords and first-order fronts at the corners."""
    mesh = plate(cells, 400)
    region = within(mesh, (100, 100), (300, 300))

    (patch,) = cut(mesh, region, trim_mm=trim_mm)

    assert patch.surface.areas[patch.inside].sum() == pytest.approx(200**2, rel=1e-12)
    strip = patch.surface.areas[~patch.inside].sum()
    corners = np.pi * trim_mm**2
    assert strip == pytest.approx(800 * trim_mm + corners, abs=0.1 * corners)
    assert euler(patch.surface.faces) == 1
    assert set(patch.edge_kinds) == {"trim"}
    reach = np.abs(patch.surface.vertices[:, :2] - 200).max()
    assert reach == pytest.approx(100 + trim_mm, abs=0.06 * trim_mm)


def test_along_a_straight_rim_the_strip_is_exact_round_a_fillet_too():
    """From a wall over a fillet on to the floor: the facets unfold, so the width is exact."""
    mesh = trough(8, 8)
    wall = grow_to_sharp_edges(mesh, 0, 1)

    (patch,) = cut(mesh, Region("wall", wall), trim_mm=20)

    facets = 16 * np.sin(np.pi / 32) * 8
    assert 32 + facets > 20  # wholly on the fillet and the flat behind it
    assert patch.surface.areas[~patch.inside].sum() == pytest.approx(300 * 20, rel=2e-3)


def test_the_net_line_stays_where_it_was():
    mesh = plate(8, 400)
    region = within(mesh, (100, 100), (300, 300))
    (net,) = cut(mesh, region)

    (patch,) = cut(mesh, region, trim_mm=15)

    ends = patch.surface.vertices[net_edges(patch)]
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    assert lengths.sum() == pytest.approx(edge_lengths(net).sum(), rel=1e-12)
    assert (np.isclose(ends, 100) | np.isclose(ends, 300)).any(axis=2).all()
    kept = patch.source_vertices[patch.source_vertices >= 0]
    assert_array_equal(patch.surface.vertices[patch.source_vertices >= 0], mesh.vertices[kept])
    assert set(patch.source_faces[patch.inside]) == set(region.faces)
    assert not set(patch.source_faces[~patch.inside]) & set(region.faces)


def test_where_the_mould_ends_the_cover_is_told():
    """A region 10 mm from the plate's edge at one side, at it on another, far on the rest."""
    mesh = plate(20, 400)
    region = within(mesh, (0, 20), (200, 200))

    extension = extend_sheet(mesh, take_out(mesh, region), 30)

    middle = extension.sheet.vertices[extension.rim].mean(axis=1)
    length = rim_length(extension)
    at_edge = np.isclose(middle[:, 0], 0)
    near_edge = np.isclose(middle[:, 1], 20) & (middle[:, 0] < 165) & (middle[:, 0] > 30)
    far = np.isclose(middle[:, 0], 200) & (middle[:, 1] > 60)
    assert length.sum() == pytest.approx(760, rel=1e-12)
    assert not extension.covered_mm[at_edge].any()
    assert extension.covered_mm[near_edge] == pytest.approx(20, abs=1e-9)
    assert extension.covered_mm[far] == pytest.approx(30, abs=1e-9)


def test_without_neighbours_there_is_no_strip():
    mesh = plate(4)

    extension = extend_sheet(mesh, take_out(mesh, everything(mesh)), 15)

    assert extension.sheet.inside.all()
    assert not extension.covered_mm.any()
    assert rim_length(extension).sum() == pytest.approx(400, rel=1e-12)


def test_the_strip_goes_over_the_rim_and_ends_at_the_next_sharp_corner():
    """On a cube's top: down the four sides, which do not hang together round their corners."""
    mesh = block(100)
    top = Region("top", grow_to_sharp_edges(mesh, 2, 30))

    (patch,) = cut(mesh, top, trim_mm=20)

    strip = patch.surface.areas[~patch.inside].sum()
    assert strip == pytest.approx(4 * 100 * 20, rel=1e-9)
    assert euler(patch.surface.faces) == 1


def test_a_strip_that_would_close_the_part_is_left_out():
    mesh = tube(20, 60, 24, 6)
    ends = Region("all but a slot", np.setdiff1d(np.arange(len(mesh.faces)), [30, 30 + 144]))

    (patch,) = cut(mesh, ends, trim_mm=5)

    assert euler(patch.surface.faces) in (-1, 0)
    closed = block(100)
    sides = Region("five sides", np.arange(2, 12))
    (patch,) = cut(closed, sides, trim_mm=90)
    assert patch.inside.all()


def test_a_small_opening_is_filled_by_its_own_trim():
    mesh = plate(40, 400)
    opening = within(mesh, (190, 190), (210, 210))
    region = Region("ring", np.setdiff1d(within(mesh, (100, 100), (300, 300)).faces, opening.faces))

    (patch,) = cut(mesh, region, trim_mm=15)

    assert euler(patch.surface.faces) == 1
    assert len(net_edges(patch)) > 8
    assert patch.surface.areas[patch.inside].sum() == pytest.approx(200**2 - 400, rel=1e-12)


@pytest.mark.parametrize("trim_mm", [15, 5])
def test_a_cut_to_an_opening_ends_there_whether_its_trim_fills_it_or_not(trim_mm):
    mesh = plate(40, 400)
    opening = within(mesh, (190, 190), (210, 210))
    region = Region("ring", np.setdiff1d(within(mesh, (100, 100), (300, 300)).faces, opening.faces))
    low = np.arange(10, 19) + 20 * 41

    for options in (
        {"cuts": [Cut(id="c", kind="splice", path=[(100, 200, 0), (190, 200, 0)])]},
        {"seams": np.column_stack([low, low + 1])},
    ):
        (patch,) = cut(mesh, region, trim_mm=trim_mm, **options)
        assert euler(patch.surface.faces) == 1
        joint = edge_lengths(patch)[patch.edge_joints == 0].sum() / 2
        assert joint == pytest.approx(90 + trim_mm + (5 if trim_mm == 5 else 0), abs=0.5)


@pytest.mark.parametrize("kind", ["splice", "dart"])
def test_cuts_are_led_straight_on_through_the_strip(kind):
    mesh = plate(20, 400)
    region = within(mesh, (100, 100), (300, 300))
    end = (300, 170, 0) if kind == "splice" else (200, 160, 0)

    patches = cut(mesh, region, [Cut(id="c", kind=kind, path=[(100, 150, 0), end])], trim_mm=15)

    assert len(patches) == (2 if kind == "splice" else 1)
    for patch in patches:
        ends = patch.surface.vertices[patch.edge_vertices[patch.edge_joints == 0]]
        assert ends[..., 1] == pytest.approx(150 + 0.1 * (ends[..., 0] - 100), abs=0.11)
        assert ends[..., 0].min() == pytest.approx(85, abs=1)


def test_a_cut_along_the_net_line_parts_nothing_but_trim_and_is_refused():
    mesh = plate(20, 400)
    along = Cut(id="c", kind="splice", path=[(100, 100, 0), (300, 100, 0)])

    with pytest.raises(InputError, match="nothing off but trim") as refused:
        cut(mesh, within(mesh, (100, 100), (300, 300)), [along], trim_mm=15)
    assert refused.value.faces


def test_a_splice_to_an_inner_corner_goes_on_through_the_strip_there():
    """Straight on it would run over the piece; the nearest way out is through the strip."""
    mesh = plate(20, 400)
    notch = within(mesh, (200, 200), (300, 300))
    whole = within(mesh, (100, 100), (300, 300))
    region = Region("L", np.setdiff1d(whole.faces, notch.faces))

    parts = cut(
        mesh, region, [Cut(id="c", kind="splice", path=[(100, 190, 0), (200, 200, 0)])], trim_mm=15
    )

    net = sorted(part.surface.areas[part.inside].sum() for part in parts)
    assert net == pytest.approx([10_500, 19_500], abs=20)
    assert sum(net) == pytest.approx(30_000, rel=1e-9)


def test_a_seam_that_stops_at_the_net_line_parts_the_strip_as_well():
    mesh = plate(20, 400)
    region = within(mesh, (100, 100), (300, 300))
    low = np.arange(5, 15) + 8 * 21

    left, right = cut(mesh, region, seams=np.column_stack([low, low + 1]), trim_mm=15)

    assert left.joints[0].kind == "splice"
    for patch in (left, right):
        assert edge_lengths(patch)[patch.edge_joints == 0].sum() == pytest.approx(230, abs=2)


@pytest.mark.parametrize("trim_mm", [-1.0, float("nan"), float("inf"), 0.0])
def test_a_width_that_is_none_is_refused(trim_mm):
    mesh = plate(4)
    with pytest.raises(InputError, match="trim allowance"):
        extend_sheet(mesh, take_out(mesh, within(mesh, (20, 20), (80, 80))), trim_mm)


def test_distance_from_a_line_is_exact_and_from_a_point_of_the_first_order():
    errors = []
    for cells in (10, 20, 40):
        mesh = plate(cells)
        line = np.flatnonzero(mesh.vertices[:, 0] == 0)
        far, origin = distance_from(mesh.vertices, mesh.faces, line)
        np.testing.assert_allclose(far, mesh.vertices[:, 0], atol=1e-9)
        assert set(origin) <= set(line)
        far, _ = distance_from(mesh.vertices, mesh.faces, np.array([0]))
        errors.append(np.abs(far - np.linalg.norm(mesh.vertices, axis=1)).max())
    order = np.polyfit(np.log([10, 20, 40]), np.log(errors), 1)[0]
    assert -1.3 < order < -0.6


@pytest.mark.parametrize("limit", [0.3, 0.5, 0.49999, 0.77])
def test_the_part_below_a_limit_has_the_area_it_should(limit):
    mesh = plate(7, 1.0)

    vertices, faces, owner = keep_below(mesh.vertices, mesh.faces, mesh.vertices[:, 0], limit)

    corners = vertices[faces]
    areas = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]
    assert (areas > 0).all()
    assert areas.sum() == pytest.approx(limit, abs=0.05 / 7)
    assert len(owner) == len(faces)


def test_distance_from_a_line_is_exact_on_slanting_triangles_too():
    """Sheared, no edge stands square to the source line: the front itself is needed."""
    mesh = plate(10)
    slanting = mesh.vertices @ np.array([[1, 0, 0], [-0.3, 1, 0], [0, 0, 1]])
    line = np.flatnonzero(slanting[:, 1] == 0)

    far, _ = distance_from(slanting, mesh.faces, line)

    beside = mesh.vertices[:, 0] >= 100  # out of reach of the obtuse corners at the left end
    np.testing.assert_allclose(far[beside], slanting[beside, 1], atol=1e-5)
