"""The end check lets good work pass and stops each kind of wrong work.

Longer than most files: one test for each way in which files may be wrong.
"""

import base64
import re
import zlib
from dataclasses import replace

import numpy as np
import pytest
import shapely
from sample_jobs import dish_job
from shapely.affinity import affine_transform, translate

from flatten.deliver import deliver, files_of
from flatten.errors import SolveError
from flatten.export.drawing import Drawing, Line
from flatten.export.dxf import dxf_bytes
from flatten.export.layers import CUT
from flatten.export.paper import PaperSettings
from flatten.export.pattern_drawing import patterns_drawing
from flatten.export.roll_drawing import rolls_drawing
from flatten.export.settings import FileSettings
from flatten.export.svg import svg_bytes
from flatten.export.templates import templates_pdf
from flatten.export.tiles import plan_tiles
from flatten.pattern.alike import merge_identical
from flatten.run import run
from flatten.verify import verify
from flatten.verify_lines import ReadLine, dxf_lines, svg_lines
from flatten.verify_paper import check_paper
from flatten.verify_places import FileLines, Meant, check_sheets


@pytest.fixture(scope="module")
def good():
    job = dish_job()
    result = run(job)
    return job, result, files_of(result, job)


def with_pattern(result, **changes):
    first = result.pieces[0]
    pieces = (replace(first, pattern=replace(first.pattern, **changes)), *result.pieces[1:])
    return replace(result, pieces=pieces)


def triangle(x):
    return Line(layer=CUT.name, points=[[x, 0], [x + 10, 0], [x, 10]], closed=True)


def drawing_of(name, result, *, arcs=False):
    """The drawing a file is written from."""
    if name.startswith("patterns"):
        return patterns_drawing(result.patterns, arcs=arcs)
    return rolls_drawing(result.nests.values(), result.patterns, arcs=arcs)


def written(name, drawing, version="R2010"):
    return svg_bytes(drawing) if name.endswith("svg") else dxf_bytes(drawing, version)


def moved_piece(drawing, move, layers=("CUT", "NET_LINE", "ARROW")):
    """The drawing with lines of its last piece moved about the middle of those lines."""
    piece = [line for line in drawing.lines if line.layer == CUT.name][-1].piece
    own = [line for line in drawing.lines if line.piece == piece and line.layer in layers]
    points = np.concatenate([line.points for line in own])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return replace(
        drawing,
        lines=tuple(
            replace(line, points=move(line.points - middle) + middle) if line in own else line
            for line in drawing.lines
        ),
    )


def sheets_of(result, paper):
    return plan_tiles(merge_identical(result.patterns), paper)


def test_good_work_passes(good):
    _, result, files = good
    verify(result, files)


def test_a_stretched_drape_is_stopped(good):
    _, result, files = good
    first = result.pieces[0]
    fine = replace(first.drape.fine, flat=first.drape.fine.flat * 1.000001)
    wrong = replace(first, drape=replace(first.drape, fine=fine))
    with pytest.raises(SolveError, match="surface measures"):
        verify(replace(result, pieces=(wrong, *result.pieces[1:])), files)


def test_a_shrunken_net_is_stopped(good):
    _, result, files = good
    net = result.patterns[0].net.buffer(-1)
    with pytest.raises(SolveError, match="net outline measures"):
        verify(with_pattern(result, net=net), files)


def test_a_cut_line_inside_the_part_is_stopped(good):
    _, result, files = good
    pattern = result.patterns[0]
    with pytest.raises(SolveError, match="outside the cut line"):
        verify(with_pattern(result, cut=pattern.net.buffer(-2)), files)


def test_a_crossing_cut_line_is_stopped(good):
    _, result, files = good
    crossing = shapely.Polygon([(-400, -400), (400, 400), (400, -400), (-400, 400)])
    with pytest.raises(SolveError, match="crosses itself"):
        verify(with_pattern(result, cut=crossing), files)


@pytest.mark.parametrize("name", ["patterns.dxf", "roll.dxf", "patterns.svg"])
def test_a_file_that_lacks_a_piece_is_stopped(good, name):
    _, result, files = good
    small = Drawing(title="x", layers=(CUT,), lines=(triangle(0),))
    with pytest.raises(SolveError, match=r"holds 1 cut lines, \d were meant"):
        verify(result, {**files, name: written(name, small)})


WRONG = {
    "mirrored": (lambda p: p * [1, -1], "mirrored|off|belongs|not where"),
    "turned": (lambda p: p @ [[0, 1], [-1, 0]], "turned by 90|off|no cut line|belongs"),
    "half a turn": (lambda p: -p, "turned by 180|mirrored|off|arrow|belongs"),
    "scaled": (lambda p: p * 1.001, "scaled by 1.001|off|no cut line"),
    "stretched": (lambda p: p * [1.0, 1.0005], "scaled by 1 along x and 1.0|off|no cut line"),
}


