"""Outline, allowance and marks into one Pattern: the piece as it is cut."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from shapely import LineString, Point

from ..arrays import Floats
from ..cloth.fabric import Fabric
from ..cloth.strain import beyond_limit
from ..errors import InputError
from ..units import show_angle
from .allowance import allowance
from .joints import JointCurve, joint_curves
from .marks import place_arrow, place_fold_back, place_tack, place_text, room_in
from .notches import place_notches, with_tabs
from .outline import Outline, outline
from .pattern import Mark, Pattern, ShearMap
from .settings import Dressing
from .slits import dart_pairs

if TYPE_CHECKING:
    from ..cloth.drape import Drape
    from ..surface.patch import Patch

TACK_OFF_CUT_MM = 1.0
DART_END_MM = 4.0  # size of the mark at the end of a dart


def dress(
    patch: Patch,
    drape: Drape,
    *,
    part: str,
    ply_id: str,
    ply_number: int,
    ply_name: str,
    fabric: Fabric,
    angle_deg: float,
    dressing: Dressing,
    trim_mm: float | None = None,
    lap_mm: float | None = None,
    piece: int = 1,
    pieces: int = 1,
    count: int = 1,
    side_up: str = "tool side down",
    mirrored: bool = False,
    curves: Mapping[int, JointCurve] | None = None,
) -> Pattern:
    """Return the pattern of one draped patch, seen from the lay-up side.

    Parameters
    ----------
    patch, drape : the piece of mould and its flat shape
    part, ply_id, ply_number, ply_name, angle_deg, side_up : what the label says
    piece, pieces : this patch among the patches of its ply; `count` : how many are cut
    trim_mm : past the part's edge; None: the dressing's
    lap_mm : at all lapped joints; None: each joint's own
    curves : `joint_curves` of all patches of the ply, so that notches of both sides meet

    Raises
    ------
    InputError : no face inside, a lap wider than the piece, a cut through the tack point
    """
    curves = curves if curves is not None else joint_curves([patch])
    shape = outline(patch, drape, curves=curves)
    _refuse_cut_tack(shape, patch)
    cut = allowance(
        shape,
        trim_mm=dressing.trim_mm if trim_mm is None else trim_mm,
        lap_mm=_laps(patch) if lap_mm is None else lap_mm,
        corner=dressing.corner,
        relieve=dressing.relieve,
        smooth_mm=dressing.smooth_mm,
        faces=patch.source_faces.tolist(),
    )
    cut, notches = with_tabs(cut, place_notches(shape, cut, curves, dressing))
    room = room_in(shape.net, cut)
    tack = place_tack(room, cut)
    arrow = place_arrow(room) if fabric.directional else None
    title = f"{ply_number} {ply_name}" + (f" ({piece} of {pieces})" if pieces > 1 else "")
    marks = [
        place_text(room, "label", _label(part, title, fabric, angle_deg, count), dressing),
        place_text(room, "side_up", (("this side up", side_up), ("this side up",)), dressing),
        place_fold_back(room, cut, dressing) if tack is not None else None,
        *_dart_ends(shape),
    ]
    return Pattern(
        id=f"{ply_id}-{piece}" if pieces > 1 else ply_id,
        part=part,
        ply_id=ply_id,
        ply_number=ply_number,
        ply_name=ply_name,
        fabric=fabric.id,
        fabric_name=fabric.name,
        angle_deg=angle_deg,
        piece=piece,
        pieces=pieces,
        count=count,
        net=shape.net,
        cut=cut,
        runs=shape.runs,
        notches=notches,
        marks=tuple(mark for mark in marks if mark is not None),
        arrow=arrow,
        tack=tack,
        side_up=side_up,
        shear=_shear_map(drape, patch, fabric),
        mould_area_mm2=shape.mould_area_mm2,
        mirrored=mirrored,
    )


def _refuse_cut_tack(shape: Outline, patch: Patch) -> None:
    """Refuse a joint through the tack point: the cloth would have to be pressed down on its edge.

    A tack point on the part's own edge is fine.
    """
    for run in shape.rim_runs:
        if run.joint >= 0 and LineString(run.points).distance(Point(0, 0)) < TACK_OFF_CUT_MM:
            near = np.linalg.norm(patch.surface.corners - _tack_on(patch, shape), axis=2).min(
                axis=1
            )
            raise InputError(
                "A cut runs through the tack point.",
                "Move the tack point or the cut, 1 mm apart at least.",
                faces=np.unique(patch.source_faces[near <= near.min() + 1e-6]),
            )


def _tack_on(patch: Patch, shape: Outline) -> Floats:
    """Return where the vertex of a joint nearest to the tack point lies on the mould."""
    best = min(
        (
            (float(np.linalg.norm(point)), int(vertex))
            for loop in shape.rims
            for point, vertex, joint in zip(loop.points, loop.vertices, loop.joints, strict=True)
            if joint >= 0
        )
    )
    return np.asarray(patch.surface.vertices[best[1]])


def _laps(patch: Patch) -> dict[int, float]:
    return {joint.number: joint.lap_mm for joint in patch.joints}


def _label(
    part: str, title: str, fabric: Fabric, angle_deg: float, count: int
) -> tuple[tuple[str, ...], ...]:
    """Return the label from its fullest to its shortest form."""
    angle = show_angle(angle_deg)
    cloth = f"{fabric.name}, {angle}" if fabric.directional else fabric.name
    number = title.split(" ", 1)[0]
    return (
        (part, title, cloth, f"cut {count}"),
        (title, f"{angle}  cut {count}"),
        (f"ply {number}", f"{angle}  x{count}"),
        (f"{number}",),
    )


def _dart_ends(shape: Outline) -> list[Mark]:
    """Return a mark at the end of each dart, where its two sides meet."""
    ends = []
    for first, second in dart_pairs(shape.runs):
        for tip in (first.points[0], first.points[-1]):
            meets = np.abs(second.points[[0, -1]] - tip).max(axis=1)
            if meets.min() < 1e-9:
                ends.append(Mark(kind="dart_end", lines=(), at=tip, height_mm=DART_END_MM))
    return ends


def _shear_map(drape: Drape, patch: Patch, fabric: Fabric) -> ShearMap:
    return ShearMap(
        triangles=np.array(drape.flat[patch.surface.faces]),
        shear_deg=np.degrees(drape.strain[:, 2]),
        locked=beyond_limit(drape.strain, fabric),
    )
