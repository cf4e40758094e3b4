"""The samples' other moulds: a trough, a split mould, and one with faults to find. No Blender."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from moulds import Mould, box_mould, egg

TROUGH_STATIONS = 19
STEP_MM = 7.0  # sideways, from one ply of the cap to the next


def boom_cap() -> Mould:
    """Dinghy boom, its upper half: a trough 600 mm long, tapered and bowed a little, 8 deg draft.

    Zones `cap1` (whole length) to `cap3` (the middle) are the floor, in steps; `wall` beside it.
    """
    mould = Mould("Dinghy boom cap")
    along = np.array([-324.0, *np.linspace(-300, 300, TROUGH_STATIONS), 324.0])
    t = np.clip(along / 300, -1, 1)
    width, depth, bow = 62 - 4 * t**2, 24 - 2 * t**2, 5 * (1 - t**2)
    rows = []
    for x, half, deep, z in zip(along, width / 2, depth, bow, strict=True):
        section = _trough(half, deep)
        rows.append(mould.ring(np.column_stack([np.full(len(section), x), section + [0, z - 5]])))
    for number, (a, b) in enumerate(pairwise(rows)):
        middle = abs(along[number] + along[number + 1]) / 2
        ends = number in (0, len(rows) - 2)
        step = 1 + int(middle < 240) + int(middle < 140)
        for place, name in enumerate(_trough_zones(step)):
            zone = "surround" if ends else name
            mould.face(zone, [a[place], b[place], b[place + 1], a[place + 1]])
    _box_under(mould, rows, floor=-55)
    return mould


def _trough(half: float, deep: float) -> np.ndarray:
    """Return a section (n, 2) y, z mm from -y to +y: flange, rim, wall, fillet, floor and back."""
    lean, fillet, rim = np.radians(8), 7.0, 4.0
    reach = fillet * np.tan(np.pi / 4 - lean / 2)
    flat = half - reach
    side = [[flat - 2 * STEP_MM, -deep], [flat - STEP_MM, -deep]]
    for turn in np.linspace(0, np.pi / 2 - lean, 6):  # from the floor up
        side.append([flat + fillet * np.sin(turn), -deep + fillet * (1 - np.cos(turn))])
    top = half + deep * np.tan(lean)
    reach = rim * np.tan(np.pi / 4 - lean / 2)
    for turn in np.linspace(np.pi / 2 - lean, 0, 5):  # up to the flange
        side.append([top + reach - rim * np.sin(turn), -rim * (1 - np.cos(turn))])
    side += [[top + reach + 16, 0], [top + reach + 34, 0]]
    right = np.array(side)
    return np.vstack([right[::-1] * [-1, 1], right])


def _trough_zones(step: int) -> list[str]:
    """Return the zone of each facet of the section where `step` plies of the cap may lie."""
    caps = [f"cap{min(step, place)}" for place in (1, 2, 3)]
    half = ["surround", "flange", *["rim"] * 4, *["wall"] * 6, *caps[:2]]
    return [*half, caps[2], *half[::-1]]


def _box_under(mould: Mould, rows: list[list[int]], *, floor: float) -> None:
    """Close the block under a grid of rows."""
    ends = rows[0], rows[-1]
    first, last = ([row[0] for row in rows], [row[-1] for row in rows])
    edge = [*first, *ends[1][1:], *last[::-1][1:], *ends[0][::-1][1:-1]]
    below = mould.ring(np.array(mould.vertices)[edge] * [1, 1, 0] + [0, 0, floor])
    mould.band("outside", edge, below)
    mould.face("underside", below[::-1])


def mast_foot_fairing() -> Mould:
    """Dinghy mast foot fairing: a slight barrel with a groove for the boot, held by both.

    Zones `fore` and `aft` are the halves of the wall, for a mould parted where it is widest;
    `port` and `starboard` the strips over the joint.
    """
    mould = Mould("Mast foot fairing")
    points, height = 64, 110.0
    outline = egg(90, 55, power=2.2, taper=0.12, points=points)
    widest = int(outline[:, 1].argmax())
    unit = outline / np.linalg.norm(outline, axis=1)[:, None]
    rows = []
    for z in np.linspace(0, -height, 23):
        t = 2 * z / height + 1
        groove = 1.2 * np.exp(-(((z + 30) / 10) ** 2) / 2)
        rows.append(mould.ring(outline * (1 + 0.02 * (1 - t**2)) - groove * unit + [0, 0, z]))
    strip = mould.zones.setdefault
    for upper, lower in pairwise(rows):
        for here in range(points):
            there = (here + 1) % points
            for side, joint in (("port", widest), ("starboard", points - widest)):
                if joint - 3 <= here < joint + 3:
                    strip(side, []).append(len(mould.polygons))
            zone = "aft" if widest <= here < points - widest else "fore"
            mould.face(zone, [lower[here], upper[here], upper[there], lower[there]])
    mould.face("floor", rows[-1])
    outer = mould.ring(outline + 42 * unit)
    mould.band("surround", rows[0], outer)
    below = mould.ring(np.array(mould.vertices)[outer] * [1, 1, 0] + [0, 0, -height - 14])
    mould.band("outside", outer, below)
    mould.face("underside", below[::-1])
    return mould


def cockpit_tray() -> Mould:
    """Dinghy cockpit tray: an open box 340 x 220 x 55 mm, generous radii, 8 degrees of draft."""
    return box_mould(
        "Cockpit tray", length=340, width=220, depth=55, draft_deg=8, corner=55,
        fillet=25, rim=12, flange=22, block=50,
    )  # fmt: skip


def faulty_tray() -> Mould:
    """Return a tray with faults: too little draft, a sharp floor corner, holes, a flipped face."""
    mould = box_mould(
        "Battery tray", length=150, width=100, depth=70, draft_deg=1, corner=9,
        fillet=1.5, rim=1.0, flange=6, block=8,
    )  # fmt: skip
    underside = mould.zones.pop("underside")[0]
    outside = mould.zones["outside"]
    mould.polygons[outside[3]].reverse()  # a flipped face
    twin = mould.polygons[outside[10]]  # a corner that only looks joined
    mould.vertices.append(mould.vertices[twin[0]])
    twin[0] = len(mould.vertices) - 1
    del mould.polygons[underside]  # the last one made: the numbers before it stay
    return mould
