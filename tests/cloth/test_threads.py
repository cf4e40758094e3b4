"""Threads on the mould: level lines of the flat coordinates."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from flatten.cloth.threads import thread_lines
from flatten.errors import InputError


def sheet(size, cells):
    line = np.linspace(0, size, cells + 1)
    x, y = np.meshgrid(line, line)
    number = np.arange((cells + 1) ** 2).reshape(cells + 1, cells + 1)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    return np.column_stack([x.ravel(), y.ravel()]), faces


def test_on_a_plane_each_thread_is_a_straight_line_of_full_length():
    """100 mm square, threads every 7 mm: 14 inner lines each way, 100 mm long."""
    flat, faces = sheet(100, 9)
    points = np.column_stack([flat, 0 * flat[:, 0]])
    warp, weft = thread_lines(points, flat, faces, 7.0)

    for lines, axis in ((warp, 1), (weft, 0)):
        assert_allclose(lines[:, 0, axis], lines[:, 1, axis], atol=1e-9)
        assert_allclose(np.unique(np.round(lines[:, 0, axis], 6)), 7 * np.arange(1, 15))
        length = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum()
        assert length == pytest.approx(1400, rel=1e-9)


def test_lines_through_vertices_are_drawn_once():
    """Spacing equal to the cells: nine lines along inner edges, one along the far rim."""
    flat, faces = sheet(100, 10)
    warp, _ = thread_lines(np.column_stack([flat, 0 * flat[:, 0]]), flat, faces, 10.0)

    length = np.linalg.norm(warp[:, 1] - warp[:, 0], axis=1).sum()
    assert length == pytest.approx(1000, rel=1e-9)


def test_a_spacing_of_zero_is_refused():
    flat, faces = sheet(10, 1)
    with pytest.raises(InputError, match="spacing"):
        thread_lines(np.column_stack([flat, 0 * flat[:, 0]]), flat, faces, 0.0)
