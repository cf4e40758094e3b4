"""The end check lets good work pass and stops each kind of wrong work."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from sample_jobs import dish_job

from flatten.deliver import deliver, files_of
from flatten.errors import SolveError
from flatten.export.drawing import Drawing, Line
from flatten.export.dxf import dxf_bytes
from flatten.export.layers import CUT
from flatten.run import run
from flatten.verify import _ring_area, cut_rings, verify


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


@pytest.mark.parametrize("name", ["patterns.dxf", "roll.dxf"])
def test_a_file_that_lacks_a_piece_or_has_another_size_is_stopped(good, name):
    _, result, files = good
    small = Drawing(title="x", layers=(CUT,), lines=(triangle(0),))
    with pytest.raises(SolveError, match="1 cut lines, 2 were meant"):
        verify(result, {**files, name: dxf_bytes(small)})
    moved = Drawing(title="x", layers=(CUT,), lines=(triangle(20),))
    two = Drawing(title="x", layers=(CUT,), lines=(*small.lines, *moved.lines))
    with pytest.raises(SolveError, match=r"round .* mm2, not"):
        verify(result, {**files, name: dxf_bytes(two)})


def test_nothing_is_written_when_it_fails(good, tmp_path):
    job, result, _ = good
    with pytest.raises(SolveError):
        deliver(with_pattern(result, net=result.patterns[0].net.buffer(-1)), job, tmp_path / "cut")
    assert not (tmp_path / "cut").exists()


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_the_reader_finds_closed_outlines(version):
    square = Line(layer=CUT.name, points=[[0, 0], [30, 0], [30, 20], [0, 20]], closed=True)
    rings = list(
        cut_rings(dxf_bytes(Drawing(title="x", layers=(CUT,), lines=(square,)), version=version))
    )

    assert [abs(_ring_area(ring)) for ring in rings] == [600.0]


def test_the_area_of_a_ring_with_arcs():
    """A half circle of radius 10 on a chord of 20: pi / 2 x 100."""
    ring = np.array([[0, 0, 1.0], [20, 0, 0.0]])
    assert abs(_ring_area(ring)) == pytest.approx(50 * np.pi, rel=1e-12)
