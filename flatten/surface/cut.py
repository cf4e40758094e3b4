"""Region plus splices and darts: the patches that are draped one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Ints, frozen_floats
from ..errors import InputError
from .draw import draw_cut, lead_on
from .edges import Edges
from .extend import extend_sheet
from .mesh import MouldMesh
from .patch import CutKind, EdgeKind, Joint, JointKind, Patch, Side
from .region import Region
from .seams import SeamJoint, mark_seams
from .sheet import part, take_out
from .split import Worksheet

# A piece narrower than twice this (area over half its rim) cannot be handled as cloth.
SLIVER_MM = 1.0
# A region that is one piece may be a small sample, but not narrower than a thread.
NEEDLE_MM = 0.02

__all__ = ["Cut", "JointKind", "SeamJoint", "cut"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Cut:
    """A cut drawn over the surface.

    `path` (k, 3) mm, points on the surface in the order drawn; between them the cut runs straight
    over the surface. A splice parts the cloth, a dart ends inside it (at the path's last point).
    `under`: the side of the path, seen from the lay-up side, whose lap runs under the other.
    """

    id: str
    kind: CutKind
    path: Floats
    joint: JointKind = "lap"
    lap_mm: float = 25.0
    under: Side = "left"

    def __post_init__(self) -> None:
        name = f"Cut '{self.id}'"
        object.__setattr__(self, "path", frozen_floats(f"{name}: path", self.path, (None, 3)))
        for field, allowed in (
            ("kind", ("splice", "dart")),
            ("joint", ("lap", "butt")),
            ("under", ("left", "right")),
        ):
            if getattr(self, field) not in allowed:
                raise InputError(
                    f"{name}: {field} is '{getattr(self, field)}'.",
                    f"Choose {allowed[0]} or {allowed[1]}.",
                )
        if not 0 <= self.lap_mm < np.inf:
            raise InputError(f"{name}: the lap is {self.lap_mm} mm.", "Enter 0 mm or more.")
        length = np.linalg.norm(np.diff(self.path, axis=0), axis=1).sum()
        if len(self.path) < 2 or not length > 0:
            raise InputError(
                f"{name} has no length ({len(self.path)} points).", "Draw it from point to point."
            )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Cut):
            return NotImplemented
        mine, theirs = (
            (c.id, c.kind, c.joint, c.lap_mm, c.under, c.path.tolist()) for c in (self, other)
        )
        return mine == theirs

    def __hash__(self) -> int:
        return hash((self.id, self.kind, self.path.tobytes()))


def cut(
    mould: MouldMesh,
    region: Region,
    cuts: Sequence[Cut] = (),
    *,
    seams: ArrayLike = (),
    seam_joint: SeamJoint | None = None,
    trim_mm: float = 0.0,
) -> list[Patch]:
    """Take a region out of the mould, open it along its cuts, and return the pieces.

    Parameters
    ----------
    mould : the whole mould
    region : the faces the ply covers
    cuts : drawn splices and darts, numbered as joints in this order
    seams : (s, 2) marked seam edges as pairs of mould vertices; those outside the region or on
        its rim are left out of account. They follow the drawn cuts as joints. A seam that ends
        inside is a dart.
    seam_joint : how seams are joined; lapped by 25 mm unless said
    trim_mm : how far the cloth goes on over the neighbouring faces (`Patch.inside` is False
        there), as far as the mould has any; cuts are led straight on through it

    Returns
    -------
    the patches, in the order of their lowest mould face, then of their lowest mould vertex

    Raises
    ------
    InputError : with the mould's faces, whatever the region, a seam or a cut has wrong with it
    """
    how = seam_joint or SeamJoint()
    work = Worksheet(take_out(mould, region))
    chains = mark_seams(work, mould, seams, len(cuts))
    on_rim = work.on_rim
    if trim_mm > 0:
        work.replace_sheet(extend_sheet(mould, work.sheet, trim_mm).sheet)
    for number, chain in enumerate(chains, start=len(cuts)):
        if on_rim[chain[0]]:
            lead_on(work, chain[::-1], number, "A seam", forward=False, reach=False)
        if on_rim[chain[-1]]:
            lead_on(work, chain, number, "A seam", forward=True, reach=False)
    for number, one in enumerate(cuts):
        name = f"Cut '{one.id}'"
        dart = one.kind == "dart"
        draw_cut(work, mould, one.path, joint=number, name=name, dart=dart)
    joints = [
        Joint(number=n, kind=c.kind, joint=c.joint, lap_mm=c.lap_mm, cut_id=c.id)
        for n, c in enumerate(cuts)
    ]
    joints += [
        Joint(number=len(cuts) + n, kind="dart", joint=how.joint, lap_mm=how.lap_mm)
        for n in range(len(chains))
    ]
    seam_under: Side = "left"
    under = [*(c.under for c in cuts), *(seam_under for _ in chains)]
    patches = _opened(work, joints, under)
    _refuse_slivers(patches)
    return _seams_named(patches, len(cuts))


def _opened(work: Worksheet, joints: list[Joint], under: list[Side]) -> list[Patch]:
    sheet, edges = work.sheet, work.mesh.edges
    base = len(sheet.vertices)
    keys = sorted(work.marks)
    number = np.array([work.marks[key][0] for key in keys], dtype=np.int64)
    comes_from = np.array([work.marks[key][1] for key in keys], dtype=np.int64)
    code = np.array(keys, dtype=np.int64).reshape(-1, 2) @ [base, 1]
    own = edges.vertices @ [base, 1]
    place = np.searchsorted(code, own)
    found = np.append(code, -1)[place] == own
    cut_edges = found & (edges.count == 2)
    half_edge = edges.of_face.ravel()
    half_joint = np.where(cut_edges, np.append(number, -1)[place], -1)[half_edge]
    forward = sheet.faces.ravel() == np.append(comes_from, -1)[place][half_edge]
    return part(
        sheet,
        edges,
        cut_edges,
        half_joint=half_joint,
        half_kind=_half_kinds(joints, under, half_joint, forward),
        joints=tuple(joints),
    )


def _half_kinds(
    joints: list[Joint], under: list[Side], half_joint: Ints, forward: Bools
) -> list[EdgeKind]:
    """The kind of each half-edge that is cut: its face lies left of the path if it runs along."""
    kinds: list[EdgeKind] = []
    for number, along in zip(half_joint.tolist(), forward.tolist(), strict=True):
        side = "left" if along else "right"
        if number < 0:
            kinds.append("trim")
        elif joints[number].joint == "butt":
            kinds.append("butt")
        else:
            kinds.append("lap_under" if side == under[number] else "lap_over")
    return kinds


def _refuse_slivers(patches: list[Patch]) -> None:
    if len(patches) == 1:
        width = _net_width(patches[0])
        if width < NEEDLE_MM:
            raise InputError(
                f"The region is a needle, {2 * width:.2g} mm wide: no cloth can be cut so narrow.",
                "Check the mould's unit, or assign other faces to the ply.",
                faces=np.unique(patches[0].source_faces),
            )
        return
    for patch in patches:
        width = _net_width(patch)
        if width < SLIVER_MM:
            ids = {patch.joints[n].cut_id for n in patch.edge_joints if n >= 0}
            names = sorted(f"Cut '{one}'" if one else "A seam" for one in ids)
            raise InputError(
                f"{', '.join(names)} leaves a sliver of cloth, {2 * width:.1f} mm wide."
                if width
                else f"{', '.join(names)} parts nothing off but trim allowance.",
                "Move the cut, or take those faces out of the region.",
                faces=np.unique(patch.source_faces),
            )


def _net_width(patch: Patch) -> float:
    """Area of the net over half its rim, mm: half the width of a long strip."""
    if not patch.inside.any():
        return 0.0
    edges = Edges(patch.surface.faces[patch.inside])
    ends = patch.surface.vertices[edges.vertices[edges.boundary]]
    rim = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
    return 2 * float(patch.surface.areas[patch.inside].sum()) / rim


def _seams_named(patches: list[Patch], first_seam: int) -> list[Patch]:
    """A seam is a dart where it has a tip: two of its edges follow each other round a point."""
    darts = {number for patch in patches for number in _folded_joints(patch)}

    def named(joint: Joint) -> Joint:
        if joint.number < first_seam:
            return joint
        return replace(joint, kind="dart" if joint.number in darts else "splice")

    return [replace(p, joints=tuple(named(joint) for joint in p.joints)) for p in patches]


def _folded_joints(patch: Patch) -> set[int]:
    """Joints with a tip: two of their edges follow each other round one vertex and back."""
    tips: set[int] = set()
    start = patch.surface.vertices[patch.edge_vertices[:, 0]]
    end = patch.surface.vertices[patch.edge_vertices[:, 1]]
    for loop in patch.loops:
        after = np.roll(loop, -1)
        same = (patch.edge_joints[loop] >= 0) & (
            patch.edge_joints[loop] == patch.edge_joints[after]
        )
        back = np.abs(start[loop] - end[after]).max(axis=1) == 0
        tips.update(patch.edge_joints[loop[same & back]].tolist())
    return tips
