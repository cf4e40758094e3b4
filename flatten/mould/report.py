"""What the mould checks hand over: findings, maps on the faces, numbers for the sheet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh, components
from .corners import CornerSpot
from .health import is_closed
from .layup import LayupChecks
from .ridges import BuildChoice
from .settings import Direction, MouldSettings
from .split import Split
from .weld import Welded


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldMaps:
    """Values for every face (m,) of the mould as it was given; NaN where not checked.

    `draft` radians against the pull; `held` share 0..1 that does not come off; `ridge_mm` depth
    of layer lines; `grip_mm` ridge depth that catches; `radius_mm` hollow radius (infinite: flat
    or bulging, 0: beside a sharp corner); `wall_mm` thickness where it is less than asked, else
    NaN; `under_brush_mm` how far the brush stays off the face; `part` the mould part of each
    lay-up face, counted from 0, or of the proposed split.
    """

    draft: Floats
    held: Floats
    ridge_mm: Floats
    grip_mm: Floats
    radius_mm: Floats
    wall_mm: Floats
    under_brush_mm: Floats
    part: Floats

    @classmethod
    def empty(cls, faces: int) -> MouldMaps:
        """Return maps of a mould with this many faces on which nothing was checked."""
        return cls(**{name: np.full(faces, np.nan) for name in cls.__dataclass_fields__})


@dataclass(frozen=True, slots=True, kw_only=True)
class MouldNumbers:
    """Figures for the lay-up sheet; 0 where there was nothing to measure.

    Shares are of the lay-up area; `low_draft_share` counts undercuts too. `pulls` one per
    mould part. `thinnest_wall_mm` and `smallest_radius_mm` are infinite where no wall is thin
    and no corner is hollow.
    """

    closed: bool
    shells: int
    thinnest_wall_mm: float = np.inf
    layup_area_mm2: float = 0.0
    pulls: tuple[Direction, ...] = ()
    least_draft_deg: float = 0.0
    low_draft_share: float = 0.0
    undercut_share: float = 0.0
    trapped_share: float = 0.0
    deepest_ridge_mm: float = 0.0
    smallest_radius_mm: float = np.inf
    corner_length_mm: float = 0.0
    corner_resin_g: float = 0.0
    depth_mm: float = 0.0
    opening_mm: float = 0.0
    flange_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldReport:
    """Everything the checks found.

    `settings` what it was checked against; `size` (3,) mm along x, y, z; `corners` the list
    "stipple here"; `builds` build directions, the one with least grip first; `split` a proposal
    to part the mould, None when one pull frees it or parts were given. All face and vertex
    numbers are those of the mould as it was given.
    """

    settings: MouldSettings
    findings: tuple[Finding, ...]
    maps: MouldMaps
    numbers: MouldNumbers
    size: Floats
    corners: tuple[CornerSpot, ...] = ()
    builds: tuple[BuildChoice, ...] = ()
    split: Split | None = None


def fill_maps(faces: int, welded: Welded, walls: Floats, checks: LayupChecks | None) -> MouldMaps:
    """Return the maps over so many faces of the mould as given; `walls` (m,) mm of the welded."""

    def spread(values: Floats, where: Ints) -> Floats:
        full = np.full(faces, np.nan)
        full[welded.kept[where]] = values
        return full

    maps = replace(MouldMaps.empty(faces), wall_mm=spread(walls, np.arange(len(walls))))
    if checks is None:
        return maps
    at, drafts, reaches = checks.faces, checks.drafts, checks.reaches
    part = np.concatenate([np.full(len(draft.faces), float(n)) for n, draft in enumerate(drafts)])
    split = checks.split
    return replace(
        maps,
        draft=spread(np.concatenate([draft.angle for draft in drafts]), at),
        held=spread(np.concatenate([draft.held for draft in drafts]), at),
        ridge_mm=spread(checks.ridges.depth_mm, at),
        grip_mm=spread(checks.ridges.grip_mm, at),
        radius_mm=spread(checks.turning.radius_mm[at], at),
        under_brush_mm=spread(np.concatenate([reach.under_brush for reach in reaches]), at),
        part=spread(split.part.astype(float), split.faces) if split else spread(part, at),
    )


def numbers_of(mesh: MouldMesh, walls: Floats, checks: LayupChecks | None) -> MouldNumbers:
    """Return the figures for the lay-up sheet; `walls` (m,) mm, NaN where thick enough."""
    numbers = MouldNumbers(
        closed=is_closed(mesh),
        shells=len(np.unique(components(mesh.faces, mesh.edges))),
        thinnest_wall_mm=float(np.nanmin(walls, initial=np.inf)),
    )
    if checks is None:
        return numbers
    areas = mesh.areas[checks.faces]
    total = max(float(areas.sum()), 1e-300)
    undercut = np.concatenate([draft.undercut for draft in checks.drafts])
    trapped = np.concatenate([draft.trapped for draft in checks.drafts])
    deepest = max(checks.reaches, key=lambda reach: reach.ratio)
    return replace(
        numbers,
        layup_area_mm2=float(areas.sum()),
        pulls=tuple(_three(draft.pull) for draft in checks.drafts),
        least_draft_deg=float(np.degrees(min(draft.angle.min() for draft in checks.drafts))),
        low_draft_share=float((areas * checks.low_draft).sum()) / total,
        undercut_share=float(areas[undercut].sum()) / total,
        trapped_share=float((areas * trapped)[~undercut].sum()) / total,
        deepest_ridge_mm=float(checks.ridges.depth_mm.max()),
        smallest_radius_mm=float(checks.turning.radius_mm.min()),
        corner_length_mm=sum(spot.length_mm for spot in checks.corners),
        corner_resin_g=sum(spot.resin_g for spot in checks.corners),
        depth_mm=deepest.depth_mm,
        opening_mm=deepest.opening_mm,
        flange_mm=min(reach.flange_mm for reach in checks.reaches),
    )


def corners_as_given(corners: list[CornerSpot], welded: Welded) -> tuple[CornerSpot, ...]:
    """Return the corners with the face and vertex numbers of the mould as it was given."""
    return tuple(
        replace(
            spot,
            faces=tuple(welded.kept[list(spot.faces)].tolist()),
            edges=tuple(
                (int(welded.vertices[start]), int(welded.vertices[end]))
                for start, end in spot.edges
            ),
        )
        for spot in corners
    )


def split_as_given(split: Split, welded: Welded) -> Split:
    """Return the split with the face and vertex numbers of the mould as it was given."""
    return replace(split, faces=welded.kept[split.faces], line=welded.vertices[split.line])


def _three(vector: Floats) -> Direction:
    return (float(vector[0]), float(vector[1]), float(vector[2]))
