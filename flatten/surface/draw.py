"""Drawn cuts laid on a sheet, and cuts led on through the trim strip to its edge."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..arrays import Floats
from ..errors import InputError
from .locate import Located, Locator, locate, locate_one
from .mesh import MouldMesh
from .path import WITHIN_MM, SurfacePath, leg, path_through
from .prolong import straight_on
from .split import Worksheet

# A splice drawn to within this of the edge is meant to reach it.
REACH_MM = 5.0


def draw_cut(
    work: Worksheet, mould: MouldMesh, path: Floats, *, joint: int, name: str, dart: bool
) -> None:
    """Draw a cut on the sheet as a joint: split the triangles along it and mark its edges.

    Parameters
    ----------
    path : (k, 3) mm; its ends may lie outside the ply, where it is cut off at the rim
    dart : it starts at the rim and ends inside; otherwise it runs from rim to rim

    Raises
    ------
    InputError : it leaves the region, touches itself, runs along the rim, ends short of it, or,
        a dart, does not end inside
    """
    points = _clipped(work, mould, path, name, dart)
    vertices = [work.insert(locate_one(work.mesh, point)) for point in points]
    chain = [vertices[0]]
    for a, b in pairwise(vertices):
        if a == b:
            continue
        part = work.draw(leg(work.mesh, _at(work, a), _at(work, b), name=name), joint, name)
        _refuse_repeat(work, chain, part, name)
        work.mark(part, joint, name)
        chain += part[1:]
    if len(chain) < 2:
        raise InputError(f"{name} has no length on this ply.", "Draw it longer, or remove it.")
    _refuse_rim(work, chain, name)
    if dart:
        _refuse_tip(work, chain[-1], name)
    if chain[0] != chain[-1]:
        lead_on(work, chain[::-1], joint, name, forward=False)
        if not dart:
            lead_on(work, chain, joint, name, forward=True)


def lead_on(
    work: Worksheet, chain: list[int], joint: int, name: str, *, forward: bool, reach: bool = True
) -> None:
    """Lead a joint straight on from the chain's last vertex to the rim, if it is not there yet.

    `forward`: the joint runs that way; `reach`: refuse to lead it further than `REACH_MM` over
    the net region. Where its way comes back to the net (over an opening filled by trim) it stays
    as it is.

    Raises
    ------
    InputError : it ends further than that from the rim
    """
    tip = chain[-1]
    if work.on_rim[tip] or not work.on_rim.any() or _on_other(work, tip, joint):
        return
    path = straight_on(work.mesh, tip, chain[-2])
    short, comes_back = _over_net(work, path)
    if short > REACH_MM:  # straight on it runs along the rim, or into the piece: go to the side
        path = _to_nearest_rim(work, tip)
        short, comes_back = _over_net(work, path)
    if reach and short > REACH_MM:
        raise InputError(
            f"{name} ends {short:.0f} mm short of the edge.",
            "Draw it from edge to edge, or make it a dart that starts at the edge.",
            faces=work.faces_at([tip]),
        )
    if path is None or comes_back:
        return
    part = work.draw(path, joint, name)
    work.mark(part if forward else part[::-1], joint, name)


def _clipped(
    work: Worksheet, mould: MouldMesh, path: Floats, name: str, dart: bool
) -> list[Floats]:
    """The path's points on the sheet; an end drawn beyond the rim is moved to where it leaves."""
    found = Locator(work.mesh).locate(path)
    on = found.distances <= WITHIN_MM
    if not on.any():
        return _crossing(work, mould, path, name, dart)
    first, last = int(on.argmax()), len(on) - 1 - int(on[::-1].argmax())
    if not on[first : last + 1].all():
        off = first + int((~on[first:last]).argmax())
        raise InputError(
            f"{name} leaves the ply's region at its point {off + 1}.",
            "Draw it inside the region, or as two cuts.",
        )
    if dart and last < len(on) - 1:
        raise InputError(
            f"{name} is a dart, but it ends {found.distances[-1]:.0f} mm outside the piece.",
            "Shorten it so that it ends inside, or make it a splice.",
            faces=np.unique(work.sheet.source_faces[found.faces[last]]),
        )
    points = [found.points[k] for k in range(first, last + 1)]
    if first > 0:
        points.insert(0, _leaving(work, mould, path[first], path[first - 1], name))
    if last < len(on) - 1:
        points.append(_leaving(work, mould, path[last], path[last + 1], name))
    return points


