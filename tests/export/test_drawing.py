"""Drawing, arcs, strokes and fonts: nothing moves, nothing is lost, every letter is there."""

import unicodedata
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from export.kit import kit_of_patterns, pattern, wavy
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import LineString, Polygon, box

from flatten.errors import InputError
from flatten.export.arcs import with_arcs
from flatten.export.drawing import LONGEST_TEXT, Drawing, Line, Text, one_line, ring_area
from flatten.export.fonts import FILES, FOLDER, JAPANESE, missing, runs, width_mm
from flatten.export.layers import CUT, LAYERS, TACK, TEXT
from flatten.export.pattern_drawing import pattern_drawing, patterns_drawing
from flatten.export.pen_order import in_pen_order
from flatten.export.strokes import text_as_strokes, text_lines
from flatten.pattern.pattern import Mark, Notch


def outlines(drawing: Drawing) -> list[Polygon]:
    return [Polygon(line.points) for line in drawing.lines if line.layer == CUT.name]


def test_pieces_lie_side_by_side_and_never_overlap():
    many = kit_of_patterns() * 4
    drawing = patterns_drawing(many)
    shapes = [shape for shape in outlines(drawing) if shape.area > 1000]

    assert len(shapes) == 16
    for i, shape in enumerate(shapes):
        assert all(shape.distance(other) > 20 for other in shapes[:i])
    square = next(line for line in drawing.lines if line.layer == "CHECK_SQUARE" and line.closed)
    assert ring_area(square) == pytest.approx(100**2)
    assert all(Polygon(square.points).distance(shape) > 20 for shape in shapes)


def test_the_first_piece_lies_on_top_on_the_left():
    shapes = [shape for shape in outlines(patterns_drawing(kit_of_patterns())) if shape.area > 1000]

    assert shapes[0].bounds[3] == max(shape.bounds[3] for shape in shapes)
    assert shapes[0].bounds[0] == min(shape.bounds[0] for shape in shapes)


def test_notches_are_marks_inside_never_cuts_and_tabs_are_in_the_cut_line():
    notch = {"at": np.array([50.0, 0.0]), "outward": np.array([0.0, -1.0]), "number": 1, "joint": 0}
    drawn = {}
    for style in ("mark", "tab"):
        piece = pattern(box(0, 0, 100, 80), trim=0.0, notches=(Notch(**notch, style=style),))
        drawn[style] = [line for line in pattern_drawing(piece).lines if line.layer == "NOTCH"]
    (mark,) = drawn["mark"]
    assert mark.points[:, 1].tolist() == [0.0, 6.0]
    assert drawn["tab"] == []
    assert not next(layer for layer in LAYERS if layer.name == "NOTCH").cuts


def test_the_end_of_a_dart_is_a_ring_and_the_tack_point_a_cross_in_a_ring():
    end = Mark(kind="dart_end", lines=(), at=np.array([30.0, 20.0]), height_mm=4.0)
    drawing = pattern_drawing(pattern(box(0, 0, 100, 80), marks=(end,), notches=()))
    (ring,) = [line for line in drawing.lines if line.layer == "NOTCH"]
    tack = [line for line in drawing.lines if line.layer == TACK.name]

    assert ring_area(ring) == pytest.approx(np.pi * 2**2)
    assert len(tack) == 3
    assert_allclose(ring.straightened().mean(axis=0), [30, 20], atol=1e-6)


@given(
    x=st.floats(-500, 500),
    y=st.floats(-500, 500),
    turn=st.sampled_from([0.0, 90.0, 180.0, 37.5]),
    mirrored=st.booleans(),
)
def test_moving_keeps_areas_and_mirroring_turns_them_round(x, y, turn, mirrored):
    drawing = pattern_drawing(pattern(box(0, 0, 170, 90)), arcs=True)
    moved = drawing.moved(x, y, turn, mirrored=mirrored)
    sign = -1 if mirrored else 1

    for before, after in zip(drawing.lines, moved.lines, strict=True):
        if before.closed:
            assert ring_area(after) == pytest.approx(sign * ring_area(before), rel=1e-9)


def test_mirroring_is_about_the_warp():
    """As the nest lays pieces: y changes its sign, x does not."""
    line = Line(layer=CUT.name, points=np.array([[1.0, 2.0], [5.0, 3.0]]))
    moved = Drawing(title="", layers=LAYERS, lines=(line,)).moved(10, 20, mirrored=True)

    assert_allclose(moved.lines[0].points, [[11, 18], [15, 17]])


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0])
def test_quarter_turns_are_exact(turn):
    line = Line(layer=CUT.name, points=np.array([[1.0, 0.0], [0.0, 1.0]]))
    moved = Drawing(title="", layers=LAYERS, lines=(line,)).moved(0, 0, turn)

    assert set(np.abs(moved.lines[0].points).ravel().tolist()) == {0.0, 1.0}


@pytest.mark.parametrize(("radius", "chord"), [(5.0, 0.005), (500.0, 0.01)])
def test_chords_keep_within_their_height(radius, chord):
    """Height of a chord over an angle a: r (1 - cos(a / 2))."""
    ring = Line(
        layer=CUT.name, points=np.array([[-radius, 0], [radius, 0]]), bulge=np.ones(2), closed=True
    )
    points = ring.straightened(chord)
    middle = (points + np.roll(points, -1, axis=0)) / 2

    assert_allclose(np.linalg.norm(points, axis=1), radius, rtol=1e-12)
    assert radius - np.linalg.norm(middle, axis=1).min() <= chord * (1 + 1e-9)
    assert ring_area(ring) == pytest.approx(np.pi * radius**2, rel=1e-12)


