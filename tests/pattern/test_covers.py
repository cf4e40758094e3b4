"""Peel ply, cores and tapes come from the same regions; gaps get patches."""

from dataclasses import replace

import numpy as np
import pytest
from pattern.pieces import TWILL, grid, laid, mark_box, piece
from pattern.solids import cube, patches_of
from shapely import LineString

from flatten.cloth.drape import drape_surface
from flatten.cloth.library import load_fabrics
from flatten.errors import InputError
from flatten.pattern.alike import merge_identical
from flatten.pattern.covers import core_pattern, corner_tapes, cover_pattern
from flatten.pattern.dress import dress
from flatten.pattern.gaps import gap_patches
from flatten.pattern.outline import outline
from flatten.pattern.settings import Dressing
from flatten.pattern.slits import KERF_MM
from flatten.surface.cut import Cut, cut
from flatten.surface.mesh import MouldMesh
from flatten.surface.region import Region

PLAIN = Dressing(corner="mitre")


def plate():
    vertices, faces = grid(np.linspace(0, 200, 11), np.linspace(0, 120, 7))
    (patch,) = cut(MouldMesh(vertices, faces), Region("plate", np.arange(len(faces))))
    return patch


@pytest.mark.parametrize("cloth", ["peel_ply_85", "release_film_perforated", "breather_150"])
def test_a_cover_is_the_region_and_its_trim(cloth):
    """On a flat region every cover is the same rectangle, 30 mm larger all round."""
    fabric = load_fabrics()[cloth]

    patch = plate()
    drape = drape_surface(patch.surface, fabric, tack_mm=(100, 60, 0), warp=(1, 0, 0))
    pattern = cover_pattern(
        patch,
        drape,
        fabric,
        part="tray",
        ply_id="peel",
        name="Peel ply / film",
        number=4,
        dressing=PLAIN,
        trim_mm=30,
    )

    assert pattern.net.area == pytest.approx(200 * 120, rel=1e-6)
    assert pattern.cut.area == pytest.approx(260 * 180, rel=1e-6)
    assert pattern.id == "peel"
    assert (pattern.arrow is not None) == fabric.directional


def test_a_core_is_cut_on_the_net_and_shows_its_bevel():
    """10 mm thick, bevelled at 45 degrees: the upper face is 10 mm smaller all round."""
    patch = plate()
    asked = {"part": "tray", "ply_id": "core", "name": "core", "number": 2, "dressing": PLAIN}

    core = core_pattern(patch, laid(patch), TWILL, thickness_mm=10, bevel_deg=45, **asked)

    assert core.cut.area == pytest.approx(200 * 120)
    assert core.net.area == pytest.approx(180 * 100)
    with pytest.raises(InputError, match="leaves no upper face"):
        core_pattern(patch, laid(patch), TWILL, thickness_mm=60, bevel_deg=45, **asked)
    with pytest.raises(InputError, match="bevel of 5 degrees"):
        core_pattern(patch, laid(patch), TWILL, thickness_mm=10, bevel_deg=5, **asked)


def test_inner_corners_get_tapes_as_long_as_they_are():
    """An open box seen from inside: four upright corners of 60, four along the floor of 60."""
    vertices, faces, _ = cube(60.0)
    inside_out = faces[:, ::-1]
    lid = (vertices[faces][:, :, 2] == 60).all(axis=1)
    mould = MouldMesh(vertices, inside_out)
    region = Region("box", np.flatnonzero(~lid))

    tapes = corner_tapes(
        mould, region, TWILL, part="box", ply_id="tape", number=3, width_mm=20, dressing=Dressing()
    )

    total = sum(tape.count * (tape.cut.bounds[2] - tape.cut.bounds[0]) for tape in tapes)
    assert total == pytest.approx(8 * 60)
    assert [tape.count for tape in tapes] == [8]
    assert tapes[0].cut.bounds[3] - tapes[0].cut.bounds[1] == pytest.approx(20)
    from_outside = MouldMesh(vertices, faces)
    assert (
        corner_tapes(
            from_outside,
            region,
            TWILL,
            part="box",
            ply_id="tape",
            number=3,
            width_mm=20,
            dressing=Dressing(),
        )
        == []
    )


