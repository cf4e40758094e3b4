"""The trim allowance on the mould: the region goes on over its neighbouring faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..errors import InputError
from .distance import distance_from
from .edges import Edges
from .isoline import keep_below
from .mesh import MouldMesh
from .refine import LIFT_SHARE
from .region import edge_angles
from .rim import Rim, fan_rim, follow_rim
from .sheet import Sheet
from .topology import handles_and_loops
from .triangulation import Triangulation

# Cloth goes over the rim of the region whatever the corner there, but not round a knife's edge;
RIM_SHARPEST_DEG = 150.0
# further out, the strip ends at a corner sharper than this: there the mould itself ends.
STRIP_SHARPEST_DEG = 60.0
# Edges of the strip, as a share of its width: the distance is then right to about 1 % of it.
STRIP_EDGE_SHARE = 1 / 4
# On a very long rim they are longer: the strip has this many along it, give or take a half.
MOST_ALONG = 10_000
ROUNDS = 40
# An end of the mould this near to the full width does not count as missing.
FULL_SHARE = 0.95


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Extension:
    """A sheet with its trim strip.

    `rim` (k, 2) edges round the net region as sheet vertices, the net on their left;
    `covered_mm` (k,) how far the strip reaches beyond each: the width asked for, or less where
    the mould ends, 0 where it ends at the rim.
    """

    sheet: Sheet
    rim: Ints
    covered_mm: Floats


def extend_sheet(mould: MouldMesh, sheet: Sheet, distance_mm: float) -> Extension:
    """Return a region's sheet with a strip of the neighbouring faces round it.

    Parameters
    ----------
    mould : the whole mould
    sheet : a region just taken out of it
    distance_mm : width of the strip, measured over the surface from the region's rim

    Where the strip would close the sheet or give it a handle, there is none at all.

    Raises
    ------
    InputError : the width is not above zero
    """
    if not 0 < distance_mm < np.inf:
        raise InputError(
            f"The trim allowance is {distance_mm} mm.", "Enter a width above zero, or none."
        )
    rim = Rim.of(mould, sheet)
    near = _near_faces(mould, sheet, rim, distance_mm)
    if not len(near):
        return _none(sheet, rim)
    used, local = np.unique(mould.faces[near], return_inverse=True)
    work = Triangulation(mould.vertices[used], local.reshape(-1, 3), np.zeros(len(near), np.int64))
    _refine_near(work, mould, rim, distance_mm)
    parts = follow_rim(work, used, rim)
    extended = _with_strip(sheet, rim, work, used, near, parts, distance_mm)
    before, after = handles_and_loops(sheet.faces), handles_and_loops(extended.sheet.faces)
    if after[0] > before[0] or (after[1] == 0 and before[1] > 0):
        return _none(sheet, rim)
    return extended


def _none(sheet: Sheet, rim: Rim) -> Extension:
    return Extension(sheet=sheet, rim=rim.edges, covered_mm=np.zeros(len(rim.edges)))


def _near_faces(mould: MouldMesh, sheet: Sheet, rim: Rim, distance_mm: float) -> Ints:
    """Faces outside the region that the strip may lie on."""
    edges, angle = mould.edges, edge_angles(mould)
    outside = np.ones(len(mould.faces), bool)
    outside[sheet.source_faces] = False
    corners = mould.corners
    longest = np.sqrt(((np.roll(corners, -1, axis=1) - corners) ** 2).sum(axis=2).max(axis=1))
    outside &= mould.areas > 1e-10 * longest**2
    candidates = np.flatnonzero(outside)
    away = rim.distance(mould, corners[candidates].mean(axis=1))
    outside[candidates] = away - 2 / 3 * longest[candidates] <= distance_mm
    pair = edges.faces
    sound = (edges.count == 2) & ~edges.flipped
    across = sound & (outside[pair].sum(axis=1) == 1) & (angle <= np.radians(RIM_SHARPEST_DEG))
    in_region = np.zeros(len(mould.faces), bool)
    in_region[sheet.source_faces] = True
    across &= in_region[pair].any(axis=1)
    reached = np.zeros(len(mould.faces), bool)
    reached[pair[across][outside[pair[across]]]] = True
    level = sound & outside[pair].all(axis=1) & (angle <= np.radians(STRIP_SHARPEST_DEG))
    return _flood(reached, pair[level])


def _flood(reached: Bools, pairs: Ints) -> Ints:
    while True:
        touched = pairs[reached[pairs].any(axis=1) & ~reached[pairs].all(axis=1)]
        if not len(touched):
            return np.flatnonzero(reached)
        reached[touched] = True


def _refine_near(work: Triangulation, mould: MouldMesh, rim: Rim, distance_mm: float) -> None:
    """Split the triangles the strip lies on; those further out stay large."""
    ends = mould.vertices[rim.mould_edges]
    around = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
    edge_mm = max(STRIP_EDGE_SHARE * distance_mm, around / MOST_ALONG)
    locator = rim.locator(mould)
    changed = np.arange(len(work.faces))
    off = np.zeros(0)  # from the rim to each face's middle, NaN where not known; found but once
    for _ in range(ROUNDS):
        flipped = work.flip_all(changed, LIFT_SHARE * edge_mm)
        off = np.concatenate([off, np.full(len(work.faces) - len(off), np.nan)])
        off[changed], off[flipped] = np.nan, np.nan
        members = np.arange(len(work.faces))
        sides = work.side_lengths(members)
        longest = sides.max(axis=1)
        wanted = np.flatnonzero(longest > edge_mm)
        unknown = wanted[np.isnan(off[wanted])]
        if len(unknown):
            middle = work.vertices[work.faces[unknown]].mean(axis=1)
            off[unknown] = locator.locate(middle).distances
        away = off[wanted] - 2 / 3 * longest[wanted]
        wanted = wanted[away <= distance_mm]
        if not len(wanted):
            return
        half = work.longest_sides(members, sides)
        changed = work.split(work.terminal_edges(wanted, half))


def _with_strip(
    sheet: Sheet,
    rim: Rim,
    work: Triangulation,
    used: Ints,
    near: Ints,
    parts: list[list[int]],
    distance_mm: float,
) -> Extension:
    """Join the strip to the sheet along the rim, whose edges have been split on its side."""
    on_rim = np.unique(np.array([v for part in parts for v in part], dtype=np.int64))
    far, origin = distance_from(
        work.vertices, work.faces, on_rim, upto_mm=(1 + 2 * STRIP_EDGE_SHARE) * distance_mm
    )
    far = np.minimum(far, 4 * distance_mm)
    places, faces, owner = keep_below(work.vertices, work.faces, far, distance_mm)
    number = np.full(len(places), -1)
    number[: len(used)] = rim.sheet_vertex(used)
    added = np.unique(np.concatenate([on_rim, faces.ravel()]))
    added = added[number[added] < 0]
    number[added] = len(sheet.vertices) + np.arange(len(added))
    net_faces, net_owner, net_rim = fan_rim(sheet.faces, rim, parts, number)
    source = np.full(len(places), -1)
    source[: len(used)] = used
    extended = Sheet(
        vertices=np.vstack([sheet.vertices, places[added]]),
        faces=np.vstack([net_faces, number[faces]]),
        source_vertices=np.concatenate([sheet.source_vertices, source[added]]),
        source_faces=np.concatenate([sheet.source_faces[net_owner], near[work.source[owner]]]),
        inside=np.concatenate([sheet.inside[net_owner], np.zeros(len(faces), bool)]),
    )
    covered = _covered(extended, net_rim, number, far, origin, distance_mm)
    return Extension(sheet=extended, rim=net_rim, covered_mm=covered)


def _covered(
    sheet: Sheet, rim: Ints, number: Ints, far: Floats, origin: Ints, distance_mm: float
) -> Floats:
    """The least distance at which the strip ends early, seen from each rim edge."""
    reach = np.full(len(sheet.vertices), distance_mm)
    edges = Edges(sheet.faces)
    ends = np.zeros(len(sheet.vertices), bool)
    ends[edges.vertices[edges.boundary]] = True
    known = np.flatnonzero((number[: len(far)] >= 0) & (origin >= 0))
    early = known[ends[number[known]] & (far[known] < FULL_SHARE * distance_mm)]
    np.minimum.at(reach, number[origin[early]], far[early])
    base = len(sheet.vertices)
    bare = np.isin(np.sort(rim, axis=1) @ [base, 1], edges.vertices[edges.boundary] @ [base, 1])
    covered: Floats = np.where(bare, 0.0, reach[rim].max(axis=1))
    return covered