@pytest.mark.parametrize("way", WRONG)
@pytest.mark.parametrize("name", ["patterns.dxf", "patterns.svg", "roll.dxf", "roll.svg"])
def test_a_piece_written_otherwise_than_meant_stops_the_run(good, name, way):
    """As a writer would do that takes one piece wrong, all else being right."""
    _, result, files = good
    move, why = WRONG[way]
    wrong = moved_piece(drawing_of(name, result), move)
    with pytest.raises(SolveError, match=f"end check of '{name}' failed: .*({why})"):
        verify(result, {**files, name: written(name, wrong)})


@pytest.mark.parametrize("version", ["R2010", "R12"])
@pytest.mark.parametrize("name", ["roll.dxf", "roll.svg"])
def test_a_piece_shifted_on_the_roll_is_stopped(good, name, version):
    _, result, files = good
    wrong = moved_piece(drawing_of(name, result), lambda p: p + [0.0, 0.05])
    with pytest.raises(SolveError, match=r"' lies up to 0\.05 mm off|belongs to no piece"):
        verify(result, {**files, name: written(name, wrong, version)})


@pytest.mark.parametrize("layer", ["CUT", "NET_LINE", "ARROW"])
@pytest.mark.parametrize("name", ["patterns.dxf", "patterns.svg", "roll.dxf"])
def test_one_kind_of_line_shifted_against_the_others_is_stopped(good, name, layer):
    _, result, files = good
    wrong = moved_piece(drawing_of(name, result), lambda p: p + [0.0, 0.05], layers=[layer])
    why = {"CUT": "cut line|net line", "NET_LINE": "net line", "ARROW": "warp arrow"}[layer]
    with pytest.raises(SolveError, match=why):
        verify(result, {**files, name: written(name, wrong)})


@pytest.mark.parametrize("name", ["patterns.dxf", "patterns.svg", "roll.dxf"])
@pytest.mark.parametrize("move", [lambda p: -p, lambda p: p @ [[0, 1], [-1, 0]]], ids=["180", "90"])
def test_an_arrow_that_points_elsewhere_is_stopped(good, name, move):
    """The weave is worked off the arrow: turned about its own middle it is as wrong as the cut."""
    _, result, files = good
    wrong = moved_piece(drawing_of(name, result), move, layers=["ARROW"])
    with pytest.raises(SolveError, match=r"warp arrow of '.*' is not where it was meant"):
        verify(result, {**files, name: written(name, wrong)})


def test_a_piece_drawn_twice_and_a_stray_line_are_stopped(good):
    _, result, files = good
    drawing = drawing_of("patterns.dxf", result)
    twice = replace(drawing, lines=(*drawing.lines, *drawing.moved(0, 900).lines))
    with pytest.raises(SolveError, match=r"it holds \d cut lines, \d were meant"):
        verify(result, {**files, "patterns.dxf": dxf_bytes(twice)})
    stray = Line(layer=CUT.name, points=[[0, -50], [300, -50]])
    more = replace(drawing, lines=(*drawing.lines, stray))
    with pytest.raises(SolveError, match=r"line at x 0\.0, y -50\.0 mm belongs to no piece"):
        verify(result, {**files, "patterns.dxf": dxf_bytes(more)})


@pytest.mark.parametrize("version", ["R2010", "R12"])
@pytest.mark.parametrize("arcs", [False, True])
@pytest.mark.parametrize("only_cut", [False, True])
def test_every_way_of_writing_passes(good, version, arcs, only_cut):
    _, result, files = good
    for name in ("patterns.dxf", "roll.dxf"):
        drawing = drawing_of(name, result, arcs=arcs)
        written = dxf_bytes(drawing, version, only_cut=only_cut)
        verify(result, {name: written}, settings=FileSettings(only_cut_lines=only_cut))
    for name in ("patterns.svg", "roll.svg"):
        verify(result, {**files, name: svg_bytes(drawing_of(name, result, arcs=arcs))})


ON_PAPER = {
    "mirrored": ([1, 0, 0, -1, 0, 0], "off|belongs|pages"),
    "turned": ([0, -1, 1, 0, 0, 0], "off|belongs|pages|arrow"),
    "half a turn": ([-1, 0, 0, -1, 0, 0], "off|belongs|pages|arrow"),
    "scaled": ([1.0005, 0, 0, 1.0005, 0, 0], "off|belongs|pages"),
}


