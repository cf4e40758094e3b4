"""DXF: read back by GDAL and by a reader of our own; same bytes; nothing a name could break.

Longer than most files: what a DXF says is read back by readers of others, thing by thing.
"""

import io
import shutil
import subprocess
import sys

import ezdxf
import numpy as np
import pytest
import shapely
from export.kit import gdal, kit_of_patterns, pattern, pdf_pages, read_dxf, wavy
from numpy.testing import assert_allclose
from scipy.ndimage import label
from shapely import Polygon, affinity, box

from flatten.errors import InputError
from flatten.export.drawing import Drawing, Line, Text, ring_area
from flatten.export.dxf import VERSIONS, dxf_bytes
from flatten.export.layers import CUT, LAYERS, NET, TEXT
from flatten.export.pattern_drawing import pattern_drawing, patterns_drawing


def cut_areas(patterns):
    """Areas of all cut rings: outlines and holes."""
    rings = [ring for p in patterns for ring in (p.cut.exterior, *p.cut.interiors)]
    return sorted(Polygon(ring).area for ring in rings)


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("strokes", [False, True])
def test_two_independent_readers_find_the_same_closed_outlines(version, strokes):
    """Readers: GDAL's DXF driver, and our own of the DXF reference's group codes."""
    patterns = kit_of_patterns()
    data = dxf_bytes(patterns_drawing(patterns), version, text_as_strokes=strokes)

    own, (by_gdal, _) = read_dxf(data), gdal(data)

    expected = cut_areas(patterns)
    assert_allclose(own.areas("CUT"), expected, rtol=1e-6)
    assert_allclose(by_gdal["CUT"], expected, rtol=1e-6)
    assert_allclose(own.areas("NET_LINE"), by_gdal["NET_LINE"], rtol=1e-6)
    assert_allclose(own.areas("CHECK_SQUARE")[-1], 100.0**2, rtol=1e-12)


def test_millimetres_are_declared_where_the_format_can_and_written_where_not():
    """$INSUNITS 4 is millimetres; it came with R2000: DXF reference, header variables."""
    drawing = patterns_drawing(kit_of_patterns())
    modern, old = read_dxf(dxf_bytes(drawing)), read_dxf(dxf_bytes(drawing, "R12"))

    assert (modern.header["$ACADVER"], modern.header["$INSUNITS"]) == ("AC1024", "4")
    assert old.header["$ACADVER"] == "AC1009"
    assert "$INSUNITS" not in old.header
    assert ("TEXT", "all lengths in mm, warp along x") in old.texts
    assert ("CHECK_SQUARE", "100 mm") in old.texts


def test_arcs_are_arcs_and_every_reader_agrees_on_their_area():
    """A rectangle with round corners of 15 mm: area w h - (4 - pi) r^2, closed form."""
    piece = pattern(box(0, 0, 170, 90), trim=15.0)
    drawing = pattern_drawing(piece, arcs=True)
    outline = next(line for line in drawing.lines if line.layer == "CUT")
    exact = 200 * 120 - (4 - np.pi) * 15**2

    assert np.count_nonzero(outline.bulge) == 4
    assert len(outline.points) == 8
    assert ring_area(outline) == pytest.approx(exact, rel=1e-9)
    for version in VERSIONS:
        data = dxf_bytes(drawing, version)
        assert read_dxf(data).areas("CUT") == pytest.approx([exact], rel=1e-6)
        assert gdal(data)[0]["CUT"] == pytest.approx([exact], rel=1e-6)


def test_same_drawing_same_bytes_in_another_process_too():
    """Sets and dictionaries are hashed differently there; dates and ids must not come in."""
    code = (
        "import sys; sys.path[:0] = ['tests', '.']\n"
        "from export.kit import kit_of_patterns\n"
        "from flatten.export.dxf import dxf_bytes\n"
        "from flatten.export.svg import svg_bytes\n"
        "from flatten.export.pattern_drawing import patterns_drawing\n"
        "import hashlib\n"
        "d = patterns_drawing(kit_of_patterns())\n"
        "data = dxf_bytes(d) + dxf_bytes(d, 'R12', text_as_strokes=True) + svg_bytes(d)\n"
        "print(hashlib.sha256(data).hexdigest())\n"
    )
    sums = {
        subprocess.run(
            [sys.executable, "-c", code],
            check=True,
            capture_output=True,
            text=True,
            cwd=__file__.rsplit("/tests/", 1)[0],
            env={"PYTHONHASHSEED": seed, "PATH": ""},
        ).stdout
        for seed in ("1", "2")
    }

    assert len(sums) == 1
    assert len(sums.pop().strip()) == 64


