"""How long a dart must be: the search on cloths whose excess over the limit is a known line."""

from types import SimpleNamespace

import numpy as np
import pytest
from cloth.test_relief import TWILL, plane

from flatten.cloth import relief_search
from flatten.cloth.drape import drape_surface
from flatten.cloth.relief_line import shortest_to_rim
from flatten.cloth.relief_part import _better, _tack_on
from flatten.cloth.relief_search import (
    excess_deg,
    find_lengths,
    lengthen,
    reference_mesh,
    refine_lengths,
)
from flatten.progress import silent
from flatten.surface.mesh import SurfaceMesh


def orbit(length_mm=20.0, longest_mm=100.0, **more):
    return SimpleNamespace(length_mm=length_mm, longest_mm=longest_mm, enough=True, **more)


@pytest.fixture
def cloth(monkeypatch):
    """Let each orbit's excess be a function of its length; what was tried is kept."""

    def set_to(*excess):
        tried = []

        def instead(surface, orbits, lengths, fabric, drape):
            tried.append(np.array(lengths))
            return np.array([f(length) for f, length in zip(excess, lengths, strict=True)])

        monkeypatch.setattr(relief_search, "_try", instead)
        return tried

    return set_to


def line(end_mm, slope=0.5):
    return lambda length: slope * (end_mm - length)


def test_lengths_tried_together_end_where_each_line_reaches_zero(cloth):
    """Between two tries the line is straight, so its zero is met to rounding."""
    tried = cloth(line(47.0), line(31.5, 2.0))
    orbits = [orbit(), orbit()]

    find_lengths(None, orbits, TWILL, None, silent)

    assert [one.length_mm for one in orbits] == pytest.approx([47.0, 31.5], abs=1e-9)
    assert all(one.enough for one in orbits)
    assert len(tried) == 3  # 31.25 mm grown by a quarter: 48.8 is the first beyond 47


def test_a_dart_as_long_as_may_be_that_still_locks_is_not_enough(cloth):
    cloth(line(250.0), line(30.0))
    orbits = [orbit(), orbit()]

    find_lengths(None, orbits, TWILL, None, silent)

    assert [one.enough for one in orbits] == [False, True]
    assert orbits[0].length_mm == 100.0


def test_a_rough_length_is_made_exact_and_a_weak_dart_left_alone(cloth):
    tried = cloth(line(40.0), line(250.0))
    weak = orbit(length_mm=90.0)
    weak.enough = False
    orbits = [orbit(length_mm=52.0), weak]

    refine_lengths(None, orbits, TWILL, None, silent)

    assert orbits[0].length_mm == pytest.approx(40.0, abs=1e-6)
    assert weak.length_mm == 90.0
    assert len(tried) < 6  # a weak one costs no drape


def test_a_mesh_on_which_nothing_comes_to_rest_changes_no_length(cloth):
    cloth(lambda length: np.nan)
    one = orbit(length_mm=52.0)

    refine_lengths(None, [one], TWILL, None, silent)

    assert one.length_mm == 52.0


@pytest.mark.parametrize(("bad", "wanted"), [((), 44.0), ((44.0,), 42.5), ((44.0, 42.5), 45.5)])
def test_an_end_that_sits_badly_among_its_triangles_is_moved(monkeypatch, bad, wanted):
    """A dart goes 4 mm on; where that end locks it is tried 1.5 mm either way, then 3 mm on."""
    laid = SimpleNamespace(converged=True)
    monkeypatch.setattr(relief_search, "slit_all", lambda surface, orbits: surface)
    monkeypatch.setattr(
        relief_search,
        "excess_deg",
        lambda drape, orbits, fabric: [2.0 if one.length_mm in bad else -1.0 for one in orbits],
    )
    one = orbit(length_mm=40.0)

    assert lengthen(None, [one], TWILL, lambda surface: laid, silent) is laid
    assert one.length_mm == wanted


def sheared(shear_deg):
    """Cloth on a plate of 100 x 60 mm sheared by so much, at each face's middle."""
    surface = plane(cells=50)
    middle = surface.corners.mean(axis=1)
    strain = np.zeros((len(surface.faces), 3))
    strain[:, 2] = np.radians(shear_deg(middle))
    fine = SimpleNamespace(surface=surface, flat=surface.vertices[:, :2], strain=strain)
    return SimpleNamespace(fine=fine)