@pytest.mark.parametrize("way", ON_PAPER)
def test_a_piece_printed_otherwise_than_meant_stops_the_run(good, way):
    job, result, files = good
    matrix, why = ON_PAPER[way]
    first, *rest = merge_identical(result.patterns)
    turn = np.array(matrix[:4]).reshape(2, 2)
    wrong = replace(
        first,
        cut=affine_transform(first.cut, matrix),
        net=affine_transform(first.net, matrix),
        arrow=first.arrow @ turn.T,
    )
    printed = templates_pdf([wrong, *rest], job.settings.paper)
    with pytest.raises(SolveError, match=f"end check of 'templates.pdf.* failed: .*({why})"):
        verify(result, {**files, "templates.pdf": printed}, sheets_of(result, job.settings.paper))


def test_paper_drawn_for_another_printer_or_with_a_line_shifted_is_stopped(good):
    """A wrong scale of 1 % is 2 mm on a sheet; a page's line moved by 0.05 mm is seen too."""
    _, result, files = good
    patterns = merge_identical(result.patterns)
    plan = sheets_of(result, PaperSettings())
    other = templates_pdf(patterns, PaperSettings(scale_x=1.01))
    with pytest.raises(SolveError, match=r"sheet 1-A1' failed: .*'p1'"):
        verify(result, {**files, "templates.pdf": other}, plan)
    moved = replace(patterns[0], net=translate(patterns[0].net, 0.05, 0))
    shifted = templates_pdf([moved, *patterns[1:]], PaperSettings())
    with pytest.raises(SolveError, match=r"net line of 'p1' lies up to 0\.05\d* mm off"):
        verify(result, {**files, "templates.pdf": shifted}, plan)


def test_paper_that_lacks_a_pattern_or_a_sheet_is_stopped(good):
    job, result, files = good
    one, other = merge_identical(result.patterns)
    plan = sheets_of(result, job.settings.paper)
    own = plan_tiles([one], job.settings.paper)
    alone = templates_pdf([one], job.settings.paper, plan=own)
    with pytest.raises(SolveError, match=r"it holds 3 pages, 4 were meant"):
        verify(result, {**files, "templates.pdf": alone}, plan)
    smaller = replace(one, cut=one.cut.buffer(-1), net=one.net.buffer(-1))
    own = plan_tiles([smaller], job.settings.paper)
    alone = templates_pdf([smaller], job.settings.paper, plan=own)
    with pytest.raises(SolveError, match=r"no sheet shows 'p1'"):
        verify(result, {**files, "templates.pdf": alone}, own)
    groups = [replace(group, tiles=group.tiles[1:]) for group in plan.groups]
    less = replace(plan, groups=tuple(groups))
    printed = templates_pdf([one, other], job.settings.paper, plan=less)
    with pytest.raises(SolveError, match=r"no sheet shows all of 'p1'"):
        verify(result, {**files, "templates.pdf": printed}, less)


def test_pieces_as_alike_as_one_template_serves_are_not_missed_on_paper(good):
    """Outlines 0.2 mm apart, half a per cent of the area; 1 mm apart they are two pieces."""
    job, result, _ = good
    one = merge_identical(result.patterns)[0]
    plan = plan_tiles([one], job.settings.paper)
    content = templates_pdf([one], job.settings.paper, plan=plan)

    check_paper(content, plan, [one, replace(one, cut=one.cut.buffer(0.2))])

    with pytest.raises(SolveError, match="no sheet shows 'p9'"):
        check_paper(content, plan, [one, replace(one, id="p9", cut=one.cut.buffer(1.0))])


def test_a_cut_line_that_is_not_closed_on_paper_is_stopped(good):
    """Every corner is there, one stretch between two is not: in the file's own operators."""
    _, result, files = good
    paper = PaperSettings(roll_width_mm=610.0)  # whole outlines on one sheet
    printed = templates_pdf(merge_identical(result.patterns), paper)
    harmed = 0

    def open_cut(match):
        nonlocal harmed
        page = zlib.decompress(base64.a85decode(match[1].strip().removesuffix(b"~>")))
        less, count = re.subn(rb"(\.5 w\n\.1 \.11 \.13 RG\n[^S]*?) h\nS", rb"\1\nS", page, count=1)
        harmed += count
        packed = base64.a85encode(zlib.compress(less)) + b"~>"
        return b"stream\n" + packed + b"endstream"

    packed = re.compile(rb"stream\n(Gb?[!-u\s]+~>)endstream")
    wrong = packed.sub(open_cut, printed)
    assert harmed
    with pytest.raises(SolveError, match=r"cut line of 'p\d' lies up to .* mm off"):
        verify(result, {**files, "templates.pdf": wrong}, sheets_of(result, paper))