def overlapping_dart(overlap):
    """A plate slit from the right to the middle whose lips overlap (or gape) in the flat."""
    vertices, faces = grid(np.linspace(-100, 100, 21), np.linspace(-60, 60, 13))
    on_slit = (vertices[:, 0] > 1) & (np.abs(vertices[:, 1]) < 1e-9)
    double = np.full(len(vertices), -1)
    double[on_slit] = len(vertices) + np.arange(on_slit.sum())
    vertices = np.vstack([vertices, vertices[on_slit]])
    below = vertices[faces].mean(axis=1)[:, 1] < 0
    slit = faces.copy()
    slit[below] = np.where(double[faces[below]] >= 0, double[faces[below]], faces[below])

    def kind(a, b):
        return ("butt", 0) if abs(a[1]) < 1e-9 and abs(b[1]) < 1e-9 else ("trim", -1)

    patch = piece(vertices, slit, kind_of=kind)
    flat = vertices[:, :2].copy()
    share = np.clip(flat[:, 0] / 100, 0, 1) * np.maximum(1 - np.abs(flat[:, 1]) / 60, 0)
    up = np.isin(np.arange(len(vertices)), slit[~below])
    flat[:, 1] -= np.where(up, 1, -1) * 0.5 * overlap * share
    return patch, laid(patch, flat + [40, 0])  # tacked 40 mm before the end of the slit


ASKED = {
    "part": "pod",
    "ply_id": "p1",
    "ply_number": 1,
    "ply_name": "skin",
    "fabric": TWILL,
    "angle_deg": 0.0,
    "dressing": Dressing(),
}


def test_a_dart_that_gapes_on_the_mould_gets_a_patch():
    """The lips overlap by 8 mm at the rim: a gap as wide there, covered by 25 mm all round."""
    patch, drape = overlapping_dart(8.0)
    pattern = dress(patch, drape, **ASKED)

    (gap,) = gap_patches(outline(patch, drape), of=pattern, fabric=TWILL, dressing=Dressing())

    x0, y0, x1, y1 = gap.pattern.net.bounds
    assert y1 - y0 == pytest.approx(8.0, abs=0.1)
    assert x1 > 139
    assert gap.pattern.net.area == pytest.approx(0.5 * 100 * 8, rel=0.1)
    assert gap.pattern.cut.contains(gap.pattern.net.buffer(24.9))
    assert gap.wide_mm == pytest.approx(8.0, abs=0.01)
    assert gap.joint == 0
    assert x0 < 50
    assert pattern.cut.is_valid
    assert pattern.cut.contains(pattern.net)


def test_a_dart_that_opens_in_the_flat_needs_none():
    """Where the flat opens, its sides meet on the mould."""
    patch, drape = overlapping_dart(-8.0)
    pattern = dress(patch, drape, **ASKED)

    assert gap_patches(outline(patch, drape), of=pattern, fabric=TWILL, dressing=Dressing()) == []


def test_a_closed_slit_is_still_cut():
    """Lips that lie on each other in the flat: the knife goes between, a kerf wide."""
    patch, drape = overlapping_dart(0.0)

    pattern = dress(patch, drape, **ASKED)

    assert pattern.cut.is_valid
    assert pattern.net.is_valid
    assert 240 * 120 - pattern.net.area > 0
    assert 200 * 120 - pattern.net.area == pytest.approx(0.2 * 100, rel=0.1)
    assert any(mark.kind == "dart_end" for mark in pattern.marks)
    assert len(pattern.notches) >= 2


def test_a_tube_unrolled_has_neither_gap_nor_slit():
    """Its two ends lie a circumference apart in the flat and are no dart: nothing is cut there."""
    vertices, faces, _ = cube(60.0)
    walls = (np.ptp(vertices[faces][:, :, 2], axis=1) > 0).nonzero()[0]
    line = Cut(id="c", kind="splice", path=[[0, 0, 60], [0, 0, 0]], joint="butt", lap_mm=0)
    (patch,) = cut(MouldMesh(vertices, faces), Region("walls", walls), [line])
    drape = drape_surface(patch.surface, TWILL, tack_mm=(60, 30, 30), warp=(0, 1, 0))

    pattern = dress(patch, drape, **ASKED)

    found = gap_patches(outline(patch, drape), of=pattern, fabric=TWILL, dressing=Dressing())
    assert found == []
    width, height = np.ptp(np.array(pattern.cut.exterior.coords), axis=0)
    assert (width, height) == pytest.approx((240, 60 + 2 * 15), abs=0.1)
    assert pattern.cut.area == pytest.approx(240 * 90, rel=1e-3)


