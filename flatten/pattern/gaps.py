"""Patches for the gaps that stay open on the mould where a dart's two sides need the same cloth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon

from ..arrays import Floats
from ..cloth.fabric import Fabric
from .marks import place_arrow, place_text, room_in
from .outline import Outline
from .pattern import Pattern
from .settings import Dressing
from .slits import largest, lips, stretches

# A gap no wider than this closes under the hand: common practice, no source.
WIDEST_CLOSED_MM = 1.0
LAP_WITHOUT_MM = 25.0  # round a gap in cloth that has no lap of its own


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gap:
    """An open stretch of a joint and its patch.

    `from_mm`, `to_mm` along the joint on the mould, as its notches are counted; `wide_mm` the
    widest place.
    """

    pattern: Pattern
    joint: int
    from_mm: float
    to_mm: float
    wide_mm: float


def gap_patches(
    outline: Outline,
    *,
    of: Pattern,
    fabric: Fabric,
    dressing: Dressing,
    cover_mm: float | None = None,
) -> list[Gap]:
    """Return a patch for each gap a dart leaves on the mould and no lap covers.

    Where cloth must spread (a saddle, an inner curve) the two sides of a dart overlap in the
    flat: only one can have that cloth, the knife runs in the middle, and on the mould the joint
    opens by what each side lacks, its lap included. The patch is that gap and `cover_mm` (the
    cloth's lap) all round, in the piece's own flat, so that its warp runs as the piece's does
    there.

    Parameters
    ----------
    outline, of : the piece and its pattern
    fabric : the patch's cloth; `cover_mm` None: its lap, 25 mm where it has none
    """
    cover = (fabric.lap_mm or LAP_WITHOUT_MM) if cover_mm is None else cover_mm
    found = []
    for side, middle, opening, at_mm in lips(outline.runs):
        for start, stop in stretches(opening < -WIDEST_CLOSED_MM):
            low, high = max(start - 1, 0), min(stop + 1, len(middle))
            wide = np.maximum(-opening[low:high], 0.0)
            if high - low > 1:
                found.append((side.joint, middle[low:high], wide, at_mm[low:high]))
    return [
        Gap(
            pattern=_patch(_shape(line, wide), cover, of, fabric, dressing, number, len(found)),
            joint=joint,
            from_mm=float(at_mm.min()),
            to_mm=float(at_mm.max()),
            wide_mm=float(wide.max()),
        )
        for number, (joint, line, wide, at_mm) in enumerate(found, start=1)
    ]


def _shape(line: Floats, wide: Floats) -> Polygon:
    """Return the gap in the flat: along its middle line, as wide as it opens there."""
    links = [
        shapely.unary_union(
            [shapely.Point(a).buffer(wa / 2 + 0.01), shapely.Point(b).buffer(wb / 2 + 0.01)]
        ).convex_hull
        for a, b, wa, wb in zip(line, line[1:], wide, wide[1:], strict=False)
    ]
    return largest(shapely.unary_union([*links, LineString(line).buffer(0.01)]))


def _patch(
    gap: Polygon,
    cover: float,
    of: Pattern,
    fabric: Fabric,
    dressing: Dressing,
    number: int,
    count: int,
) -> Pattern:
    cut = largest(gap.buffer(cover).simplify(0.02))
    room, beside = room_in(cut, cut), room_in(cut, cut)
    beside.take(gap)
    many = f" ({number} of {count})" if count > 1 else ""
    name = f"{of.ply_name}, gap patch"
    short = f"{of.ply_number} gap patch{many}"
    words = (
        (of.part, f"{of.ply_number} {name}{many}", fabric.name, "cut 1"),
        (short, "cut 1"),
        (short,),
        (f"{of.ply_number} x1",),
    )
    label = place_text(beside, "label", words, dressing)
    if label is not None:
        room.take(beside.taken[-1])
    arrow = None
    if fabric.directional:  # over the gap's line only where there is no room beside it
        arrow = place_arrow(beside)
        if arrow is None:
            arrow = place_arrow(room)
        else:
            room.take(beside.taken[-1])
    if label is None:
        label = place_text(room, "label", words, dressing)
    return Pattern(
        id=f"{of.id}-gap-{number}",
        part=of.part,
        ply_id=of.ply_id,
        ply_number=of.ply_number,
        ply_name=name,
        fabric=fabric.id,
        fabric_name=fabric.name,
        angle_deg=of.angle_deg,
        piece=number,
        pieces=count,
        net=shapely.orient_polygons(gap),
        cut=shapely.orient_polygons(cut),
        marks=(label,) if label is not None else (),
        arrow=arrow,
        side_up=of.side_up,
        mould_area_mm2=float(gap.area),
        mirrored=of.mirrored,
        role="gap_patch",
    )