def test_the_order_of_a_set_inside_the_library_changes_no_byte(monkeypatch):
    """It writes the classes in use as a set hands them out: every other process differed."""
    from ezdxf.entitydb import EntityDB

    real, drawing = EntityDB.dxf_types_in_use, patterns_drawing(kit_of_patterns())
    written = set()
    for turned in (False, True):
        monkeypatch.setattr(
            EntityDB, "dxf_types_in_use", lambda db, t=turned: sorted(real(db), reverse=t)
        )
        written.add(dxf_bytes(drawing))
    assert len(written) == 1


def test_only_cut_lines_are_cut_lines_alone():
    data = dxf_bytes(patterns_drawing(kit_of_patterns()), only_cut=True)
    own = read_dxf(data)

    assert {line.layer for line in own.lines} == {"CUT"}
    assert own.texts == []
    assert len(own.lines) == 5


def test_texts_as_strokes_leave_no_text():
    own = read_dxf(dxf_bytes(patterns_drawing(kit_of_patterns()), text_as_strokes=True))

    assert set(own.kinds) == {"LWPOLYLINE"}
    assert sum(line.layer == "TEXT" for line in own.lines) > 200


def test_marks_are_drawn_before_cuts_and_holes_before_outlines():
    own = read_dxf(dxf_bytes(patterns_drawing(kit_of_patterns())))
    layers = [line.layer for line in own.lines]
    cuts = [line for line in own.lines if line.layer == "CUT"]

    assert layers.index("CUT") == len(layers) - len(cuts)
    hole = min(cuts, key=lambda line: line.area)
    assert cuts.index(hole) == 0
    lefts = [min(x for x, _ in line.points) for line in cuts[1:]]
    assert lefts == sorted(lefts)


@pytest.mark.parametrize(
    "second", [box(100, 0, 200, 80), box(100, 20, 180, 60), box(0, 0, 100, 80)]
)
def test_a_common_edge_is_cut_once(second):
    """What is cut in all is the boundary of both, each stretch once."""
    squares = [box(0, 0, 100, 80), second]
    lines = tuple(
        Line(layer=CUT.name, points=np.array(s.exterior.coords)[:-1], closed=True, piece=str(i))
        for i, s in enumerate(squares)
    )
    own = read_dxf(dxf_bytes(Drawing(title="", layers=LAYERS, lines=lines)))

    length = sum(
        shapely.LineString([*line.points, line.points[0]] if line.closed else line.points).length
        for line in own.lines
    )
    expected = shapely.union_all([s.exterior for s in squares]).length
    assert length == pytest.approx(expected, abs=1e-6)


def test_edges_a_nest_lays_together_within_a_thousandth_are_cut_once():
    """Two equal pieces, one turned by 180 degrees about the middle of its edge, as nests do."""
    edge = [(0, 0), (40, 0.0009), (100, 0)]
    one = Polygon([*edge, (90, 70), (5, 60)])
    two = affinity.rotate(one, 180, origin=(50, 0.0004))
    lines = tuple(
        Line(layer=CUT.name, points=np.array(s.exterior.coords)[:-1], closed=True, piece=str(i))
        for i, s in enumerate((one, two))
    )
    own = read_dxf(dxf_bytes(Drawing(title="", layers=LAYERS, lines=lines)))

    length = sum(
        shapely.LineString([*line.points, line.points[0]] if line.closed else line.points).length
        for line in own.lines
    )
    assert length == pytest.approx(2 * one.length - 100, abs=0.02)


NAMES = ("Κάλυμμα καγιάκ", "Крышка люка", "カヤックのハッチ", "Søkajakklúke – ±45°")


@pytest.mark.parametrize("name", NAMES)
def test_names_in_any_script_come_back_from_r2010(name):
    data = dxf_bytes(patterns_drawing([pattern(box(0, 0, 200, 150), part=name)]))

    assert ("TEXT", name) in gdal(data)[1]


@pytest.mark.parametrize(
    ("name", "latin"),
    [
        ("Κάλυμμα καγιάκ", "Kalymma kagiak"),
        ("Крышка люка", "Kryshka lyuka"),
        ("カヤックのハッチ", "kayakunohachi"),
        ("ジュラルミン", "juraruminn"[:-1]),
        ("Søkajakk – 45°", "Sokajakk - 45 deg"),
    ],
)
def test_r12_spells_names_in_latin(name, latin):
    """Romanisation: ISO 843 and ISO 9 shortened, Hepburn; from memory."""
    data = dxf_bytes(patterns_drawing([pattern(box(0, 0, 200, 150), part=name)]), "R12")

    assert ("TEXT", latin) in gdal(data)[1]
    assert data.isascii()


