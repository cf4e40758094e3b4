"""Patches for the gaps that stay open on the mould where a dart's two sides need the same cloth."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString

from ..arrays import Floats
from ..cloth.fabric import Fabric
from .marks import place_arrow, place_text, room_in
from .outline import Outline
from .pattern import Pattern
from .settings import Dressing
from .slits import KERF_MM, dart_pairs, largest, midline, stretches

# A gap no wider than this closes under the hand; twice the kerf of the slit.
WIDEST_CLOSED_MM = 2 * KERF_MM


def gap_patches(
    outline: Outline,
    *,
    of: Pattern,
    fabric: Fabric,
    dressing: Dressing,
    cover_mm: float | None = None,
) -> list[Pattern]:
    """Return a patch for each gap a dart leaves on the mould and no lap covers.

    Where cloth must spread (a saddle, an inner curve) the two sides of a dart overlap in the
    flat: only one can have that cloth, the knife runs in the middle, and on the mould the joint
    opens by what each side lacks. The patch is that gap and `cover_mm` (the cloth's lap) all
    round, in the piece's own flat, so that its warp runs as the piece's does there.

    Parameters
    ----------
    outline, of : the piece and its pattern
    fabric : the patch's cloth; `cover_mm` None: its lap, 25 mm where it has none
    """
    cover = (fabric.lap_mm or 25.0) if cover_mm is None else cover_mm
    found = []
    for pair in dart_pairs(outline.runs):
        middle, opening, _ = midline(pair)
        for start, stop in stretches(opening < -WIDEST_CLOSED_MM):
            low, high = max(start - 1, 0), min(stop + 1, len(middle))
            line, wide = middle[low:high], np.maximum(-opening[low:high], 0.0)
            if len(line) > 1:
                found.append((line, wide))
    return [
        _patch(line, wide, cover, of, fabric, dressing, number, len(found))
        for number, (line, wide) in enumerate(found, start=1)
    ]


def _patch(
    line: Floats,
    wide: Floats,
    cover: float,
    of: Pattern,
    fabric: Fabric,
    dressing: Dressing,
    number: int,
    count: int,
) -> Pattern:
    links = [
        shapely.unary_union(
            [shapely.Point(a).buffer(wa / 2 + 0.01), shapely.Point(b).buffer(wb / 2 + 0.01)]
        ).convex_hull
        for a, b, wa, wb in zip(line, line[1:], wide, wide[1:], strict=False)
    ]
    gap = largest(shapely.unary_union([*links, LineString(line).buffer(0.01)]))
    cut = largest(gap.buffer(cover))
    room = room_in(cut, cut)
    arrow = place_arrow(room) if fabric.directional else None
    title = f"{of.ply_number} gap patch"
    words = ((of.part, title, fabric.name, "cut 1"), (title, "cut 1"), (f"{of.ply_number} x1",))
    label = place_text(room, "label", words, dressing)
    return Pattern(
        id=f"{of.id}-gap-{number}",
        part=of.part,
        ply_id=of.ply_id,
        ply_number=of.ply_number,
        ply_name=f"{of.ply_name}, gap patch",
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
    )
