"""SVG: true millimetres, areas as drawn, names escaped."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from export.kit import kit_of_patterns, pattern
from numpy.testing import assert_allclose
from shapely import Polygon, box

from flatten.export.drawing import Drawing, Text, ring_area
from flatten.export.layers import CUT, TEXT
from flatten.export.pattern_drawing import pattern_drawing, patterns_drawing
from flatten.export.svg import svg_bytes

NS = "{http://www.w3.org/2000/svg}"


def group(data: bytes, layer: str):
    """Return the group of a layer."""
    root = ElementTree.fromstring(data)
    return next(g for g in root.iter(f"{NS}g") if g.get("id") == layer)


def path_area(d: str) -> float:
    """Area of a path of M, L, A and Z: arcs by the SVG 1.1 recommendation, appendix F.6.5."""
    points, extra = [], 0.0
    for kind, body in re.findall(r"([MLA])([^MLAZ]*)", d):
        numbers = [float(n) for n in body.split()]
        end = np.array(numbers[-2:])
        if kind == "A":
            extra += _segment(points[-1], end, numbers[0], numbers[3], numbers[4])
        points.append(end)
    ring = np.array(points)
    x, y = ring.T
    return abs(0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) + extra)


def _segment(start, end, radius, large, sweep) -> float:
    """Signed area between an arc and its chord; sweep 1 is towards positive angles."""
    chord = float(np.linalg.norm(end - start))
    angle = 2 * np.arcsin(min(chord / (2 * radius), 1.0))
    if large:
        angle = 2 * np.pi - angle
    area = 0.5 * radius**2 * (angle - np.sin(angle))
    return area if sweep else -area


def test_one_unit_is_one_millimetre():
    root = ElementTree.fromstring(svg_bytes(patterns_drawing(kit_of_patterns())))
    width, height = (root.get(side).removesuffix("mm") for side in ("width", "height"))

    assert root.get("viewBox") == f"0 0 {width} {height}"


def test_the_cut_lines_have_the_patterns_areas():
    patterns = kit_of_patterns()
    data = svg_bytes(patterns_drawing(patterns))
    areas = sorted(path_area(p.get("d")) for p in group(data, CUT.name).iter(f"{NS}path"))
    rings = [ring for p in patterns for ring in (p.cut.exterior, *p.cut.interiors)]

    assert_allclose(areas, sorted(Polygon(ring).area for ring in rings), rtol=1e-6)
    assert all(p.get("d").endswith("Z") for p in group(data, CUT.name).iter(f"{NS}path"))


def test_arcs_turn_the_way_they_do_in_the_drawing():
    drawing = pattern_drawing(pattern(box(0, 0, 170, 90)), arcs=True)
    outline = next(line for line in drawing.lines if line.layer == CUT.name)
    path = next(group(svg_bytes(drawing), CUT.name).iter(f"{NS}path")).get("d")

    assert path.count("A") == 4
    assert path_area(path) == pytest.approx(ring_area(outline), rel=1e-6)


def test_each_piece_is_a_group_with_its_title():
    data = svg_bytes(patterns_drawing(kit_of_patterns()), "hatch")
    titles = [title.text for title in group(data, CUT.name).iter(f"{NS}title")]

    assert titles[0] == "cut line"
    assert {"1 outer skin", "2 middle skin", "3 inner skin", "4 hinge patch"} <= set(titles)
    assert ElementTree.fromstring(data).find(f"{NS}title").text == "hatch"


@pytest.mark.parametrize(
    "name",
    [
        "</title><script>alert(1)</script>",
        'a" onload="x',
        "]]>&lt;",
        "Κάλυμμα カヤック",
        "\x00\x1b\ud800",
    ],
)
def test_names_are_text_and_nothing_else(name):
    data = svg_bytes(patterns_drawing([pattern(box(0, 0, 90, 70), part=name, id="p\"'<>")]), name)
    root = ElementTree.fromstring(data)

    kinds = {element.tag.removeprefix(NS) for element in root.iter()}
    assert kinds == {"svg", "g", "title", "path", "text"}
    assert all(not key.startswith("on") for element in root.iter() for key in element.attrib)
    if name.isprintable():
        assert root.find(f"{NS}title").text == " ".join(name.split())


@pytest.mark.parametrize("anchor", ["left", "middle"])
def test_a_line_of_text_lies_inside_the_picture(anchor):
    """Its capitals rise a text's height above its place and must not be cut off."""
    words = Text(layer=TEXT.name, text="Roll", at=np.zeros(2), height_mm=40.0, anchor=anchor)
    root = ElementTree.fromstring(svg_bytes(Drawing(title="t", layers=(TEXT,), texts=(words,))))

    assert float(root.get("viewBox").split()[3]) > 40.0 * 1.3
