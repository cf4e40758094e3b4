"""Where a box of text fits inside a piece: on a grid first, then proved exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon, affinity
from shapely.geometry.base import BaseGeometry

from ..arrays import Bools, Floats, Ints

CELLS = 220  # of the grid along the longer side: 1.4 mm on a 300 mm piece
TRIES = 40  # candidates proved exactly before a box is said not to fit


def inscribed_circle(area: Polygon) -> tuple[Floats, float]:
    """Return the middle (2,) and radius of the largest circle inside, mm."""
    radius = shapely.maximum_inscribed_circle(area, tolerance=0.5)
    (x, y), end = radius.coords[0], radius.coords[-1]
    return np.array([x, y]), float(np.hypot(end[0] - x, end[1] - y))


def long_side_deg(area: Polygon) -> float:
    """Return the direction of the longer side of the smallest box round it, -90 to 90."""
    box = shapely.minimum_rotated_rectangle(area)
    sides = np.diff(np.array(box.exterior.coords)[:3], axis=0)
    along = sides[np.linalg.norm(sides, axis=1).argmax()]
    return readable_deg(float(np.degrees(np.arctan2(along[1], along[0]))))


def readable_deg(turn_deg: float) -> float:
    """Return the turn that keeps a text from standing on its head, -90 to 90."""
    turned = (turn_deg + 90.0) % 180.0 - 90.0
    return 90.0 if turned == -90.0 else turned


def box_at(at: Floats, width: float, height: float, turn_deg: float) -> Polygon:
    """Return a turned box round its middle (2,), mm."""
    x, y = float(at[0]), float(at[1])
    box = shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    return affinity.rotate(box, turn_deg, origin=(x, y)) if turn_deg else box


def place_box(
    free: BaseGeometry, width: float, height: float, *, near: Floats, turn_deg: float = 0.0
) -> Floats | None:
    """Return the middle (2,) of a box inside `free`, as near to `near` as can be; None: no room."""
    if free.is_empty or width * height > free.area:
        return None
    turned = affinity.rotate(free, -turn_deg, origin=(0, 0)) if turn_deg else free
    x0, y0, x1, y1 = turned.bounds
    if width > x1 - x0 or height > y1 - y0:
        return None
    step = max(max(x1 - x0, y1 - y0) / CELLS, min(width, height) / 12)
    xs, ys = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    grid_x, grid_y = np.meshgrid(xs, ys)
    shapely.prepare(turned)
    inside = shapely.contains_xy(turned, grid_x, grid_y)
    fits = _all_inside(inside, max(int(height / step), 1), max(int(width / step), 1))
    rows, columns = np.nonzero(fits)
    if not len(rows):
        return None
    angle = np.radians(turn_deg)
    back = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    # the window of cells that starts at (row, column): its middle
    middle = np.column_stack(
        [
            xs[columns] + step * (max(int(width / step), 1) - 1) / 2,
            ys[rows] + step * (max(int(height / step), 1) - 1) / 2,
        ]
    )
    middle = middle @ back.T
    distance = np.linalg.norm(middle - near, axis=1)
    order = np.argsort(distance, kind="stable")
    for candidate in _spread(order):
        if free.contains(box_at(middle[candidate], width, height, turn_deg)):
            return np.array(middle[candidate])
    return None


def _spread(order: Ints) -> Sequence[int]:
    """Return the nearest few candidates, then others spread over all of them."""
    if len(order) <= TRIES:
        return [int(i) for i in order]
    near = order[: TRIES // 2]
    far = order[np.linspace(TRIES // 2, len(order) - 1, TRIES // 2).astype(int)]
    return [int(i) for i in [*near, *far]]


def _all_inside(inside: Bools, rows: int, columns: int) -> Bools:
    """Return which windows of rows x columns cells lie inside altogether."""
    if rows > inside.shape[0] or columns > inside.shape[1]:
        return np.zeros((0, 0), bool)
    total = np.zeros((inside.shape[0] + 1, inside.shape[1] + 1), np.int64)
    total[1:, 1:] = inside.cumsum(axis=0).cumsum(axis=1)
    count = (
        total[rows:, columns:]
        - total[:-rows, columns:]
        - total[rows:, :-columns]
        + total[:-rows, :-columns]
    )
    return np.asarray(count == rows * columns)
