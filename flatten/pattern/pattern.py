"""Pattern: one flat piece of cloth as it is cut, with everything drawn on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shapely import Polygon

from ..arrays import Bools, Floats
from ..surface.patch import EdgeKind

# ply: a piece of a ply; the others are cut besides.
Role = Literal["ply", "gap_patch", "cover", "core", "corner_tape"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeRun:
    """A stretch of the net outline of one kind, the piece on its left.

    `points` (k, 2) mm; `mould_mm` (k,) distance along the mould's own edge from the start of
    the joint: both sides of a joint count alike; `joint` number of the joint, -1 for none.
    """

    kind: EdgeKind
    joint: int
    points: Floats
    mould_mm: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Notch:
    """A mark on the cut line that meets the mark of the same number on the other side.

    `at` (2,) mm on the cut line; `outward` (2,) unit; drawn across the edge as a mark, or as
    a tab outwards; never a snip into the fibres.
    """

    at: Floats
    outward: Floats
    number: int
    joint: int
    style: Literal["mark", "tab"] = "mark"
    length_mm: float = 6.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mark:
    """A text or symbol inside the piece: `at` (2,) mm is the middle of its box."""

    kind: Literal["label", "side_up", "fold_back", "dart_end", "bias"]
    lines: tuple[str, ...]
    at: Floats
    height_mm: float  # of a capital letter
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShearMap:
    """The drape in the flat: `triangles` (m, 3, 2) mm, `shear_deg` (m,) signed, `locked` (m,)."""

    triangles: Floats
    shear_deg: Floats
    locked: Bools


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern:
    """One piece of cloth: mm, warp along +x, seen looking into the mould from the lay-up side.

    `net` is the part's own edge, `cut` covers it with trim and laps; both counter-clockwise,
    valid, holes allowed. `count` pieces are cut from it. `id` is safe as a file name. `where`
    says where a piece goes that is no ply's own.
    """

    id: str
    part: str
    ply_id: str
    ply_number: int  # 1: first on the tool
    ply_name: str
    fabric: str  # Fabric.id
    fabric_name: str
    angle_deg: float
    piece: int = 1
    pieces: int = 1
    count: int = 1
    net: Polygon
    cut: Polygon
    runs: tuple[EdgeRun, ...] = ()
    notches: tuple[Notch, ...] = ()
    marks: tuple[Mark, ...] = ()
    arrow: Floats | None = None  # (2, 2) tail and head, along the warp
    tack: Floats | None = None  # (2,) the tack point, where the cloth is laid first
    side_up: str = "tool side down"
    shear: ShearMap | None = None
    mould_area_mm2: float = 0.0  # of the net region on the mould
    mirrored: bool = False
    role: Role = "ply"
    where: str = ""

    @property
    def title(self) -> str:
        """Number, name and piece: '2 outer skin (1 of 2)'."""
        piece = f" ({self.piece} of {self.pieces})" if self.pieces > 1 else ""
        return f"{self.ply_number} {self.ply_name}{piece}"
