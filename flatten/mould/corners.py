"""Inside corners the cloth cannot be pressed into: gap, resin that fills it, fillet that helps.

Codes: sharp_corner (one edge), tight_corner (a fillet with too small a radius).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..finding import Finding
from ..surface.joined import groups
from ..surface.mesh import MouldMesh
from .curvature import Turning
from .settings import MouldSettings

TOLD_GAP_MM = 0.1  # smaller gaps are filled by the resin in the cloth
TOLD_LENGTH_MM = 2.0
STRAIGHT = np.cos(np.radians(40))  # a chain of edges that turns more is two corners
MOST_TURN = np.radians(170)


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerSpot:
    """One line of the list "stipple here".

    `turn_deg` by which the surface turns; `radius_mm` of the mould, 0 for an edge; `gap_mm` between
    cloth and mould on the bisector; `resin_g` that fills it; `fillet_mm` that would cure it.
    `edges` are pairs of vertices of the mould along a sharp corner, empty for a fillet.
    """

    number: int
    sharp: bool
    middle_mm: tuple[float, float, float]
    length_mm: float
    turn_deg: float
    radius_mm: float
    gap_mm: float
    resin_g: float
    fillet_mm: float
    faces: tuple[int, ...]
    edges: tuple[tuple[int, int], ...] = ()


def bridge_gap(cloth_radius_mm: Floats, radius_mm: Floats, turn: Floats) -> Floats:
    """Return mm between cloth settled at its own radius and a tighter mould, on the bisector.

    (Rc - r)(1 / sin(q / 2) - 1), q = 180 degrees - turn the angle the corner includes.
    """
    tighter = np.maximum(cloth_radius_mm - radius_mm, 0)
    gap: Floats = tighter * (1 / np.cos(turn / 2) - 1)  # sin(q / 2) = cos(turn / 2)
    return gap


def bridge_section(cloth_radius_mm: Floats, radius_mm: Floats, turn: Floats) -> Floats:
    """Return mm2 of resin behind cloth that bridges a corner.

    (Rc^2 - r^2)(cot(q / 2) - (180 degrees - q) / 2), q the angle the corner includes.
    """
    tighter = np.maximum(np.square(cloth_radius_mm) - np.square(radius_mm), 0)
    section: Floats = tighter * (np.tan(turn / 2) - turn / 2)
    return section


def find_corners(mesh: MouldMesh, turning: Turning, settings: MouldSettings) -> list[CornerSpot]:
    """Return the corners where cloth bridges, most resin first, numbered from 1."""
    spots = [*_sharp_spots(mesh, turning, settings), *_tight_spots(mesh, turning, settings)]
    spots.sort(key=lambda spot: (-spot.resin_g, spot.middle_mm))
    return [replace(spot, number=number) for number, spot in enumerate(spots, start=1)]


def check_corners(spots: list[CornerSpot], settings: MouldSettings) -> list[Finding]:
    """Sum up sharp and tight corners, one finding each."""
    found = []
    for sharp, code in ((True, "sharp_corner"), (False, "tight_corner")):
        some = [spot for spot in spots if spot.sharp == sharp]
        if not some:
            continue
        worst = max(some, key=lambda spot: spot.gap_mm)
        corners = "inside corner" if len(some) == 1 else "inside corners"
        tightest = min(spot.radius_mm for spot in some)
        what = f"sharp {corners}" if sharp else f"{corners} down to {tightest:.2g} mm radius"
        found.append(
            Finding(
                code=code,
                severity="warning",
                message=f"{len(some)} {what}, {sum(s.length_mm for s in some):.0f} mm in all: the "
                f"laminate presses into {settings.pressable_radius_mm:.2g} mm and bridges up to "
                f"{worst.gap_mm:.2g} mm; {sum(s.resin_g for s in some):.2g} g of resin fill it.",
                hint=f"Give the mould a fillet of {worst.fillet_mm:g} mm, or stipple there and "
                "lay a thickened fillet first.",
                faces=tuple(sorted({face for spot in some for face in spot.faces})),
            )
        )
    return found


def _sharp_spots(mesh: MouldMesh, turning: Turning, settings: MouldSettings) -> list[CornerSpot]:
    edge, turn = turning.edge[turning.sharp], turning.turn[turning.sharp]
    if not len(edge):
        return []
    ends = mesh.edges.vertices[edge]
    along = mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]]
    length = np.linalg.norm(along, axis=1)
    chain = groups(len(edge), _chained(ends, along / np.maximum(length, 1e-300)[:, None]))
    run = np.bincount(chain, length).astype(float)
    mean_turn = np.bincount(chain, length * turn) / np.maximum(run, 1e-300)
    shape = _Shape(run, mean_turn, np.zeros(len(run)), settings)
    points = mesh.vertices[ends].mean(axis=1)
    return [
        shape.spot(
            number,
            sharp=True,
            middle=length[mine] @ points[mine] / max(run[number], 1e-300),
            faces=np.unique(mesh.edges.faces[edge[mine]]),
            edges=ends[mine],
        )
        for number, mine in _members(np.where(shape.told[chain], chain, -1))
    ]


def _tight_spots(mesh: MouldMesh, turning: Turning, settings: MouldSettings) -> list[CornerSpot]:
    tight = (turning.radius_mm > 0) & (turning.radius_mm < settings.pressable_radius_mm)
    if not tight.any():
        return []
    pairs = mesh.edges.faces[turning.edge]
    touch = tight[pairs]
    patch = groups(len(mesh.faces), pairs[touch.all(axis=1)])
    count = int(patch.max()) + 1
    ends = mesh.vertices[mesh.edges.vertices[turning.edge]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    owner = np.where(touch[:, 0], patch[pairs[:, 0]], patch[pairs[:, 1]])
    one = touch.any(axis=1) & ~turning.sharp
    turned = np.bincount(owner[one], (turning.turn * length)[one], minlength=count)
    area = np.bincount(patch, mesh.areas, minlength=count)
    half = _outlines(mesh, tight, patch, count) / 2  # of a strip: length + width
    run = (half + np.sqrt(np.maximum(half * half - 4 * area, 0))) / 2
    radius = np.full(count, np.inf)
    np.minimum.at(radius, patch[tight], turning.radius_mm[tight])
    shape = _Shape(run, turned / np.maximum(run, 1e-300), radius, settings)
    spots = []
    for number, mine in _members(np.where(tight & shape.told[patch], patch, -1)):
        weight = mesh.areas[mine] / max(area[number], 1e-300)
        middle = weight @ mesh.corners[mine].mean(axis=1)
        spots.append(shape.spot(number, sharp=False, middle=middle, faces=mine))
    return spots


class _Shape:
    """Length, turn and radius of many corners at once, and which are worth telling."""

    def __init__(self, run: Floats, turn: Floats, radius: Floats, settings: MouldSettings) -> None:
        pressable = np.full(len(run), settings.pressable_radius_mm)
        self.settings = settings
        self.run, self.turn, self.radius = run, np.clip(turn, 0, MOST_TURN), radius
        self.gap = bridge_gap(pressable, radius, self.turn)
        self.section = bridge_section(pressable, radius, self.turn)
        self.told: Bools = (self.gap >= TOLD_GAP_MM) & (run >= TOLD_LENGTH_MM)

    def spot(
        self, number: int, *, sharp: bool, middle: Floats, faces: Ints, edges: Ints | None = None
    ) -> CornerSpot:
        run = float(self.run[number])
        density = self.settings.resin_density_g_cm3
        return CornerSpot(
            number=0,
            sharp=sharp,
            middle_mm=(float(middle[0]), float(middle[1]), float(middle[2])),
            length_mm=run,
            turn_deg=float(np.degrees(self.turn[number])),
            radius_mm=float(self.radius[number]),
            gap_mm=float(self.gap[number]),
            resin_g=float(self.section[number]) * run * density / 1000,
            fillet_mm=float(np.ceil(2 * self.settings.pressable_radius_mm) / 2),
            faces=tuple(faces.tolist()),
            edges=() if edges is None else tuple((int(a), int(b)) for a, b in edges),
        )


def _outlines(mesh: MouldMesh, tight: Bools, patch: Ints, count: int) -> Floats:
    """(count,) mm around each patch of tight faces."""
    edges = mesh.edges
    ends = mesh.vertices[edges.vertices]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    known = edges.faces >= 0
    in_patch = known & tight[edges.faces]
    border = in_patch.sum(axis=1) == 1
    owner = np.where(in_patch[:, 0], edges.faces[:, 0], edges.faces[:, 1])
    outline = np.bincount(patch[owner[border]], length[border], minlength=count)
    return outline.astype(float)


def _chained(ends: Ints, direction: Floats) -> Ints:
    """(j, 2) pairs of edges that run on into each other."""
    vertex, edge = ends.ravel(), np.repeat(np.arange(len(ends)), 2)
    order = np.argsort(vertex, kind="stable")
    vertex, edge = vertex[order], edge[order]
    count = np.bincount(vertex)[vertex]
    first = np.flatnonzero((count == 2) & (np.append(vertex[1:], -1) == vertex))
    pairs = np.column_stack([edge[first], edge[first + 1]])
    ahead = np.abs(np.einsum("ij,ij->i", direction[pairs[:, 0]], direction[pairs[:, 1]]))
    chained: Ints = pairs[ahead > STRAIGHT]
    return chained


def _members(group: Ints) -> Iterator[tuple[int, Ints]]:
    """Each group number with the indices in it, numbers below zero left out."""
    order = np.argsort(group, kind="stable")
    order = order[group[order] >= 0]
    cuts = np.flatnonzero(np.diff(group[order])) + 1
    for part in np.split(order, cuts):
        if len(part):
            yield int(group[part[0]]), part
