"""Pieces cut from the back of a cloth that has no face side: every second copy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from shapely import Polygon
from shapely.affinity import affine_transform

from .geometry import laid
from .part import Part

FLIP = laid(0, 0, 0, mirrored=True)


def turned_over(parts: Sequence[Part]) -> list[Part]:
    """Return the parts with half of all copies mirrored and marked to be turned over."""
    result, odd = [], 0
    for part in parts:
        over = (part.count + odd) // 2  # single copies: every second part
        odd = (part.count + odd) % 2
        if part.count - over:
            result.append(replace(part, count=part.count - over))
        if over:
            result.append(_flipped(part, over))
    return result


def _flipped(part: Part, count: int) -> Part:
    members = tuple(
        replace(
            member,
            turned_over=not member.turned_over,
            y_mm=-member.y_mm,
            angle_deg=-member.angle_deg % 360,
        )
        for member in part.members
    )
    return replace(
        part,
        members=members,
        outline=_mirror(part.outline),
        hull=_mirror(part.hull),
        holes=tuple(_mirror(hole) for hole in part.holes),
        count=count,
    )


def _mirror(shape: Polygon) -> Polygon:
    return Polygon(affine_transform(shape, FLIP).exterior.coords[::-1])