def test_r12_refuses_what_it_cannot_spell_and_says_the_way_out():
    drawing = patterns_drawing([pattern(box(0, 0, 200, 150), part="舟の蓋")])

    with pytest.raises(InputError, match=r"no letter '舟'.*strokes"):
        dxf_bytes(drawing, "R12")
    assert read_dxf(dxf_bytes(drawing, "R12", text_as_strokes=True)).texts == []


EVIL = (
    "x\n0\nENDSEC\n0\nEOF\n",
    "a\r\n  0\r\nLINE\r\n  8\r\nCUT",
    "100%%dof %%u \\U+0041 \\P ^J {\\C1;red}",
    "\x00\x07\u202eabc\u2028\ud800",
)


@pytest.mark.parametrize("name", EVIL)
@pytest.mark.parametrize("version", VERSIONS)
def test_a_name_cannot_break_the_file(name, version):
    """Same entities as with a harmless name, and nothing else is read."""
    safe = read_dxf(dxf_bytes(patterns_drawing([pattern(box(0, 0, 200, 150))]), version))
    data = dxf_bytes(patterns_drawing([pattern(box(0, 0, 200, 150), part=name)]), version)

    assert read_dxf(data).kinds == safe.kinds
    assert len(gdal(data)[1]) == len(safe.texts)


@pytest.mark.parametrize(
    ("name", "shown"),
    [("50 % glass", "50 % glass"), ("a^b", "a^b"), ("100%%d", "100% %d"), ("C:\\Ulf", "C:\\Ulf")],
)
def test_signs_with_a_meaning_in_dxf_are_shown_as_typed(name, shown):
    """But for a double percent sign, which DXF cannot write: a blank parts it."""
    data = dxf_bytes(patterns_drawing([pattern(box(0, 0, 200, 150), part=name)]))

    assert ("TEXT", shown) in gdal(data)[1]


@pytest.mark.parametrize("version", VERSIONS)
def test_cut_lines_and_words_are_seen_on_a_dark_screen_too(version):
    """Colour 7 is black on white and white on black, a true colour is the same on both.

    Source: DXF reference, group codes 62 and 420, from memory.
    """
    data = dxf_bytes(patterns_drawing([pattern(box(0, 0, 200, 150))]), version)
    layers = ezdxf.read(io.StringIO(data.decode("utf-8"))).layers

    for name in (CUT.name, TEXT.name):
        assert layers.get(name).color == 7
        assert not layers.get(name).dxf.hasattr("true_color")
    assert layers.get(NET.name).dxf.hasattr("true_color") == (version == "R2010")


def test_bad_input_is_refused():
    drawing = Drawing(title="", layers=LAYERS)
    with pytest.raises(InputError, match="version is 'R14'"):
        dxf_bytes(drawing, "R14")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no pattern"):
        patterns_drawing([])
    with pytest.raises(InputError, match="finite"):
        Line(layer="CUT", points=np.array([[0, 0], [np.nan, 1]]))
    with pytest.raises(InputError, match="does not define"):
        Drawing(
            title="",
            layers=(CUT,),
            texts=(Text(layer=TEXT.name, text="x", at=np.zeros(2), height_mm=3),),
        )


@pytest.mark.skipif(shutil.which("librecad") is None, reason="a third reader, where it is at hand")
@pytest.mark.parametrize("version", VERSIONS)
def test_a_drawing_program_draws_the_same_areas(version, tmp_path):
    """A Debian CAD program prints it true to size; the enclosed pixels are counted."""
    piece = pattern(wavy(150, 100))
    (tmp_path / "p.dxf").write_bytes(dxf_bytes(pattern_drawing(piece), version, only_cut=True))

    subprocess.run(
        ["librecad", "dxf2pdf", "-c", "-s", "1", "-p", "500x400", str(tmp_path / "p.dxf")],
        check=True,
        capture_output=True,
        timeout=60,
        cwd=tmp_path,
        env={"QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"},
    )

    (page,) = pdf_pages((tmp_path / "p.pdf").read_bytes(), 127)  # five pixels a millimetre
    regions, count = label(page.min(axis=2) > 200)
    sizes = np.sort(np.bincount(regions.ravel())[1:])
    assert count == 2
    line = 0.5 * piece.cut.length  # a millimetre and less of the line's width lies inside
    assert piece.cut.area - line < sizes[0] / 25 < piece.cut.area
