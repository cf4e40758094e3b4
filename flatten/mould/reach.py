"""Can the laminator get in: depth against opening, brush and roller, and room for the trim.

Codes: deep, no_brush, no_roller, narrow_flange.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh
from .rays import Sight, spread_points
from .settings import MouldSettings

CELLS = 160  # along the longer side of the plan: 2 mm on a 300 mm mould
POINTS = 20_000
DROP = np.tan(np.radians(60))  # a flange that falls away more steeply is an edge
SPREADS = 1.45  # a round tool pressed into a square corner of the plan: sqrt(2) of its radius
FLANGE_POINTS = 2000
STEP_MM, MOST_STEPS = 0.5, 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """How the lay-up can be reached along the pull.

    `depth_mm` below the rim, `opening_mm` narrowest width of the outline, both 0 for a mould the
    cloth is laid over; `under_brush`, `under_roller` (k,) how far each stays off the face.
    `flange_mm` least width beyond the lay-up before the mould ends, looked for up to
    `looked_mm`; `short` lay-up faces on the rim where it is less than the trim.
    """

    depth_mm: float
    opening_mm: float
    under_brush: Floats
    under_roller: Floats
    flange_mm: float
    looked_mm: float
    short: Ints

    @property
    def ratio(self) -> float:
        """Depth over opening, 0 where the cloth is laid over the mould."""
        return self.depth_mm / self.opening_mm if self.opening_mm > 0 else 0.0


def measure_reach(mesh: MouldMesh, faces: Ints, pull: Floats, settings: MouldSettings) -> Reach:
    """Look at the mould along the pull, as a map of heights, and put round tools into it.

    A tool of a diameter reaches a place when a disc of that size can be lowered to it: the
    closing of the height map by the disc (Serra, Image Analysis and Mathematical Morphology,
    1982, from memory).
    """
    plan = _HeightMap(mesh, faces, pull, settings)
    rim = _rim(mesh, faces)
    height = mesh.vertices @ pull
    depth = opening = 0.0
    if len(rim.edge):
        rim_height = float(np.average(height[rim.ends].mean(axis=1), weights=rim.length))
        low = float(height[mesh.faces[faces]].min())
        if rim_height - low > rim.above_middle(mesh, faces, height):
            depth = max(rim_height - low, 0.0)
            opening = _narrowest(plan.sight.across, mesh.vertices[rim.ends.ravel()])
    face, points = spread_points(mesh, faces, POINTS)
    place = np.full(len(mesh.faces), -1)
    place[faces] = np.arange(len(faces))
    under = []
    for tool in (settings.brush_mm, settings.roller_mm):
        over = plan.read(plan.closed_by(tool), points) - plan.read(plan.heights, points)
        over *= np.abs(mesh.normals[face] @ pull)  # off the face, not above it
        most = np.zeros(len(faces))
        np.maximum.at(most, place[face], over)
        under.append(most)
    flange, short = _flange(mesh, rim, plan, settings.trim_mm)
    return Reach(
        depth_mm=depth,
        opening_mm=opening,
        under_brush=under[0],
        under_roller=under[1],
        flange_mm=flange,
        looked_mm=settings.trim_mm,
        short=short,
    )


def check_reach(reach: Reach, faces: Ints, settings: MouldSettings) -> list[Finding]:
    """Report moulds too deep to work in, places no tool gets to, and too little flange.

    `faces` (k,) are those of the reach, as the mould numbers them.
    """
    found = []
    if reach.ratio > settings.deep_ratio:
        found.append(
            Finding(
                code="deep",
                severity="warning",
                message=f"The mould is {reach.depth_mm:.0f} mm deep with an opening of "
                f"{reach.opening_mm:.0f} mm: hands and eyes hardly follow.",
                hint="Split the mould, or plan narrow plies and a long brush.",
            )
        )
    tools = (
        ("no_brush", "brush", settings.brush_mm, reach.under_brush, "warning"),
        ("no_roller", "roller", settings.roller_mm, reach.under_roller, "note"),
    )
    for code, tool, size, under, severity in tools:
        unreached = faces[under > size / 2]  # bristles and foam give by half their width
        if len(unreached):
            found.append(
                Finding(
                    code=code,
                    severity="warning" if severity == "warning" else "note",
                    message=f"A {size:g} mm {tool} does not get to the bottom at "
                    f"{len(unreached)} faces; it stays up to {under.max():.0f} mm off.",
                    hint="Widen that place, or use a narrower tool there.",
                    faces=tuple(unreached.tolist()),
                )
            )
    if len(reach.short):
        found.append(
            Finding(
                code="narrow_flange",
                severity="note",
                message=f"The mould goes on {reach.flange_mm:.0f} mm beyond the lay-up where "
                f"least; the cloth is cut {reach.looked_mm:g} mm larger and would hang over.",
                hint="Add a flange there, or set a smaller trim allowance.",
                faces=tuple(reach.short.tolist()),
            )
        )
    return found


class _HeightMap:
    """Heights of the whole mould on a square grid seen along the pull, around the lay-up."""

    def __init__(self, mesh: MouldMesh, faces: Ints, pull: Floats, settings: MouldSettings) -> None:
        self.sight = Sight(mesh, pull)
        used = mesh.vertices[np.unique(mesh.faces[faces])] @ self.sight.across.T
        margin = max(settings.trim_mm, settings.roller_mm)
        low, high = used.min(axis=0) - margin, used.max(axis=0) + margin
        self.low, cells = low, CELLS
        while True:  # coarser where long triangles lie criss-cross
            self.cell = float(max((high - low).max() / cells, 1e-9))
            shape = np.maximum(np.ceil((high - low) / self.cell).astype(int), 1)
            x, y = ((np.arange(n) + 0.5) * self.cell for n in shape)
            grid = np.stack(np.meshgrid(x + low[0], y + low[1], indexing="ij"), axis=-1)
            points = grid.reshape(-1, 2) @ self.sight.across
            if cells <= 20 or self.sight.stride(points) == 1:
                break
            cells //= 2
        self.heights: Floats = self.sight.top(points).reshape(shape)

    def read(self, values: Floats, points: Floats) -> Floats:
        """(k,) the value in the cell over each point; zero difference where there is no mould."""
        cell = np.floor((points @ self.sight.across.T - self.low) / self.cell).astype(int)
        cell = cell.clip(0, np.array(values.shape) - 1)
        read = values[cell[:, 0], cell[:, 1]]
        return np.where(np.isfinite(read), read, 0.0)

    def closed_by(self, diameter_mm: float) -> Floats:
        """How low a disc of this diameter gets over each cell: never lower than the mould.

        Where it rests it serves a little more than its own width, so that corners of a plan do not
        count as out of reach.
        """
        radius = diameter_mm / 2 / self.cell
        raised = _disc(self.heights, radius, np.maximum)
        closed = _disc(raised, radius * SPREADS, np.minimum)
        return np.where(np.isfinite(self.heights), np.maximum(closed, self.heights), -np.inf)


def _disc(values: Floats, radius: float, better: np.ufunc) -> Floats:
    """Greatest (or least) value within `radius` cells: row by row of the disc."""
    reach = int(radius)
    outside = -np.inf
    padded = np.pad(values, reach, constant_values=outside)
    n, m = values.shape
    out = np.full(values.shape, -np.inf if better is np.maximum else np.inf)
    for dx in range(-reach, reach + 1):
        half = int(np.sqrt(max(radius * radius - dx * dx, 0)))
        row = padded[reach + dx : reach + dx + n]
        window = _running(row, 2 * half + 1, better)
        start = reach - half
        out = better(out, window[:, start : start + m])
    return out


def _running(row: Floats, width: int, better: np.ufunc) -> Floats:
    """Greatest (or least) of `width` neighbours to the right, by doubling."""
    done, out = 1, row
    while done < width:
        step = min(done, width - done)
        out = better(out[:, : out.shape[1] - step], out[:, step:])
        done += step
    return out


class _Rim:
    """Edges around the lay-up: `edge`, the lay-up `face` on it, its `ends` as that face runs."""

    def __init__(self, edge: Ints, face: Ints, other: Ints, ends: Ints, length: Floats) -> None:
        self.edge, self.face, self.other = edge, face, other
        self.ends, self.length = ends, length

    def above_middle(self, mesh: MouldMesh, faces: Ints, height: Floats) -> float:
        """How far the middle of the lay-up lies above its lowest point."""
        middle = height[mesh.faces[faces]].mean(axis=1)
        mean = np.average(middle, weights=mesh.areas[faces] + 1e-300)
        return float(mean - height[mesh.faces[faces]].min())


def _rim(mesh: MouldMesh, faces: Ints) -> _Rim:
    inside = np.zeros(len(mesh.faces) + 1, bool)  # one more for "no face"
    inside[faces] = True
    pairs = mesh.edges.faces
    edge = np.flatnonzero(inside[pairs[:, 0]] != inside[pairs[:, 1]])
    own = inside[pairs[edge, 0]]
    face = np.where(own, pairs[edge, 0], pairs[edge, 1])
    other = np.where(own, pairs[edge, 1], pairs[edge, 0])
    corner = (mesh.edges.of_face[face] == edge[:, None]).argmax(axis=1)
    ends = np.column_stack([mesh.faces[face, corner], mesh.faces[face, (corner + 1) % 3]])
    length = np.linalg.norm(mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]], axis=1)
    return _Rim(edge, face, other, ends, length)


def _narrowest(across: Floats, points: Floats) -> float:
    """Narrowest width of the plan of some points."""
    plan, middle, step = points @ across.T, np.pi / 2, np.pi / 360
    for _ in range(4):  # half a degree first, then closer around the narrowest
        turn = middle + step * np.arange(-180, 180)
        width = np.ptp(plan @ np.array([np.cos(turn), np.sin(turn)]), axis=0)
        middle, step = turn[int(width.argmin())], step / 90
    return float(width.min())


def _flange(mesh: MouldMesh, rim: _Rim, plan: _HeightMap, trim_mm: float) -> tuple[float, Ints]:
    """Walk outwards from the rim until the mould ends or falls away."""
    none = np.zeros(0, np.int64)
    if not len(rim.edge) or not trim_mm > 0:
        return trim_mm, none
    some = np.argsort(-rim.length, kind="stable")[:FLANGE_POINTS]
    some = some[:: plan.sight.stride(mesh.vertices[rim.ends[some, 0]])]
    start, end = mesh.vertices[rim.ends[some, 0]], mesh.vertices[rim.ends[some, 1]]
    across = plan.sight.across
    outwards = _outwards(mesh, rim, some, end - start, plan.sight.direction) @ across.T
    middle = (start + end) / 2
    steps = int(np.clip(np.ceil(trim_mm / STEP_MM), 1, MOST_STEPS))
    walked = trim_mm * np.arange(1, steps + 1) / steps
    at = (middle @ across.T)[:, None] + outwards[:, None] * walked[:, None]
    height = plan.sight.top(at.reshape(-1, 2) @ across).reshape(len(some), steps)
    before = np.column_stack([middle @ plan.sight.direction, np.maximum(height[:, :-1], -1e300)])
    ends = ~(before - height <= DROP * trim_mm / steps + 1e-6 * plan.cell)
    width = np.where(ends.any(axis=1), (walked - trim_mm / steps)[ends.argmax(axis=1)], trim_mm)
    short = width < trim_mm
    return float(width.min()), np.unique(rim.face[some[short]])


def _outwards(mesh: MouldMesh, rim: _Rim, some: Ints, along: Floats, pull: Floats) -> Floats:
    """(k, 3) unit vectors across the pull that lead away from the lay-up."""
    normal = mesh.normals[rim.face[some]]
    ahead = np.cross(along, normal)
    for vector in (ahead, normal):
        vector /= np.maximum(np.linalg.norm(vector, axis=1), 1e-300)[:, None]
    level = ahead - (ahead @ pull)[:, None] * pull
    behind = -(normal - (normal @ pull)[:, None] * pull)  # a wall: the flange is behind it
    steep: Bools = np.linalg.norm(level, axis=1) < 0.3
    level[steep] = behind[steep]
    length = np.linalg.norm(level, axis=1)
    unit: Floats = level / np.maximum(length, 1e-300)[:, None]
    return unit
