"""The roll as it is cut: pieces where the nest put them, words upright, hands and kits written."""

from dataclasses import replace

import numpy as np
import pytest
from export.kit import gdal, pattern, read_dxf, wavy
from nest.cloths import cloth, roll, stock
from shapely import Point, Polygon, box

from flatten.errors import InputError
from flatten.export.drawing import ring_area
from flatten.export.dxf import dxf_bytes
from flatten.export.roll_drawing import roll_drawing, rolls_drawing, sheet_drawing
from flatten.nest.layout import Placement, Sheet
from flatten.nest.nest import nest
from flatten.nest.piece import NestPiece
from flatten.nest.roll import Defect
from flatten.nest.settings import NestSettings

PATTERNS = [pattern(wavy(120, 80), id="a", number=1), pattern(box(0, 0, 150, 90), id="b", number=2)]


def nested(**settings):
    twill = cloth()
    pieces = [NestPiece(id=p.id, outline=p.cut, fabric=twill.id) for p in PATTERNS]
    return nest(pieces, twill, stock(roll(selvedge=10.0)), NestSettings(seconds=0, **settings))


def sheet_of(*placements: Placement) -> Sheet:
    return Sheet(
        stock_id="roll 7",
        kind="roll",
        outline=((0, 0), (900, 0), (900, 600), (0, 600)),
        used_length_mm=900,
        selvedge_mm=10,
        placements=placements,
    )


def test_every_copy_is_cut_where_the_nest_put_it():
    """Areas by two readers, and the outlines against the nest's own move."""
    found = nested(kits=2)
    data = dxf_bytes(roll_drawing(found, PATTERNS))
    expected = sorted(2 * [p.cut.area for p in PATTERNS])

    assert read_dxf(data).areas("CUT") == pytest.approx(expected, rel=1e-6)
    assert gdal(data)[0]["CUT"] == pytest.approx(expected, rel=1e-6)
    shapes = {p.id: p.cut for p in PATTERNS}
    laid = [place.outline_on_cloth(shapes[place.piece]) for place in found.sheets[0].placements]
    for line in read_dxf(data).lines:
        if line.layer == "CUT":
            drawn = Polygon(line.points)
            assert min(drawn.symmetric_difference(shape).area for shape in laid) < 0.01


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0.0, 90.0, 180.0, 270.0, 3.0])
@pytest.mark.parametrize("turn", [0.0, 90.0])
def test_words_are_never_on_their_head_and_stay_on_their_piece(angle, mirrored, turn):
    marks = tuple(replace(mark, turn_deg=turn) for mark in PATTERNS[0].marks)
    one = pattern(wavy(120, 80), id="a", marks=marks)
    place = Placement(
        piece="a", copy=1, kit=1, x_mm=300, y_mm=300, angle_deg=angle, mirrored=mirrored
    )
    drawing = sheet_drawing(sheet_of(place), {"a": one})
    outline = place.outline_on_cloth(one.cut)
    label = [text for text in drawing.texts if text.text in one.marks[0].lines]

    assert len(label) == 4
    for text in label:
        up = text.turn_deg % 360
        assert up <= 90.01 or up > 270.0
        assert outline.contains(Point(text.at))
    order = np.argsort([_reading_height(text) for text in label])[::-1]
    assert [label[i].text for i in order] == list(one.marks[0].lines)


def _reading_height(text) -> float:
    """Height on the page when it is turned so that the text is level."""
    angle = np.radians(text.turn_deg)
    return float(-np.sin(angle) * text.at[0] + np.cos(angle) * text.at[1])


def test_kits_and_other_hands_are_written_on_the_pieces():
    own = Placement(piece="a", copy=1, kit=1, x_mm=200, y_mm=150)
    other = Placement(piece="a", copy=1, kit=2, x_mm=600, y_mm=150, mirrored=True, other_hand=True)
    drawing = sheet_drawing(sheet_of(own, other), {"a": PATTERNS[0]}, kits=2)
    words = [text.text for text in drawing.texts]
    cuts = [line for line in drawing.lines if line.layer == "CUT"]

    assert "kit 1" in words
    assert "kit 2 OTHER HAND" in words
    assert ring_area(cuts[0]) == pytest.approx(-ring_area(cuts[1]))
    assert len({line.piece for line in cuts}) == 2


def test_flaws_are_drawn_where_they_are_and_never_cut():
    """Circles of the right area on their own layer; the one past the cut across is left out."""
    twill = cloth()
    pieces = [NestPiece(id=p.id, outline=p.cut, fabric=twill.id) for p in PATTERNS]
    marks = (
        Defect(x_mm=60, y_mm=950, radius_mm=20),
        Defect(x_mm=40, y_mm=500, radius_mm=4),
        Defect(x_mm=5000, y_mm=500, radius_mm=20),
    )
    found = nest(pieces, twill, stock(roll(defects=marks)), NestSettings(seconds=0))

    drawing = sheet_drawing(found.sheets[0], {p.id: p for p in PATTERNS})

    circles = [Polygon(line.points) for line in drawing.lines if line.layer == "DEFECT"]
    assert [(c.centroid.x, c.centroid.y) for c in circles] == [
        pytest.approx((flaw.x_mm, flaw.y_mm)) for flaw in marks[:2]
    ]
    assert [c.area for c in circles] == pytest.approx([np.pi * 20**2, np.pi * 4**2], rel=0.01)
    assert sum(text.text == "flaw" for text in drawing.texts) == 2
    assert not next(layer for layer in drawing.layers if layer.name == "DEFECT").cuts


def test_the_roll_starts_at_the_origin_and_its_square_lies_off_it():
    drawing = roll_drawing(nested(), PATTERNS)
    edge = next(line for line in drawing.lines if line.layer == "ROLL_EDGE" and line.closed)
    square = next(line for line in drawing.lines if line.layer == "CHECK_SQUARE" and line.closed)
    names = [line.layer for line in drawing.lines]

    assert edge.points.min(axis=0).tolist() == [0, 0]
    assert square.points[:, 0].max() < 0
    assert names.count("SELVEDGE") >= 2
    assert any("mm used, warp along x" in text.text for text in drawing.texts)


def test_a_nest_of_other_patterns_is_refused():
    with pytest.raises(InputError, match="'b', which is not among the patterns"):
        roll_drawing(nested(), PATTERNS[:1])


def test_rolls_of_several_cloths_lie_one_above_the_other():
    first, second = nested(), nested(kits=2)
    drawing = rolls_drawing([first, second], PATTERNS)
    edges = [line for line in drawing.lines if line.layer == "ROLL_EDGE" and line.closed]
    boxes = [Polygon(line.points) for line in edges]

    assert len(boxes) == 2
    assert boxes[0].bounds[:2] == (0, 0)
    assert boxes[0].distance(boxes[1]) > 50
    cuts = [Polygon(line.points) for line in drawing.lines if line.layer == "CUT"]
    assert all(sum(box.buffer(0.01).contains(cut) for box in boxes) == 1 for cut in cuts)
    with pytest.raises(InputError, match="no roll"):
        rolls_drawing([], PATTERNS)