def test_a_tube_opened_along_a_step_is_not_cut_again():
    """The two ends of a stepped joint lie 240 mm apart, its step level with itself all the same.

    Laid open the walls are a strip of 240 x 60 mm, moved by one wall in its lower half. A dart
    in it is closed in the flat: a knife cuts it.
    """
    edge, half = 60.0, 30.0
    around = edge * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    vertices = np.vstack([np.column_stack([around, np.full(4, z)]) for z in (0, half, edge)])
    quads = [(4 * row + k, 4 * row + (k + 1) % 4) for row in (0, 1) for k in range(4)]
    faces = np.array([f for a, b in quads for f in ((a, b, b + 4), (a, b + 4, a + 4))])
    step = [(8, 4), (4, 5), (5, 1)]  # down one corner, along a wall, down the next corner
    (patch,) = patches_of(vertices, faces, [*step, (3, 7)])  # the dart: up a third corner
    drape = drape_surface(patch.surface, TWILL, tack_mm=(30, 60, 30), warp=(1, 0, 0))

    shape = outline(patch, drape)

    assert shape.net.area == pytest.approx(240 * 60 - KERF_MM * half, abs=KERF_MM**2)
    width, height = np.ptp(np.array(shape.net.exterior.coords), axis=0)
    assert (width, height) == pytest.approx((300, 60), abs=1e-6)


@pytest.mark.parametrize("turn_deg", [0, 30, 60, 90])
def test_the_arrow_of_a_gap_patch_stands_beside_the_gap_too(turn_deg):
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    patch, lying = overlapping_dart(1.6)
    drape = laid(patch, lying.flat @ [[c, s], [-s, c]])
    whole = dress(patch, drape, **ASKED)
    (gap,) = gap_patches(outline(patch, drape), of=whole, fabric=TWILL, dressing=Dressing())

    arrow, (label,) = LineString(gap.pattern.arrow), gap.pattern.marks

    assert arrow.length >= 15
    assert arrow.distance(gap.pattern.net) > 2.9
    assert arrow.distance(mark_box(label)) > 2.9


def test_a_short_label_of_a_shared_gap_patch_is_counted_anew():
    """Of four patches two and two are alike: the short label says so as the full name does."""
    patch, drape = overlapping_dart(8.0)
    (gap,) = gap_patches(
        outline(patch, drape),
        of=dress(patch, drape, **ASKED),
        fabric=TWILL,
        dressing=Dressing(),
    )
    other = replace(gap.pattern, cut=gap.pattern.cut.buffer(5))
    (label,) = gap.pattern.marks

    def numbered(pattern, number):
        lines = (f"1 gap patch ({number} of 4)", "cut 1")
        return replace(pattern, piece=number, pieces=4, marks=(replace(label, lines=lines),))

    patches = [numbered(one, k) for k, one in enumerate([gap.pattern, other] * 2, start=1)]

    merged = merge_identical(patches)

    said = [mark.lines for one in merged for mark in one.marks]
    assert said == [("1 gap patch (1 of 2)", "cut 2"), ("1 gap patch (2 of 2)", "cut 2")]


def test_the_label_of_a_gap_patch_stands_beside_the_gap():
    """A patch of some 55 x 90 mm, its gap across the warp: there is room for words off its edge."""
    patch, lying = overlapping_dart(1.6)
    drape = laid(patch, lying.flat @ [[0, 1], [-1, 0]])
    (gap,) = gap_patches(
        outline(patch, drape),
        of=dress(patch, drape, **ASKED),
        fabric=TWILL,
        dressing=Dressing(),
    )
    (label,) = gap.pattern.marks

    assert mark_box(label).distance(gap.pattern.net) > 2.9
    assert gap.pattern.cut.buffer(-2.9).contains(mark_box(label))
