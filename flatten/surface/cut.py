"""Region plus splices and darts: the patches that are draped one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Ints, frozen_floats, frozen_ints
from ..errors import InputError
from .chains import chains_of
from .mesh import Edges, MouldMesh
from .patch import EdgeKind, Joint, Patch
from .region import Region
from .sheet import Sheet, part, take_out

CutKind = Literal["splice", "dart"]
JointKind = Literal["lap", "butt"]
Side = Literal["left", "right"]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamJoint:
    """How marked seams are joined: all of a ply's in the same way."""

    joint: JointKind = "lap"
    lap_mm: float = 25.0


def cut(
    mould: MouldMesh,
    region: Region,
    cuts: Sequence[Cut] = (),
    *,
    seams: ArrayLike = (),
    seam_joint: SeamJoint | None = None,
) -> list[Patch]:
    """Take a region out of the mould, open it along its cuts, and return the pieces.

    Parameters
    ----------
    mould : the whole mould
    region : the faces the ply covers
    cuts : drawn splices and darts, numbered as joints in this order
    seams : (s, 2) marked seam edges as pairs of mould vertices; those outside the region or on
        its rim are left out of account. They follow the drawn cuts as joints.
    seam_joint : how seams are joined; lapped by 25 mm unless said

    Returns
    -------
    the patches, in the order of their lowest mould face

    Raises
    ------
    InputError : with the mould's faces, whatever the region, a seam or a cut has wrong with it
    """
    sheet = take_out(mould, region)
    edges = Edges(sheet.faces)
    marked = _marked_seams(mould, sheet, edges, seams)
    joints, half_joint, forward = _seam_joints(
        sheet, edges, marked, seam_joint or SeamJoint(), len(cuts)
    )
    cut_edges = np.zeros(len(edges.count), bool)
    cut_edges[np.unique(edges.of_face.ravel()[half_joint >= 0])] = True
    kinds = _half_kinds(joints, half_joint, forward)
    patches = part(
        sheet,
        edges,
        cut_edges,
        half_joint=half_joint,
        half_kind=kinds,
        joints=tuple(joint for joint, _ in joints.values()),
    )
    return _name_splices_and_darts(patches)


def _marked_seams(mould: MouldMesh, sheet: Sheet, edges: Edges, seams: ArrayLike) -> Bools:
    """(k,) the sheet's inner edges that are marked."""
    pairs = frozen_ints("seams", seams, (None, 2))
    if len(pairs) and (pairs.min() < 0 or pairs.max() >= len(mould.vertices)):
        raise InputError(
            f"A seam names vertex {pairs.max()}, but the mould has {len(mould.vertices)}.",
            "Mark the seams again; the mould was changed.",
        )
    base = len(mould.vertices)
    known = np.sort(mould.edges.vertices, axis=1) @ [base, 1] if len(pairs) else np.zeros(0)
    wanted = np.sort(pairs, axis=1) @ [base, 1]
    stray = ~np.isin(wanted, known)
    if stray.any():
        a, b = pairs[stray][0]
        raise InputError(
            f"The seam between vertices {a} and {b} is not an edge of the mould.",
            "Mark the seams again; the mould was changed.",
        )
    own = np.sort(sheet.source_vertices[edges.vertices], axis=1) @ [base, 1]
    marked: Bools = np.isin(own, wanted) & (edges.count == 2)
    return marked


def _seam_joints(
    sheet: Sheet, edges: Edges, marked: Bools, how: SeamJoint, first: int
) -> tuple[dict[int, tuple[Joint, Side]], Ints, Bools]:
    """Number the chains of marked edges: the joints, (3 m,) joint and direction per half-edge."""
    half_joint = np.full(sheet.faces.size, -1)
    forward = np.zeros(sheet.faces.size, bool)
    joints: dict[int, tuple[Joint, Side]] = {}
    start = sheet.faces.ravel()
    on_rim = np.zeros(len(sheet.vertices), bool)
    on_rim[edges.vertices[edges.boundary]] = True
    for chain in chains_of(edges.vertices[marked], on_rim):
        number = first + len(joints)
        _refuse_lasso(sheet, chain)
        following = dict(zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True))
        keys = {tuple(sorted(pair)) for pair in following.items()}
        members = [e for e in np.flatnonzero(marked) if tuple(edges.vertices[e]) in keys]
        half = np.flatnonzero(np.isin(edges.of_face.ravel(), members))
        half_joint[half] = number
        end = np.roll(sheet.faces, -1, axis=1).ravel()[half]
        forward[half] = [
            following.get(a) == b for a, b in zip(start[half].tolist(), end.tolist(), strict=True)
        ]
        joint = Joint(number=number, kind="dart", joint=how.joint, lap_mm=how.lap_mm)
        joints[number] = (joint, "left")
    return joints, half_joint, forward


def _refuse_lasso(sheet: Sheet, chain: Ints) -> None:
    """A chain may close to a ring, but not come back to its own middle."""
    inner = chain[:-1]
    if len(np.unique(inner)) < len(inner):
        raise InputError(
            "A seam touches itself.",
            "Clear the seam from one of the edges that meet there.",
            faces=_faces_at(sheet, chain),
        )


def _faces_at(sheet: Sheet, vertices: Ints) -> Ints:
    touched: Ints = sheet.source_faces[np.isin(sheet.faces, vertices).sum(axis=1) >= 2]
    return touched


def _half_kinds(
    joints: dict[int, tuple[Joint, Side]], half_joint: Ints, forward: Bools
) -> list[EdgeKind]:
    """The kind of each half-edge that is cut: its face lies left of the path if it runs along."""
    kinds: list[EdgeKind] = []
    for number, along in zip(half_joint.tolist(), forward.tolist(), strict=True):
        if number < 0:
            kinds.append("trim")
            continue
        joint, under = joints[number]
        side = "left" if along else "right"
        lap: EdgeKind = "lap_under" if side == under else "lap_over"
        kinds.append("butt" if joint.joint == "butt" else lap)
    return kinds


def _name_splices_and_darts(patches: list[Patch]) -> list[Patch]:
    """A joint is a dart when both its sides lie next to each other in one outline."""
    darts = {number for patch in patches for number in _folded_joints(patch)}
    return [
        replace(
            patch,
            joints=tuple(
                replace(joint, kind="dart" if joint.number in darts else "splice")
                for joint in patch.joints
            ),
        )
        for patch in patches
    ]


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
