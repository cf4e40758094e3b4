"""What stands on a lay-up sheet, as plain facts. Nothing here is computed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..pattern.pattern import Pattern

CAUTIONS = (
    "Resin and hardener can sensitise the skin for life: no skin contact, nitrile gloves, "
    "change them often; cover arms; eye protection.",
    "Air: mix and lay up with moving fresh air, away from flames. Follow the safety data sheet.",
    "Heat: mixed resin left in a deep pot heats up, smokes and can burn. Small batches, wide "
    "tray; a hot pot goes outdoors.",
    "Dust of cured laminate and cut fibre harms lungs, skin and eyes: wet sanding, extraction, "
    "mask. Carbon dust conducts: keep it off electrics.",
    "Edges of cured laminate cut like glass: gloves until they are rounded.",
    "Data sheets, local rules and trained people come before this sheet; its numbers are "
    "estimates.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StackRow:
    """One ply in laying order: `pieces` cut for it, grams of cloth and of resin."""

    number: int
    name: str
    fabric: str
    angle: str  # as it is to be read: "+45°"
    pieces: int = 1
    side: str = ""  # which side faces the mould
    cloth_g: float = 0.0
    resin_g: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One pot of resin: grams of both parts and what it is for."""

    number: int
    resin_g: float
    hardener_g: float
    plies: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TackPlace:
    """Where the cloth is laid first, and 0 degrees, as tape distances from named edges.

    `edges` the two edges' names; `tack_mm` the tack point's distances from them; `ahead_mm`
    those of a second point on the 0-degree line through it, `ahead_by_mm` further on.
    """

    plies: str
    edges: tuple[str, str]
    tack_mm: tuple[float, float]
    ahead_mm: tuple[float, float]
    ahead_by_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region3D:
    """The faces of the mould that some plies cover, and their names for the picture."""

    plies: str  # "1, 2, 3"
    faces: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldPicture:
    """What the picture of the mould shows: mesh in mm, plies, tack point, 0 degrees, edge names."""

    vertices: Floats  # (n, 3)
    faces: Ints  # (m, 3)
    zero: Floats  # (3,) unit, the 0-degree direction
    normal: Floats  # (3,) unit, towards the person who lays up
    regions: tuple[Region3D, ...] = ()
    tack: Floats | None = None  # (3,)
    edges: tuple[tuple[str, Floats], ...] = ()  # name and a point (3,) on it


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """One bundle of cut pieces: its label."""

    title: str
    fabric: str
    plies: str
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayupSheet:
    """Everything the sheet for the bench says. Grams, mm; leave out what is not known.

    `date` as it is to be read, or empty: then there is a line to write it on, and the same job
    gives the same bytes. `joints` sentences on laps, butts and notches; `stipple` places where
    cloth bridges unless it is worked in.
    """

    part: str
    stack: tuple[StackRow, ...]
    patterns: tuple[Pattern, ...] = ()
    date: str = ""
    job: str = ""  # short number of the job
    process: str = ""
    mould: MouldPicture | None = None
    places: tuple[TackPlace, ...] = ()
    cutting: tuple[str, ...] = ()  # in cutting order
    kits: tuple[Kit, ...] = ()
    joints: tuple[str, ...] = ()
    stipple: tuple[str, ...] = ()
    batches: tuple[Batch, ...] = ()
    mix: str = ""  # "100 : 30 by weight"
    pot_life_min: float | None = None
    consumables: tuple[tuple[str, str], ...] = ()
    thickness: str = ""  # "1.0 mm, 1.4 mm at the rim"
    mass_g: float | None = None
    findings: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = field(default=CAUTIONS)

    @property
    def cloth_g(self) -> float:
        """Cloth of all plies."""
        return float(np.sum([row.cloth_g for row in self.stack])) if self.stack else 0.0

    @property
    def resin_g(self) -> float:
        """Mixed resin of all plies."""
        return float(np.sum([row.resin_g for row in self.stack])) if self.stack else 0.0
