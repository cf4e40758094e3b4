"""What is cut besides the plies, as the person asks for it: covers, cores, corner tapes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..arrays import Floats, Ints
from ..errors import InputError
from .bounds import check_choice, check_not_negative, check_number
from .ply import Ply

ExtraKind = Literal["cover", "core", "corner_tape"]
KINDS = ("cover", "core", "corner_tape")


@dataclass(frozen=True, slots=True, kw_only=True)
class Extra:
    """A sheet laid over the plies (peel ply, film, breather, bag), a core, or corner tapes.

    `ply` is the id of the ply whose faces it covers, empty: the faces of all plies. A core lies
    on that ply, under the next one, and is as thick as its cloth. Tapes fill sharp inner corners
    before the first ply. Defaults are common practice, no source.
    """

    id: str
    name: str
    fabric: str  # Fabric.id
    kind: ExtraKind = "cover"
    ply: str = ""
    angle_deg: float = 0.0  # of its warp
    trim_mm: float = 30.0  # of a cover, past the part's edge
    bevel_deg: float = 90.0  # of a core's edge, from the mould face
    width_mm: float = 50.0  # of a tape

    def __post_init__(self) -> None:
        """Refuse what cannot be cut."""
        if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}", self.id):
            raise InputError(
                f"The id '{self.id[:60]}' is not usable as a file name.",
                "Use up to 40 letters, digits, - and _.",
            )
        if not self.name.strip():
            raise InputError(f"'{self.id}' has no name.", "Give it one.")
        thing = f"'{self.name}'"
        check_choice(thing, "kind", self.kind, KINDS)
        hint = "Enter -360 to 360 degrees."
        check_number(
            thing, "angle_deg", self.angle_deg, low=-360, high=360, open_ends=False, hint=hint
        )
        check_not_negative(thing, "trim_mm", self.trim_mm, high=1e4)
        hint = "Enter 10 to 90 degrees; 90 is a square edge."
        check_number(
            thing, "bevel_deg", self.bevel_deg, low=10, high=90, open_ends=False, hint=hint
        )
        check_number(thing, "width_mm", self.width_mm, high=1e4)
        if self.kind == "core" and not self.ply:
            raise InputError(f"Core '{self.name}' lies on no ply.", "Say which ply it is laid on.")

    def faces(self, plies: Sequence[Ply]) -> Ints:
        """Return the mould's faces it covers, sorted.

        Raises
        ------
        InputError : there is no such ply
        """
        mine = [ply.faces for ply in plies if self.ply in ("", ply.id)]
        if not mine:
            raise InputError(
                f"'{self.name}' lies on ply '{self.ply}', which the job does not have.",
                "Choose another ply.",
            )
        return np.unique(np.concatenate(mine))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoreLayer:
    """What a core does to the stack: it lies on a ply and lifts the later ones."""

    ply: str
    faces: Ints
    thickness_mm: float

    def add_to(self, total_mm: Floats) -> None:
        """Add its thickness to a map (faces of the mould,)."""
        total_mm[self.faces] += self.thickness_mm