def test_cloth_at_its_limit_locks_and_a_degree_below_it_does_not():
    """Below by more than drapes of two meshes differ, half a degree, and no more than needed."""
    one = [orbit(tips=[np.array([20.0, 30, 0])])]
    at, below = (
        excess_deg(sheared(lambda m, d=deg: np.full(len(m), d)), one, TWILL)[0]
        for deg in (TWILL.shear_lock_deg, TWILL.shear_lock_deg - 1)
    )
    assert at > 0 > below
    assert at - below == pytest.approx(1.0, abs=1e-9)


def test_shear_round_the_end_of_a_dart_is_not_counted_and_beside_it_is():
    """It is singular there on any mesh: 3 mm round the tip, though 26 mm2 are 80 degrees."""
    tip = np.array([50.0, 30, 0])

    def peak(at):
        return lambda middle: np.where(np.linalg.norm(middle - at, axis=1) < 2.0, 80.0, 20.0)

    one = [orbit(tips=[tip])]
    assert excess_deg(sheared(peak(tip)), one, TWILL)[0] < 0
    assert excess_deg(sheared(peak(tip + [20, 0, 0])), one, TWILL)[0] > 0


def test_each_dart_answers_for_the_cloth_nearest_to_it():
    tips = [np.array([20.0, 30, 0]), np.array([80.0, 30, 0])]
    orbits = [orbit(tips=[tip]) for tip in tips]
    left = sheared(lambda middle: np.where(middle[:, 0] < 40, 70.0, 10.0))
    locked, lies = excess_deg(left, orbits, TWILL)
    assert locked == pytest.approx(70 - 50 + 0.5, abs=0.5)
    assert lies < -30


def test_the_reference_mesh_is_fine_where_a_dart_may_end():
    """Edges of 1.5 mm, halved from longer ones, within 5 mm of the end and of 10 mm on."""
    surface = plane(1000.0, 600.0, cells=10)
    start = shortest_to_rim(surface, np.array([410.0, 500.0, 0.0]))
    fine = reference_mesh(surface, [orbit(length_mm=60.0, lines=[start])])
    ends = fine.vertices[fine.edges.vertices]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    for y in (544.0, 540.0, 534.0, 530.0):  # 4 mm before the end, at it, 6 and 10 mm beyond
        near = np.linalg.norm(ends.mean(axis=1) - [410, y, 0], axis=1) < 4
        assert near.sum() > 10
        assert length[near].max() <= 1.5 * np.sqrt(2) + 1e-9
    assert np.median(length) > 3.0  # elsewhere as 45,000 triangles make it


def test_a_part_without_the_tack_point_keeps_the_fibres_direction():
    """On a plate cloth lies as it comes: the warp at 30 degrees to x is so on every part."""
    surface = plane()
    warp = np.array([np.cos(np.pi / 6), np.sin(np.pi / 6), 0])
    whole = drape_surface(surface, TWILL, tack_mm=(20, 20, 0), warp=warp)
    right = SurfaceMesh(surface.vertices, surface.faces[surface.corners.mean(axis=1)[:, 0] > 60])

    tack, there = _tack_on(whole, right)

    np.testing.assert_allclose(there, warp, atol=1e-6)
    np.testing.assert_allclose(tack, [80, 30, 0], atol=2.0)  # its middle, on an edge of 5 x 3 mm
    same, given = _tack_on(whole, surface)
    np.testing.assert_allclose(same, [20, 20, 0], atol=1e-9)
    np.testing.assert_allclose(given, warp, atol=1e-9)


def test_the_splices_that_leave_clearly_less_locked_are_better_else_the_shorter():
    def parted(locked, length, rests=True):
        return SimpleNamespace(
            lies=[SimpleNamespace(locked_mm2=locked)],
            drapes=[SimpleNamespace(converged=rests)],
            length_mm=length,
        )

    assert _better(parted(10, 300), parted(100, 100))
    assert not _better(parted(100, 100), parted(10, 300))
    assert _better(parted(100, 100), parted(95, 300))
    assert _better(parted(100, 300), parted(10, 100, rests=False))