def test_arcs_pass_through_every_point_they_replace():
    """Within 0.002 mm: a tenth of what the finest cutter repeats."""
    wave = Line(layer=CUT.name, points=np.array(wavy(150, 100).exterior.coords)[:-1], closed=True)
    curve = LineString(with_arcs(wave).straightened(1e-6))

    assert len(with_arcs(wave).points) < len(wave.points)
    assert shapely.distance(curve, shapely.points(wave.points)).max() <= 0.0021


def test_what_is_no_arc_stays_as_it_is():
    square = Line(layer=CUT.name, points=np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]), closed=True)
    octagon = np.array([[np.cos(t), np.sin(t)] for t in np.arange(8) * np.pi / 4])

    assert with_arcs(square) is square
    assert with_arcs(Line(layer=CUT.name, points=50 * octagon, closed=True)).bulge is None


def test_the_way_of_the_pen_gets_shorter_and_no_line_is_lost():
    random = np.random.default_rng(3)
    lines = tuple(
        Line(layer=TEXT.name, points=at + [[0, 0], [1, 1]])
        for at in random.uniform(0, 500, (60, 2))
    )
    before = Drawing(title="", layers=LAYERS, lines=lines)
    after = in_pen_order(before)

    def lifts(drawing):
        ends = [(line.points[0], line.points[-1]) for line in drawing.lines]
        return sum(np.linalg.norm(b[0] - a[1]) for a, b in pairwise(ends))

    assert lifts(after) < 0.4 * lifts(before)
    seen = {tuple(sorted(map(tuple, line.points.round(9).tolist()))) for line in after.lines}
    assert len(seen) == len(after.lines) == 60


@given(st.text(max_size=400))
def test_any_text_becomes_one_clean_line(text):
    line = one_line(text)

    assert len(line) <= LONGEST_TEXT
    assert line == line.strip()
    assert not {unicodedata.category(char) for char in line} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    line.encode("utf-8")


@settings(max_examples=40)
@given(st.text(max_size=12))
def test_any_text_can_be_measured_and_drawn(text):
    """A letter no font holds is a box, never a crash and never nothing."""
    line = one_line(text)

    assert width_mm(line, 5.0) >= 0
    assert sum(len(part) for _, part in runs(line)) == len(line)
    for stroke in text_lines(Text(layer=TEXT.name, text=line, at=np.zeros(2), height_mm=5)):
        assert np.isfinite(stroke.points).all()


@pytest.mark.parametrize(
    "text", ["ÄÖÜ áéíóú ñçşő", "Κάλυμμα καγιάκ", "Крышка люка ёжик", "舟の蓋カヤック"]
)
def test_our_fonts_hold_the_scripts_we_promise(text):
    assert missing(text) == ""
    assert missing("a\u0e01b") == "\u0e01"


def test_japanese_is_set_in_the_japanese_font_and_the_rest_is_not():
    assert [name for name, _ in runs("lid 蓋 2")] == ["BenchSans", JAPANESE, "BenchSans"]


def test_the_fonts_are_free_and_small():
    size = sum((FOLDER / file).stat().st_size for file in FILES.values())
    licence = (FOLDER / "LICENSE.txt").read_text(encoding="utf-8")

    assert size < 3_000_000
    assert "SIL OPEN FONT LICENSE" in licence
    assert all(file in licence for file in FILES.values())


@pytest.mark.parametrize("char", [chr(code) for code in range(0x21, 0x7F)])
def test_every_sign_of_ascii_is_drawn_within_its_height(char):
    text = Text(layer=TEXT.name, text=char, at=np.zeros(2), height_mm=6, anchor="left")
    points, middle = (
        np.concatenate([line.points for line in text_lines(one)])
        for one in (text, replace(text, anchor="middle"))
    )
    width = 2 * (points - middle)[0, 0]  # set on its middle, a text moves by half its width

    assert points[:, 1].min() >= -2.5
    assert points[:, 1].max() <= 8.0
    assert points[:, 0].min() >= -0.5
    assert points[:, 0].max() <= width + 0.5


def test_capitals_have_the_height_and_the_text_its_middle():
    text = Text(layer=TEXT.name, text="HE", at=np.array([10.0, 20.0]), height_mm=7.0)
    points = np.concatenate([line.points for line in text_lines(text)])

    assert np.ptp(points[:, 1]) == pytest.approx(7.0)
    assert (points.max(axis=0) + points.min(axis=0)) / 2 == pytest.approx([10, 20])


def test_accents_stand_above_their_letters():
    def top(char):
        lines = text_lines(Text(layer=TEXT.name, text=char, at=np.zeros(2), height_mm=6))
        return max(line.points[:, 1].max() for line in lines)

    assert top("é") > top("e")
    assert top("É") > top("E")
    assert top("É") > top("é")


def test_strokes_take_the_place_of_texts():
    drawing = pattern_drawing(kit_of_patterns()[0])
    drawn = text_as_strokes(drawing)

    assert drawn.texts == ()
    assert len(drawn.lines) > len(drawing.lines) + 50


def test_a_line_of_one_point_is_refused():
    with pytest.raises(InputError, match="1 points"):
        Line(layer=CUT.name, points=np.zeros((1, 2)))
