"""Small pieces in the holes of large ones: they then move as one part."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

from shapely import Polygon

from .fit import always, by_area
from .geometry import cos_sin
from .part import Member, Part, Spot
from .starts import STARTS, fill_best
from .turns import Turns


def with_guests(
    parts: Sequence[Part], gap: float, go_on: Callable[[], bool] = always
) -> list[Part]:
    """Return the parts with every hole filled as far as other pieces fit into it.

    Guests lie at the cloth's own turns to their host, without the tolerance, so that the host
    may still use it; any turn allowed for the host is then allowed for them. Once `go_on` says
    False the remaining holes stay empty. Few hosts are filled in several ways, many in one.
    """
    left = [part.count for part in parts]
    straight = [replace(part, turns=_without_tolerance(part.turns)) for part in parts]
    starts = max(1, STARTS // max(1, sum(part.count for part in parts if part.holes)))
    hosts: list[Part] = []
    for number in by_area(parts):
        host = parts[number]
        if not host.holes:
            continue
        filled: Counter[tuple[Spot, ...]] = Counter()
        while left[number]:
            left[number] -= 1
            guests, left = _guests(straight, left, host, gap, starts, go_on)
            filled[tuple(guests)] += 1
        hosts += [joined(host, parts, spots, count) for spots, count in filled.items()]
    rest = [replace(part, count=n) for part, n in zip(parts, left, strict=True) if n]
    return hosts + rest


def joined(host: Part, parts: Sequence[Part], spots: Sequence[Spot], count: int) -> Part:
    """Return the part made of a host and parts lying in its holes."""
    members = list(host.members)
    for spot in spots:
        members += [carried(member, spot) for member in parts[spot.part].members]
    area = host.area_mm2 + sum(parts[spot.part].area_mm2 for spot in spots)
    return replace(host, members=tuple(members), area_mm2=area, count=count, holes=())


def carried(member: Member, spot: Spot) -> Member:
    """Return a member moved with the part it belongs to."""
    cosine, sine = cos_sin(spot.angle_deg)
    return replace(
        member,
        x_mm=spot.x_mm + cosine * member.x_mm - sine * member.y_mm,
        y_mm=spot.y_mm + sine * member.x_mm + cosine * member.y_mm,
        angle_deg=(member.angle_deg + spot.angle_deg) % 360,
    )


def _guests(
    parts: Sequence[Part],
    left: list[int],
    host: Part,
    gap: float,
    starts: int,
    go_on: Callable[[], bool],
) -> tuple[list[Spot], list[int]]:
    guests: list[Spot] = []
    for hole in sorted(host.holes, key=lambda hole: -hole.area):
        inner = hole.buffer(-gap, join_style="mitre")
        for region in getattr(inner, "geoms", [inner]):
            if isinstance(region, Polygon) and not region.is_empty:
                spots, left = fill_best(parts, left, region, gap, starts=starts, go_on=go_on)
                guests += spots
    return guests, left


def _without_tolerance(turns: Turns) -> Turns:
    return replace(turns, tolerance_deg=0.0)
