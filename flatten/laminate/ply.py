"""Ply: one layer of cloth on the mould, as the person designs it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..arrays import Floats, Ints, frozen_floats, frozen_ints
from ..errors import InputError
from ..surface.cut import Cut
from ..surface.rosette import Rosette
from .bounds import check_not_negative, check_number, check_whole

Method = Literal["worked_out", "least_shear"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ply:
    """A region of the mould, the cloth that covers it and how it is laid.

    `faces` (k,) triangles of the job's mould, sorted; `tack_mm` (3,) on the region, None: its
    middle; `id` is unique, stable and safe as a file name; `repeat` plies are laid one on the
    other from the same design.
    """

    id: str
    name: str
    faces: Ints
    fabric: str  # Fabric.id
    angle_deg: float = 0.0
    tack_mm: Floats | None = None
    method: Method = "worked_out"
    cuts: tuple[Cut, ...] = ()
    use_seams: bool = True  # marked seam edges inside the region are cuts
    trim_mm: float | None = None  # None: the job's
    lap_mm: float | None = None  # at seams; None: the cloth's
    repeat: int = 1
    rosette: Rosette | None = None  # None: the job's

    def __post_init__(self) -> None:
        """Sort the faces; refuse what no ply can be."""
        if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}", self.id):
            raise InputError(
                f"Ply id '{self.id[:60]}' is not usable as a file name.",
                "Use up to 40 letters, digits, - and _.",
            )
        if not self.name.strip():
            raise InputError(f"Ply '{self.id}' has no name.", "Give it one.")
        faces = frozen_ints(f"faces of ply '{self.name}'", self.faces, (None,))
        if not len(faces):
            raise InputError(
                f"Ply '{self.name}' has no faces.", "Select its faces on the mould and assign them."
            )
        unique = frozen_ints("faces", np.unique(faces), (None,))
        object.__setattr__(self, "faces", unique)
        if self.tack_mm is not None:
            tack = frozen_floats(f"tack point of ply '{self.name}'", self.tack_mm, (3,))
            object.__setattr__(self, "tack_mm", tack)
        thing = f"Ply '{self.name}'"
        check_number(
            thing,
            "angle_deg",
            self.angle_deg,
            low=-360,
            high=360,
            open_ends=False,
            hint="Enter -360 to 360 degrees, as a number.",
        )
        check_whole(thing, "repeat", self.repeat, high=200)
        for field in ("trim_mm", "lap_mm"):
            if getattr(self, field) is not None:
                check_not_negative(thing, field, getattr(self, field), high=1e4)
