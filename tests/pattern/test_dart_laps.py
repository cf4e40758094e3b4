"""A lap over the other side of its dart: the knife parts the two sides, trim and all."""

import numpy as np
import pytest
import shapely
from pattern.pieces import laid
from pattern.test_allowance import of_polygon
from shapely import Polygon, box

from flatten.pattern.allowance import allowance
from flatten.pattern.outline import outline
from flatten.pattern.slits import KERF_MM

TIP, TOP, TRIM, LAP = np.array([50.0, 20.0]), 60.0, 15.0, 25.0


def darted(half_mm, rise_mm, over):
    """A plate of 100 x 60 with a dart from above; the top falls away from it by `rise_mm`."""
    right, left = np.array([50 + half_mm, TOP]), np.array([50 - half_mm, TOP])
    far = TOP + rise_mm
    plate = Polygon([(0, 0), (100, 0), (100, far), right, TIP, left, (0, far)])

    def kind(a, b):
        for side, start, end in (("right", right, TIP), ("left", TIP, left)):
            if np.allclose(a[:2], start) and np.allclose(b[:2], end):
                return ("lap_over" if side == over else "lap_under"), 0
        return "trim", -1

    patch = of_polygon(plate, kind)
    shape = outline(patch, laid(patch))
    return shape, allowance(shape, trim_mm=TRIM, lap_mm=LAP, corner="mitre")


@pytest.mark.parametrize("over", ["left", "right"])
@pytest.mark.parametrize("rise_mm", [-20.0, 0.0, 20.0])
@pytest.mark.parametrize("half_mm", [2.0, 5.0, 12.0])
def test_the_two_sides_of_a_dart_are_parted_out_to_the_rim(half_mm, rise_mm, over):
    """The lap is wider than the dart is open (twice `half_mm`), so that it runs into the trim."""
    shape, cut = darted(half_mm, rise_mm, over)

    assert len(cut.interiors) == 0  # no bridge left at the end of a slit
    parts = shapely.get_parts(cut.intersection(box(-99, TIP[1] + 0.5, 199, 199)))
    parts = sorted((p for p in parts if p.area > 1), key=lambda part: part.centroid.x)
    assert len(parts) == 2
    under = parts[1] if over == "left" else parts[0]
    side = 1 if over == "left" else -1
    slope = np.array([side * half_mm, TOP - TIP[1]]) / np.hypot(half_mm, TOP - TIP[1])
    across = side * np.array([slope[1], -slope[0]])  # from the dart into the under side
    line = TIP + np.outer([-200, 200], slope)
    own = Polygon([*line, *(line[::-1] + 300 * across)])
    trimmed = shape.net.buffer(TRIM, join_style="mitre")
    assert under.difference(own.buffer(1e-6)).area < 1e-6  # no part of the lap hangs on it
    assert under.difference(trimmed.buffer(1e-6)).area < 1e-6


@pytest.mark.parametrize("half_mm", [2.0, 5.0, 15.0])
def test_trim_is_whole_beside_a_dart(half_mm):
    """One stretch of trim runs from one side of the dart to the other: neither end cuts at it."""
    _, cut = darted(half_mm, 0.0, "left")

    whole = box(-TRIM, -TRIM, 100 + TRIM, TOP + TRIM)
    missing = whole.difference(cut.buffer(KERF_MM))  # slits do not count
    beside = box(49 - half_mm, 0, 51 + max(half_mm + TRIM, LAP), 199)
    assert missing.difference(beside).area < 1e-6
    if 2 * half_mm < LAP - TRIM:
        assert missing.area < 1e-6
