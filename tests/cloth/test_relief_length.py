"""Which length of a dart is tried next: on cloths whose excess over the limit is a known curve."""

from types import SimpleNamespace

import numpy as np
import pytest
from cloth.test_relief import TWILL, plane
from cloth.test_relief_search import cloth, orbit  # noqa: F401

from flatten.cloth import relief_search
from flatten.cloth.relief_length import NEVER_DEG, next_grown, next_length
from flatten.cloth.relief_line import shortest_to_rim
from flatten.cloth.relief_search import find_lengths, remembered, sought_mesh, within_steps
from flatten.progress import silent

GROWTH = 1.25


def grown(excess, first, shortest=10.0, longest=120.0):
    """Return the length found and those tried on the way."""
    tried, length, done = [], first, False
    while not done:
        tried.append((length, excess(length)))
        length, done = next_grown(tried, shortest, longest, GROWTH)
        assert len(tried) < 15
    return length, [one for one, _ in tried]


@pytest.mark.parametrize("first", [15.0, 35.0, 45.0, 60.0, 110.0])
def test_a_length_is_met_from_either_side(first):
    """A straight line is met exactly; of the lengths tried no more than one locks from above."""
    found, tried = grown(lambda length: 2.0 * (40.0 - length), first)

    assert found == pytest.approx(40.0, abs=1e-9)
    if first > 40:
        assert sum(length < 40 for length in tried) <= 1


def test_cloth_too_slow_to_lay_says_only_that_it_locks():
    """Below 40 mm nothing is known, above the shear falls ever more slowly: 40 to a twentieth, and
    never below a length that locked."""

    def excess(length):
        return NEVER_DEG if length < 40 else -30.0 * (1 - np.exp((40 - length) / 15))

    for first in (20.0, 38.0, 45.0, 90.0):
        found, tried = grown(excess, first)
        assert max((one for one in tried if one < 40), default=0) <= found
        assert found == pytest.approx(40.0, rel=0.1)


def test_the_least_a_dart_may_be_and_the_most_are_the_ends():
    assert grown(lambda length: -5.0, 30.0)[0] == 10.0
    found, tried = grown(lambda length: 5.0, 30.0)
    assert found == tried[-1] == 120.0


def test_far_above_where_it_falls_slowly_a_line_is_not_followed_far():
    """-28.9 at 87 mm, -31.8 at 94: the line is zero at 20 mm, where cloth takes longest to lay."""
    length, done = next_length([(86.95, -28.9), (93.91, -31.8)], 160.0)
    assert not done
    assert length > 0.75 * 86.95


def test_a_second_length_is_sought_nearer_to_where_it_locks():
    """From 14 degrees below the limit shorter, not by all of it, and far enough for a line; from 1
    degree below longer."""
    shorter, _ = next_length([(45.0, -14.0)], 100.0)
    assert 45.0 - 14.0 / 2.5 < shorter < 42.0
    assert next_length([(45.0, -1.0)], 100.0)[0] > 45.0


def test_between_a_length_that_locks_and_one_that_lies_a_second_that_lies_is_sought():
    """The line is zero at 68.7 mm; 2.5 mm on it lies, and the two that lie tell the length."""
    tried = [(68.4, 0.6), (76.4, -16.0)]
    length, done = next_length(tried, 160.0)
    assert (length, done) == (pytest.approx(68.4 + 8.0 * 0.6 / 16.6 + 2.5), False)


def test_a_drape_is_given_so_many_steps():
    def drape(steps):
        def laid(progress):
            for _ in range(steps):
                progress(0.5, "Laying the cloth")
            return "drape"

        return laid

    heard = []
    assert within_steps(drape(3), 3, lambda share, what: heard.append(what)) == "drape"
    assert len(heard) == 3
    assert within_steps(drape(4), 3, silent) is None
    assert within_steps(drape(400), None, silent) == "drape"


def test_what_was_laid_is_not_laid_again():
    """Told by its triangles and places, not by being the same object."""
    laid = []

    def drape(mesh):
        laid.append(mesh)
        return SimpleNamespace(surface=mesh)

    known = remembered(drape)
    first = known(plane())
    assert known(plane()) is first
    assert known(plane(cells=21)) is not first
    assert known(plane(width=101.0)) is not first
    assert len(laid) == 3


def test_lengths_found_roughly_lie_as_far_below_the_limit_as_is_asked(cloth):  # noqa: F811
    tried = cloth(lambda length: 47.0 - length, lambda length: 31.5 - length)
    one, other = orbit(), orbit(length_mm=30.0)

    find_lengths(None, [one, other], TWILL, None, silent, margin_deg=0.5)

    assert one.length_mm == pytest.approx(47.5, abs=1e-9)
    assert other.length_mm == pytest.approx(32.0, abs=1e-9)
    assert one.enough
    assert other.enough
    assert len(tried) < 5


def test_cloth_that_does_not_come_to_rest_tells_of_no_single_dart(monkeypatch):
    """Both grow until it does, and end at lengths at which it lies."""

    def instead(surface, orbits, lengths, fabric, drape):
        excess = np.array([47.0, 31.5]) - lengths
        return excess if (excess <= 0).all() else np.full(2, np.nan)

    monkeypatch.setattr(relief_search, "_try", instead)
    orbits = [orbit(), orbit(length_mm=30.0)]

    find_lengths(None, orbits, TWILL, None, silent)

    assert all(one.enough for one in orbits)
    assert orbits[0].length_mm >= 47.0 * 0.95
    assert orbits[1].length_mm >= 31.5


def test_the_sought_mesh_is_fine_along_the_dart_alone():
    surface = plane(1000.0, 600.0, cells=10)
    start = shortest_to_rim(surface, np.array([410.0, 500.0, 0.0]))
    mesh = sought_mesh(surface, [orbit(length_mm=40.0, lines=[start])], 6.0)
    ends = mesh.vertices[mesh.edges.vertices]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    middle = ends.mean(axis=1)
    for y in (560.0, 530.0, 502.0):  # from what is thought up to what may be
        near = np.linalg.norm(middle - [410, y, 0], axis=1) < 10
        assert near.sum() > 10
        assert length[near].max() <= 1.5 * 6.0 * np.sqrt(2)
    assert length.max() > 60
    assert len(mesh.faces) < 4000


def test_two_lengths_that_lie_alike_are_far_above_or_all_there_is():
    """23 degrees below the limit and no less at another length: shorter; 1 degree below: found."""
    length, done = next_length([(93.7, -23.8), (101.7, -23.0)], 160.0)
    assert (length, done) == (pytest.approx(0.8 * 93.7), False)
    alike = [(93.7, -1.0), (101.7, -1.0), (109.8, -1.0)]
    assert next_length(alike, 160.0) == (93.7, True)
    assert next_length([(45.0, -7.0)], 160.0)[0] > 45.0


def test_a_length_that_only_just_lies_is_not_one_of_two_points_of_a_line():
    """A line through 40 mm, 2 degrees a mm, but its end at 42 mm sits badly, by 2 degrees."""
    tried = [(42.0, -2.0), (50.0, -20.0)]
    middle, done = next_length(tried, 100.0)
    assert (middle, done) == (46.0, False)
    length, done = next_length([*tried, (middle, -12.0)], 100.0)
    assert done
    assert 40.0 < length < 41.0  # through the ends alone 41.1
