"""From a drape to the net outline: closed edges that keep their kind and their mould length."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from shapely import Polygon

from ..arrays import Bools, Floats, Ints
from ..errors import InputError
from ..surface.distance import distance_from
from ..surface.mesh import components
from ..surface.patch import EdgeKind
from .joints import SAME_POINT_MM, JointCurve, joint_curves
from .pattern import EdgeRun
from .slits import net_polygon, ring_area

if TYPE_CHECKING:
    from ..cloth.drape import Drape
    from ..surface.patch import Patch


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """One closed edge, the piece on its left; edge i runs from point i to i + 1.

    `vertices` (k,) of the patch; `points` (k, 2) mm flat; `kinds`, `joints` (k,) per edge;
    `lengths` (k,) mm of each edge on the mould; `beyond` (k,) mm on the mould from the net to
    each point, 0 on the net itself; `tips` (k,) points where a dart ends and the edge turns back
    along its own joint.
    """

    vertices: Ints
    points: Floats
    kinds: tuple[EdgeKind, ...]
    joints: Ints
    lengths: Floats
    beyond: Floats
    tips: Bools


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """The net of one patch in the flat, mm, warp along +x, the tack point at the origin.

    `loops` round the net, the outer one first; `runs` the same edges in stretches of one kind;
    `rims` and `rim_runs` the same round all the drape covers, its trim strip on the mould
    included; `net` and `covered` the two areas.
    """

    loops: tuple[Loop, ...]
    runs: tuple[EdgeRun, ...]
    rims: tuple[Loop, ...]
    rim_runs: tuple[EdgeRun, ...]
    net: Polygon
    covered: Polygon
    mould_area_mm2: float


def outline(
    patch: Patch, drape: Drape, *, curves: Mapping[int, JointCurve] | None = None
) -> Outline:
    """Return the net outline of a draped patch.

    Parameters
    ----------
    patch : the piece of mould, its trim strip included and told apart by `inside`
    drape : its flat coordinates, in the patch's vertex order
    curves : the joints of the ply (`joint_curves` of all its patches), so that both sides of a
        joint count the same way even where a third piece meets it; None: this patch alone

    Raises
    ------
    InputError : no face of the patch belongs to the region, or only its trim holds it together
    """
    faces, inside = patch.surface.faces, np.asarray(patch.inside, bool)
    if not inside.any():
        raise InputError(
            "A piece has no face of the ply's region.",
            "Move the cut so that it leaves cloth on both sides.",
            faces=np.unique(patch.source_faces),
        )
    _refuse_islands(patch, faces[inside])
    own = curves if curves is not None else joint_curves([patch])
    triangles = drape.flat[faces]
    none = np.zeros(len(patch.surface.vertices))
    loops, runs = _loops(patch, drape.flat, faces[inside], own, none)
    net = net_polygon([loop.points for loop in loops], triangles[inside], runs)
    if inside.all():
        rims, rim_runs, covered = loops, runs, net
    else:
        beyond = _beyond_net(patch, loops)
        rims, rim_runs = _loops(patch, drape.flat, faces, own, beyond)
        covered = net_polygon([loop.points for loop in rims], triangles, rim_runs)
    return Outline(
        loops=loops,
        runs=runs,
        rims=rims,
        rim_runs=rim_runs,
        net=net,
        covered=covered,
        mould_area_mm2=float(patch.surface.areas[inside].sum()),
    )


def _refuse_islands(patch: Patch, faces: Ints) -> None:
    """Refuse a net that lies in parts: what joins them would be cut away with the trim."""
    part = components(faces)
    if not part.max():
        return
    smaller = part != np.bincount(part).argmax()
    raise InputError(
        f"A piece falls into {part.max() + 1} parts that only its trim holds together.",
        "Make a ply of each part, or take cloth faces between them into the ply.",
        faces=np.unique(patch.source_faces[np.flatnonzero(patch.inside)[smaller]]),
    )


def _loops(
    patch: Patch, flat: Floats, faces: Ints, curves: Mapping[int, JointCurve], beyond: Floats
) -> tuple[tuple[Loop, ...], tuple[EdgeRun, ...]]:
    """Return the closed edges round some faces, the outer one first, and their stretches."""
    loops = [_loop(patch, flat, ring, beyond) for ring in _rings(faces)]
    loops.sort(key=lambda loop: -ring_area(loop.points))
    loops = [loops[0], *(_as_hole(loop) for loop in loops[1:])]
    return tuple(loops), tuple(run for loop in loops for run in _runs(loop, patch, curves))


def _beyond_net(patch: Patch, loops: tuple[Loop, ...]) -> Floats:
    """Return (n,) mm on the mould from the net line out to the vertices of the trim strip."""
    rim = np.unique(np.concatenate([loop.vertices for loop in loops]))
    strip = patch.surface.faces[~np.asarray(patch.inside, bool)]
    far, _ = distance_from(patch.surface.vertices, strip, rim)
    on_strip = np.zeros(len(far), bool)
    on_strip[strip] = True
    return np.where(on_strip & np.isfinite(far), far, 0.0)


def _rings(faces: Ints) -> list[Ints]:
    """Return the boundary rings of faces as vertices, the faces on the left.

    Where two corners meet in one vertex the ring follows the fan of faces, so that each
    ring keeps to its own side.
    """
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    base = int(faces.max()) + 1
    lone = ~np.isin(end * base + start, start * base + end)
    border = dict.fromkeys(zip(start[lone].tolist(), end[lone].tolist(), strict=True))
    leaving = np.bincount(start[lone], minlength=base)
    pinched = np.flatnonzero(leaving > 1)
    fan = _fan_steps(faces, pinched)
    after = dict(border.keys())  # the only way on, where there is only one
    for vertex in pinched.tolist():
        del after[vertex]
    rings = []
    while border:
        first = edge = next(iter(border))
        ring = []
        while True:
            del border[edge]
            ring.append(edge[0])
            edge = _next_edge(edge, after, fan)
            if edge == first:
                break
        rings.append(np.array(ring, np.int64))
    return rings


def _fan_steps(faces: Ints, pinched: Ints) -> dict[tuple[int, int], tuple[int, int]]:
    """Return, for the faces round pinched vertices, each half-edge's next one in its face."""
    around = faces[np.isin(faces, pinched).any(axis=1)].tolist()
    return {(f[i], f[i - 2]): (f[i - 2], f[i - 1]) for f in around for i in range(3)}


