"""What goes on with the cloth: peel ply, film and breather, core panels, corner-fill tapes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..arrays import Floats, Ints
from ..cloth.fabric import Fabric
from ..errors import InputError
from ..surface.chains import chains_of
from ..surface.mesh import MouldMesh
from ..surface.region import Region, edge_angles
from .alike import merge_identical
from .dress import dress
from .joints import JointCurve
from .marks import place_text, room_in
from .outline import outline
from .pattern import Mark, Pattern
from .settings import Dressing
from .slits import largest

if TYPE_CHECKING:
    from ..cloth.drape import Drape
    from ..surface.patch import Patch

SHARP_DEG = 30.0  # an inner corner sharper than this wants its tape
SHORTEST_TAPE_MM = 10.0


def cover_pattern(
    patch: Patch,
    drape: Drape,
    fabric: Fabric,
    *,
    part: str,
    ply_id: str,
    name: str,
    number: int,
    dressing: Dressing,
    angle_deg: float = 0.0,
    trim_mm: float | None = None,
    piece: int = 1,
    pieces: int = 1,
    curves: Mapping[int, JointCurve] | None = None,
) -> Pattern:
    """Return the pattern of a sheet laid over a region: peel ply, release film, breather, bag.

    It is draped by its own law (woven peel ply shears, film and felt give a little) and dressed
    like a ply; `number` is its place after the plies. Where a film cannot lie down it is
    pleated by hand: the findings of its drape say where.

    Raises
    ------
    InputError : as `dress`
    """
    return dress(
        patch,
        drape,
        part=part,
        ply_id=ply_id,
        ply_number=number,
        ply_name=name,
        fabric=fabric,
        angle_deg=angle_deg,
        dressing=dressing,
        trim_mm=trim_mm,
        piece=piece,
        pieces=pieces,
        curves=curves,
        side_up="either side" if not fabric.has_face else "face side up",
    )


def core_pattern(
    patch: Patch,
    drape: Drape,
    fabric: Fabric,
    *,
    part: str,
    ply_id: str,
    name: str,
    number: int,
    thickness_mm: float,
    bevel_deg: float = 90.0,
    dressing: Dressing,
    angle_deg: float = 0.0,
    piece: int = 1,
    pieces: int = 1,
) -> Pattern:
    """Return the pattern of a core panel on a region: cut on the region's own edge.

    The bevel, measured from the mould face, takes `thickness / tan(bevel)` off the upper face:
    that line is the pattern's net line, so that it can be seen where the bevel ends.

    Raises
    ------
    InputError : a bevel outside 10..90 degrees, or wider than the panel
    """
    if not 10 <= bevel_deg <= 90 or not 0 < thickness_mm < 1e3:
        raise InputError(
            f"Core '{name}': {thickness_mm} mm thick with a bevel of {bevel_deg} degrees.",
            "Enter a thickness above zero and a bevel of 10 to 90 degrees.",
        )
    bare = replace(dressing, trim_mm=0.0, relieve=False)
    whole = dress(
        patch,
        drape,
        part=part,
        ply_id=ply_id,
        ply_number=number,
        ply_name=name,
        fabric=fabric,
        angle_deg=angle_deg,
        dressing=bare,
        trim_mm=0.0,
        piece=piece,
        pieces=pieces,
        side_up="bevelled side up" if bevel_deg < 90 else "either side",
    )
    shape = outline(patch, drape)
    inset = thickness_mm / np.tan(np.radians(bevel_deg)) if bevel_deg < 90 else 0.0
    upper = shape.net.buffer(-inset, join_style="mitre") if inset > 0 else shape.net
    if upper.is_empty or upper.area < 0.05 * shape.net.area:
        raise InputError(
            f"Core '{name}': a bevel {inset:.1f} mm wide leaves no upper face.",
            "Make the bevel steeper or the core thinner.",
        )
    return replace(whole, net=shapely.orient_polygons(largest(upper)), cut=shape.net)


def corner_tapes(
    mould: MouldMesh,
    region: Region,
    fabric: Fabric,
    *,
    part: str,
    ply_id: str,
    number: int,
    width_mm: float,
    dressing: Dressing,
    name: str = "corner tape",
    sharp_deg: float = SHARP_DEG,
) -> list[Pattern]:
    """Return tapes for the sharp inner corners of a region: one strip for each run of corner.

    A strip is as long as its corner on the mould and runs along the warp; equal strips share
    one template. Filled corners of some radius have no sharp edge and get none.

    Raises
    ------
    InputError : the width is not above zero
    """
    if not 0 < width_mm < 1e4:
        raise InputError(f"The tape is {width_mm} mm wide.", "Enter a width above zero.")
    lengths = [_length(mould.vertices[chain]) for chain in inner_corners(mould, region, sharp_deg)]
    lengths = sorted((length for length in lengths if length >= SHORTEST_TAPE_MM), reverse=True)
    tapes = [
        _tape(fabric, part, ply_id, name, number, length, width_mm, dressing, k, len(lengths))
        for k, length in enumerate(lengths, start=1)
    ]
    return merge_identical(tapes)


def inner_corners(mould: MouldMesh, region: Region, sharp_deg: float = SHARP_DEG) -> list[Ints]:
    """Return the sharp inner corners of a region as chains of mould vertices."""
    edges = mould.edges
    inside = np.zeros(len(mould.faces) + 1, bool)
    inside[region.faces] = True
    pair = edges.faces
    both = (edges.count == 2) & inside[pair].all(axis=1)
    centre = mould.corners.mean(axis=1)
    faces_up = ((centre[pair[:, 1]] - centre[pair[:, 0]]) * mould.normals[pair[:, 0]]).sum(axis=1)
    sharp = both & (edge_angles(mould) > np.radians(sharp_deg)) & (faces_up > 0)
    return chains_of(edges.vertices[sharp], np.zeros(len(mould.vertices), bool))


def _tape(
    fabric: Fabric,
    part: str,
    ply_id: str,
    name: str,
    number: int,
    length: float,
    width: float,
    dressing: Dressing,
    piece: int,
    pieces: int,
) -> Pattern:
    strip = shapely.box(-length / 2, -width / 2, length / 2, width / 2)
    title = f"{number} {name}"
    words = ((part, title, fabric.name, "cut 1"), (f"{title}  cut 1",), (f"{number}  x1",))
    label = place_text(room_in(strip, strip), "label", words, dressing)
    marks: tuple[Mark, ...] = (label,) if label is not None else ()
    return Pattern(
        id=f"{ply_id}-{piece}" if pieces > 1 else ply_id,
        part=part,
        ply_id=ply_id,
        ply_number=number,
        ply_name=name,
        fabric=fabric.id,
        fabric_name=fabric.name,
        angle_deg=0.0,
        piece=piece,
        pieces=pieces,
        net=strip,
        cut=strip,
        marks=marks,
        side_up="either side",
        mould_area_mm2=length * width,
    )


def _length(points: Floats) -> float:
    return float(sum(np.linalg.norm(b - a) for a, b in pairwise(points)))
