"""The samples' moulds as polygons in mm: our own shapes, made from rings. Knows no Blender."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

CROWNS = {"crown": 6, "heart": 5}  # rings of a dish, for doublers in two steps
Ring = np.ndarray  # (n, 3) mm, counter-clockwise seen from above


@dataclass
class Mould:
    """A printable block: `polygons` of vertex numbers, `zones` of polygon numbers by name.

    `seams` are vertex pairs along which a ply may be opened.
    """

    name: str
    vertices: list[tuple[float, float, float]] = field(default_factory=list)
    polygons: list[list[int]] = field(default_factory=list)
    zones: dict[str, list[int]] = field(default_factory=dict)
    seams: list[tuple[int, int]] = field(default_factory=list)

    def ring(self, points: Ring) -> list[int]:
        """Add a ring of vertices and return their numbers."""
        first = len(self.vertices)
        self.vertices += [tuple(point) for point in np.asarray(points, float).tolist()]
        return list(range(first, len(self.vertices)))

    def face(self, zone: str, corners: list[int]) -> None:
        """Add a polygon to a zone."""
        self.zones.setdefault(zone, []).append(len(self.polygons))
        self.polygons.append(corners)

    def band(self, zone: str, inner: list[int], outer: list[int]) -> None:
        """Join two rings of equal length by quads that look up."""
        for here in range(len(inner)):
            there = (here + 1) % len(inner)
            self.face(zone, [inner[here], outer[here], outer[there], inner[there]])

    def fan(self, zone: str, centre: int, ring: list[int]) -> None:
        """Join a ring to its centre by triangles."""
        for here in range(len(ring)):
            self.face(zone, [centre, ring[here], ring[(here + 1) % len(ring)]])


def egg(half_length: float, half_width: float, *, power: float, taper: float, points: int) -> Ring:
    """Return a closed outline at z = 0: a superellipse, narrower towards +x by `taper`."""
    angle = np.arange(points) * 2 * np.pi / points
    cos, sin = np.cos(angle), np.sin(angle)
    width = half_width * (1 - taper * cos)
    radius = (np.abs(cos / half_length) ** power + np.abs(sin / width) ** power) ** (-1 / power)
    return np.column_stack([radius * cos, radius * sin, 0 * cos])


def rounded_rectangle(length: float, width: float, radius: float, *, arc: int) -> Ring:
    """Return a rounded rectangle with `arc` facets a corner, the sides undivided."""
    turn = np.radians(np.linspace(0, 90, arc + 1))
    quarter = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    corners = []
    for number, (sx, sy) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
        c, s = np.cos(number * np.pi / 2), np.sin(number * np.pi / 2)
        turned = quarter @ np.array([[c, s], [-s, c]])
        corners.append(turned + [sx * (length / 2 - radius), sy * (width / 2 - radius)])
    flat = np.vstack(corners)
    return np.column_stack([flat, np.zeros(len(flat))])


def dished_mould(
    name: str,
    outline: Ring,
    depth_at: Callable[[float], float],
    *,
    rings: int,
    fillet: float,
    flange: float,
    block: float,
) -> Mould:
    """Return a block with a dish under `outline`, a filleted rim and a flat flange.

    The zones `crown` and `heart` are the middle of the zone `cavity`.
    `depth_at(s)` mm, s = 0 at the centre and 1 at the rim, where it is 0. The flange has two
    bands: `flange` mm wide inside the part's edge, the rest out to `block` mm.
    """
    mould = Mould(name)
    radial = np.linalg.norm(outline[:, :2], axis=1)
    unit = outline / radial[:, None]
    centre = mould.ring([[0, 0, -depth_at(0.0)]])[0]
    start = 1 - fillet / radial  # where the fillet leaves the dish, per direction
    previous: list[int] | None = None
    for step in np.sin(np.linspace(0, np.pi / 2, rings + 1))[1:]:
        s = start * step
        depth = np.array([depth_at(value) for value in s])
        ring = mould.ring(unit * (s * radial)[:, None] - [0, 0, 1] * depth[:, None])
        if previous is None:
            mould.fan("cavity", centre, ring)
        else:
            mould.band("cavity", previous, ring)
        previous = ring
    assert previous is not None
    for zone, count in CROWNS.items():
        mould.zones[zone] = mould.zones["cavity"][: count * len(outline)]
    low = np.array(mould.vertices)[previous]
    slope = np.array([(depth_at(s - 1e-6) - depth_at(s)) / 1e-6 for s in start]) / radial
    run = -low[:, 2] / slope  # along the tangent up to the flange
    corner = low + unit * run[:, None] - [0, 0, 1] * low[:, 2:]
    high = corner + unit * np.hypot(run, low[:, 2])[:, None]
    for t in np.linspace(0, 1, 7)[1:]:
        ring = mould.ring((1 - t) ** 2 * low + 2 * t * (1 - t) * corner + t**2 * high)
        mould.band("rim", previous, ring)
        previous = ring
    edge = mould.ring(high + unit * flange)
    mould.band("flange", previous, edge)
    outer = mould.ring(high + unit * block)
    mould.band("surround", edge, outer)
    _close(mould, outer, floor=-max(depth_at(0.0) + 12, 20))
    return mould


def box_mould(
    name: str,
    *,
    length: float,
    width: float,
    depth: float,
    draft_deg: float,
    corner: float,
    fillet: float,
    rim: float,
    flange: float,
    block: float,
) -> Mould:
    """Return a block with an open box: drafted walls, filleted floor and rim, flat flange.

    `length`, `width` and `corner` radius are at the floor's sharp edge. Sides are single long
    quads and the floor one polygon, as a modeller leaves them. Corner diagonals are seams.
    """
    mould = Mould(name)
    d = np.radians(draft_deg)
    lean = np.tan(np.pi / 4 - d / 2)  # tangent length of a fillet between floor and wall, / radius
    offsets, heights = [], []
    for t in np.linspace(0, np.pi / 2 - d, 7):  # floor fillet, from the floor up
        offsets.append(-fillet * lean + fillet * np.sin(t))
        heights.append(-depth + fillet * (1 - np.cos(t)))
    top = depth * np.tan(d)
    for t in np.linspace(np.pi / 2 - d, 0, 7):  # rim fillet, up to the flange
        offsets.append(top + rim * lean - rim * np.sin(t))
        heights.append(-rim * (1 - np.cos(t)))
    rings = [
        mould.ring(rounded_rectangle(length + 2 * o, width + 2 * o, corner + o, arc=8) + [0, 0, z])
        for o, z in zip(offsets, heights, strict=True)
    ]
    mould.face("floor", rings[0])
    for number in range(1, len(rings)):
        zone = "wall" if number <= 7 else "rim"
        mould.band(zone, rings[number - 1], rings[number])
    end = offsets[-1]
    edge, outer = (
        mould.ring(
            rounded_rectangle(
                length + 2 * (end + out), width + 2 * (end + out), corner + end + out, arc=8
            )
        )
        for out in (flange, block)
    )
    mould.band("flange", rings[-1], edge)
    mould.band("surround", edge, outer)
    for first in (4, 13, 22, 31):  # the middle of each corner's arc
        line = [ring[first] for ring in [*rings[4:], edge]]
        mould.seams += list(pairwise(line))
    _close(mould, outer, floor=-depth - 12)
    return mould


def _close(mould: Mould, outer: list[int], *, floor: float) -> None:
    """Add the block's outside and underside, so that it can be printed."""
    below = mould.ring(np.array(mould.vertices)[outer] * [1, 1, 0] + [0, 0, floor])
    mould.band("outside", outer, below)
    mould.face("underside", below[::-1])