@pytest.mark.parametrize(
    "paper",
    [
        PaperSettings(),
        PaperSettings(sheet="A3", scale_x=0.99, scale_y=1.01),
        PaperSettings(roll_width_mm=610.0, scale_y=0.995),
    ],
    ids=["plain", "corrected", "roll"],
)
def test_every_kind_of_paper_passes(good, paper):
    _, result, files = good
    printed = templates_pdf(merge_identical(result.patterns), paper)
    verify(result, {**files, "templates.pdf": printed}, sheets_of(result, paper))


def test_neighbours_that_share_a_cut_pass_and_a_shifted_one_does_not():
    """Two squares edge to edge: the shared side is drawn once, so one outline is open."""
    square = np.array([[0.0, 0], [100, 0], [100, 80], [0, 80], [0, 0]])
    pieces = [
        Meant(name=name, rings=((square + [x, 0],), (square + [x, 0],)), arrow=None)
        for name, x in (("a", 0), ("b", 100))
    ]

    def lines(shift):
        rings = [piece.rings[0][0][:-1] for piece in pieces]
        drawn = [Line(layer=CUT.name, points=rings[0], closed=True)]
        drawn.append(Line(layer=CUT.name, points=rings[1] + [shift, 0], closed=True))
        return dxf_lines(dxf_bytes(Drawing(title="x", layers=(CUT,), lines=tuple(drawn))))

    assert [line.closed for line in lines(0)] == [True, False]
    check_sheets(FileLines("roll.dxf", lines(0), marked=False), [pieces])
    with pytest.raises(SolveError, match=r"cut line of 'b' lies up to 0.3 mm off"):
        check_sheets(FileLines("roll.dxf", lines(0.3), marked=False), [pieces])


def test_equal_sheets_stand_one_above_the_other():
    """The second of two sheets with the same pieces is not taken for the first."""
    square = np.array([[0.0, 0], [100, 0], [100, 80], [0, 80], [0, 0]])
    sheet = [Meant(name="a", rings=((square,), (square,)), arrow=None)]

    def file(rises):
        lines = tuple(
            Line(layer=CUT.name, points=square[:-1] + [0, rise], closed=True) for rise in rises
        )
        content = dxf_bytes(Drawing(title="x", layers=(CUT,), lines=lines))
        return FileLines("r", dxf_lines(content), marked=False)

    check_sheets(file([0, 320]), [sheet, sheet])
    with pytest.raises(SolveError, match="lies up to 5 mm off"):
        check_sheets(file([5, 320]), [sheet, sheet])


def test_nothing_is_written_when_it_fails(good, tmp_path):
    job, result, _ = good
    with pytest.raises(SolveError):
        deliver(with_pattern(result, net=result.patterns[0].net.buffer(-1)), job, tmp_path / "cut")
    assert not (tmp_path / "cut").exists()


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_the_reader_finds_closed_outlines(version):
    square = Line(layer=CUT.name, points=[[0, 0], [30, 0], [30, 20], [0, 20]], closed=True)
    drawing = Drawing(title="x", layers=(CUT,), lines=(square,))

    (line,) = dxf_lines(dxf_bytes(drawing, version=version))

    assert (line.layer, line.closed) == ("CUT", True)
    assert shapely.Polygon(line.points[:, :2]).area == 600.0


@pytest.mark.parametrize("turn_deg", [40, 180, 300])
@pytest.mark.parametrize("side", [1, -1])
def test_chords_of_an_arc_lie_on_its_circle(turn_deg, side):
    """Bulge = tan of a quarter of the arc's angle, positive to the left (DXF reference)."""
    angle = np.radians(turn_deg)
    start, end = np.array([10.0, 0]), 10 * np.array([np.cos(angle), side * np.sin(angle)])
    bulge = side * np.tan(np.radians(turn_deg) / 4)
    line = ReadLine(layer="CUT", closed=False, points=np.array([[*start, bulge], [*end, 0.0]]))

    chords = line.chords()

    assert np.hypot(*chords.T) == pytest.approx(10, rel=1e-12)
    assert chords[[0, -1]] == pytest.approx(np.array([start, end]), abs=1e-12)
    middles = (chords[1:] + chords[:-1]) / 2
    assert 10 - np.hypot(*middles.T).min() < 0.0011
    length = np.hypot(*np.diff(chords, axis=0).T).sum()
    assert length == pytest.approx(10 * np.radians(turn_deg), rel=1e-3)
    drawn = Line(
        layer=CUT.name, points=np.array([start, end]), bulge=np.array([bulge, 0.0]), closed=False
    )
    content = svg_bytes(Drawing(title="x", layers=(CUT,), lines=(drawn,)))
    again = next(iter(svg_lines(content)))
    assert again.points[0, 2] == pytest.approx(bulge, rel=1e-3)