def _crossing(
    work: Worksheet, mould: MouldMesh, path: Floats, name: str, dart: bool
) -> list[Floats]:
    """The part on the region of a path all of whose points lie outside it."""
    over = path_through(mould, path, name=name)
    mine = np.flatnonzero(np.isin(over.faces, work.sheet.source_faces[work.sheet.inside]))
    if not len(mine):
        raise InputError(
            f"{name} does not touch the ply's region.", "Draw it on the region, or remove it."
        )
    if dart or mine[-1] - mine[0] >= len(mine):
        raise InputError(
            f"{name} leaves the ply's region on its way.",
            "Make it a splice; draw it inside the region, or as two cuts.",
            faces=over.faces[mine],
        )
    return [over.points[mine[0]], over.points[mine[-1] + 1]]


def _leaving(
    work: Worksheet, mould: MouldMesh, inside: Floats, outside: Floats, name: str
) -> Floats:
    """The point where the straight way from a point of the sheet to one beyond leaves it."""
    out = path_through(mould, np.array([inside, outside]), name=name)
    mine = np.isin(out.faces, work.sheet.source_faces[work.sheet.inside])
    leaves = int((~mine).argmax()) if not mine.all() else len(mine)
    return np.asarray(out.points[leaves])


def _at(work: Worksheet, vertex: int) -> Located:
    faces = work.sheet.faces
    face, corner = (int(k[0]) for k in np.nonzero(faces == vertex))
    return Located(
        faces=np.array([face]),
        weights=np.eye(3)[corner][None],
        points=work.sheet.vertices[vertex][None],
        distances=np.zeros(1),
    )


def _refuse_repeat(work: Worksheet, chain: list[int], part: list[int], name: str) -> None:
    """A leg may close the cut to a ring, but touch its earlier legs nowhere else."""
    again = set(part[1:]) & set(chain)
    if again - {chain[0]} or (again and part[-1] != chain[0]):
        raise work.touches_itself(name, min(again))


def _refuse_rim(work: Worksheet, chain: list[int], name: str) -> None:
    edges = work.mesh.edges
    rim = {tuple(pair) for pair in edges.vertices[edges.boundary].tolist()}
    touching = [v for v in chain[1:-1] if work.on_rim[v]]
    touching += [a for a, b in pairwise(chain) if (min(a, b), max(a, b)) in rim]
    if touching:
        raise InputError(
            f"{name} runs along the edge of the piece, or touches it on its way.",
            "Draw it clear of the edge, or as two cuts.",
            faces=work.faces_at(touching),
        )


def _refuse_tip(work: Worksheet, tip: int, name: str) -> None:
    round_tip = (work.sheet.faces == tip).any(axis=1)
    if work.on_rim[tip] or not work.sheet.inside[round_tip].all():
        raise InputError(
            f"{name} is a dart, but it is longer than the piece: it ends on its edge.",
            "Shorten it so that it ends inside, or make it a splice.",
            faces=work.faces_at([tip]),
        )


def _on_other(work: Worksheet, vertex: int, joint: int) -> bool:
    return any(vertex in key and mark[0] != joint for key, mark in work.marks.items())


def _to_nearest_rim(work: Worksheet, tip: int) -> SurfacePath | None:
    """The path to the point of the rim that lies nearest as the crow flies."""
    edges = work.mesh.edges
    a, b = edges.vertices[edges.boundary].T
    rim = MouldMesh(work.sheet.vertices, np.column_stack([a, b, b]))
    nearest = locate(rim, work.sheet.vertices[[tip]]).points[0]
    end = work.insert(locate_one(work.mesh, nearest))
    return None if end == tip else leg(work.mesh, _at(work, tip), _at(work, end))


def _over_net(work: Worksheet, path: SurfacePath | None) -> tuple[float, bool]:
    """How far the path runs over the net at first, and whether it comes back there.

    It does across an opening that its own trim fills: there the cut ends at the opening.
    """
    if path is None:
        return np.inf, False
    steps = np.linalg.norm(np.diff(path.points, axis=0), axis=1)
    net = work.sheet.inside[path.faces[: len(steps)]]
    out = int((~net).argmax()) if not net.all() else len(net)
    return float(steps[:out].sum()), bool(net[out:].any())