def hatch_cover() -> Mould:
    """Kayak hatch cover: a shallow dish, 420 x 260 mm, with a flange for the seal."""
    outline = egg(210, 130, power=2.5, taper=0.0, points=96)
    return dished_mould(
        "Kayak hatch cover", outline, lambda s: 38 * (1 - s**2),
        rings=14, fillet=14, flange=22, block=50,
    )  # fmt: skip


def instrument_pod() -> Mould:
    """Dinghy instrument pod: egg-shaped and deep, curved strongly both ways, 300 x 170 x 62 mm.

    Six and twenty of it are nested on the proof page.
    """
    k = 0.96
    rim = np.sqrt(1 - k**2)
    outline = egg(150, 85, power=2.2, taper=0.22, points=80)
    return dished_mould(
        "Dinghy instrument pod", outline,
        lambda s: 62 * (np.sqrt(max(1 - (k * s) ** 2, 0)) - rim) / (1 - rim),
        rings=18, fillet=6, flange=15, block=45,
    )  # fmt: skip


def telescope_tray() -> Mould:
    """Telescope accessory tray: an open box 280 x 180 x 40 mm, 5 degrees of draft, filleted."""
    return box_mould(
        "Telescope tray", length=280, width=180, depth=40, draft_deg=5, corner=28,
        fillet=10, rim=6, flange=20, block=48,
    )  # fmt: skip
