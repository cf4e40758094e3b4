"""Parts: what the search lays. A piece, or pieces that move together, in equal copies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shapely import Polygon, box
from shapely.affinity import affine_transform

from ..cloth.fabric import Fabric
from .geometry import laid
from .piece import NestPiece
from .settings import NestSettings
from .turns import Turns, allowed_turns

FEW_VERTICES = 40  # outlines below this stay as they are
SIMPLIFY_MM = (0.1, 0.25, 0.5)  # outward; more is tried only while many vertices are left


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A piece inside a part: where it lies in the part's own frame."""

    piece: str
    other_hand: bool = False
    turned_over: bool = False
    x_mm: float = 0.0
    y_mm: float = 0.0
    angle_deg: float = 0.0

    @property
    def mirrored(self) -> bool:
        """Whether its outline is mirrored: both together cancel."""
        return self.other_hand != self.turned_over


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """`count` equal things to lay; `outline` encloses all members, `hull` covers it simply."""

    members: tuple[Member, ...]
    outline: Polygon  # true, without holes
    hull: Polygon  # for the search: covers `outline`, fewer vertices
    area_mm2: float  # of cloth that is cut, holes taken off
    turns: Turns
    count: int
    holes: tuple[Polygon, ...] = ()  # cloth inside it that is left over

    def at(self, spot: Spot) -> Polygon:
        """Return its outline at a spot."""
        return affine_transform(self.outline, laid(spot.x_mm, spot.y_mm, spot.angle_deg))


@dataclass(frozen=True, slots=True)
class Spot:
    """Where one copy of a part lies: its number in the list, then turn, then shift."""

    part: int
    x_mm: float
    y_mm: float
    angle_deg: float


def parts_of(pieces: Iterable[NestPiece], fabric: Fabric, settings: NestSettings) -> list[Part]:
    """Return the parts of all kits: one for each piece and hand."""
    turns = allowed_turns(fabric, settings.turn_tolerance_deg)
    parts = []
    for piece in pieces:
        for kits, other_hand in ((settings.kits, False), (settings.mirrored_kits, True)):
            if kits:
                member = Member(piece=piece.id, other_hand=other_hand)
                parts.append(part_of(member, piece, turns, piece.count * kits))
    return parts


def part_of(member: Member, piece: NestPiece, turns: Turns, count: int) -> Part:
    """Return the part that is one piece alone."""
    polygon = affine_transform(piece.polygon, laid(0, 0, 0, mirrored=member.mirrored))
    outline = Polygon(polygon.exterior)
    return Part(
        members=(member,),
        outline=outline,
        hull=simple_cover(outline),
        area_mm2=polygon.area,
        turns=turns,
        count=count,
        holes=tuple(Polygon(hole) for hole in polygon.interiors),
    )


def simple_cover(outline: Polygon) -> Polygon:
    """Return an outline with fewer vertices that covers this one, in the same bounding box.

    Thousands of vertices stall the search. Buffering and simplifying by the same distance is
    not strictly outwards, so the cover is proven, and the outline itself kept where it fails.
    """
    cover = outline
    for reach in SIMPLIFY_MM:
        if len(cover.exterior.coords) <= FEW_VERTICES:
            break
        grown = outline.buffer(reach, quad_segs=2, join_style="mitre").simplify(reach)
        if not grown.is_valid:  # simplified, a lean outline's sides may meet
            continue
        trial = grown.intersection(box(*outline.bounds))  # so that exact fits stay exact fits
        if isinstance(trial, Polygon) and trial.is_valid and trial.covers(outline):
            cover = Polygon(trial.exterior)
    return cover


def reach(parts: Sequence[Part], spots: Iterable[Spot]) -> float:
    """Return how far along the strip the spots reach, mm; 0 where there are none."""
    return max((float(parts[spot.part].at(spot).bounds[2]) for spot in spots), default=0.0)