def _next_edge(
    edge: tuple[int, int],
    after: dict[int, int],
    fan: dict[tuple[int, int], tuple[int, int]],
) -> tuple[int, int]:
    """Return the border edge that follows another, round the same faces."""
    if edge[1] in after:
        return edge[1], after[edge[1]]
    here = fan[edge]
    while here[::-1] in fan:
        here = fan[here[::-1]]
    return here


def _loop(patch: Patch, flat: Floats, ring: Ints, beyond: Floats) -> Loop:
    """Return a ring with the kind, joint and mould length of each of its edges."""
    at = {(int(a), int(b)): i for i, (a, b) in enumerate(patch.edge_vertices)}
    edges = list(zip(ring.tolist(), np.roll(ring, -1).tolist(), strict=True))
    row = [at.get(edge, -1) for edge in edges]
    points = patch.surface.vertices[ring]
    joints = np.array([-1 if i < 0 else int(patch.edge_joints[i]) for i in row])
    back = np.abs(np.roll(points, 1, axis=0) - np.roll(points, -1, axis=0)).max(axis=1)
    return Loop(
        vertices=ring,
        points=np.array(flat[ring], float),
        kinds=tuple("trim" if i < 0 else patch.edge_kinds[i] for i in row),
        joints=joints,
        lengths=np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1),
        beyond=beyond[ring],
        tips=(joints >= 0) & (joints == np.roll(joints, 1)) & (back <= SAME_POINT_MM),
    )


def _as_hole(loop: Loop) -> Loop:
    """Return an inner loop with its trim edges called what they are: around an opening."""
    return replace(loop, kinds=tuple("hole" if k == "trim" else k for k in loop.kinds))


def run_starts(loop: Loop) -> list[int]:
    """Return the edges of a loop at which kind or joint changes or a dart ends; [0] for none."""
    label = list(zip(loop.kinds, loop.joints.tolist(), strict=True))
    new = (i for i in range(len(label)) if label[i] != label[i - 1] or loop.tips[i])
    return list(new) or [0]


def _start_of_ring(loop: Loop, patch: Patch, curves: Mapping[int, JointCurve]) -> int:
    """Return the edge at which a loop of one kind starts: where its closed joint is measured from.

    Both sides of the joint then count from one point, wherever their meshes begin.
    """
    curve = curves.get(int(loop.joints[0]))
    if curve is None or not curve.closed:
        return 0
    start = curve.points[curve.at_mm.argmin()]
    away = np.linalg.norm(patch.surface.vertices[loop.vertices] - start, axis=1)
    return int(away.argmin())


def _runs(loop: Loop, patch: Patch, curves: Mapping[int, JointCurve]) -> list[EdgeRun]:
    """Return the stretches of one kind, with the distance along the mould's edge."""
    starts, count, runs = run_starts(loop), len(loop.kinds), []
    if len(starts) == 1:
        starts = [_start_of_ring(loop, patch, curves)]
    for start, stop in zip(starts, [*starts[1:], starts[0] + count], strict=True):
        at = np.arange(start, stop + 1) % count
        joint = int(loop.joints[start])
        walked = np.concatenate([[0.0], np.cumsum(loop.lengths[at[:-1]])])
        if joint in curves:
            walked = curves[joint].distance(patch.surface.vertices[loop.vertices[at]], walked)
        runs.append(
            EdgeRun(kind=loop.kinds[start], joint=joint, points=loop.points[at], mould_mm=walked)
        )
    return runs
