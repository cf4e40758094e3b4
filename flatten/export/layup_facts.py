"""What stands on a lay-up sheet, as plain facts. Nothing here is computed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..pattern.pattern import Pattern


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
class CoatRow:
    """A coat without cloth: its kind and thickness as they are to be read, and its pots."""

    kind: str
    thickness: str
    pots: tuple[Batch, ...]


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
    tack_zero: Floats | None = None  # (3,) unit, 0 degrees in the surface there; None: `zero`
    edges: tuple[tuple[str, Floats], ...] = ()  # name and a point (3,) on it


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildRow:
    """One way to stand the mould on the printer. `now`: it is the way that is set."""

    upwards: str  # "+z"
    grip_um: float
    support_cm2: float
    support_on_layup_cm2: float
    height_mm: float
    now: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldCheck:
    """What was found on the mould: facts in words, draft on its faces, corners by number.

    `draft_deg` (m,) of the picture's faces, NaN where nothing is laid; `spots` a number and a
    point (3,) for each line of "stipple here".
    """

    facts: tuple[tuple[str, str], ...]
    draft_deg: Floats
    limit_deg: float  # draft asked for
    spots: tuple[tuple[str, Floats], ...] = ()
    builds: tuple[BuildRow, ...] = ()


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
    gives the same bytes. `code` the laminate code where most plies lie. `joints` sentences on
    laps, butts and notches; `stipple` places where cloth bridges unless it is worked in;
    `estimate` sentences on time and cost; `cautions` come with the laminate.
    """

    part: str
    stack: tuple[StackRow, ...]
    patterns: tuple[Pattern, ...] = ()
    date: str = ""
    job: str = ""  # short number of the job
    process: str = ""
    code: str = ""  # "[0f/45f]s"
    mould: MouldPicture | None = None
    places: tuple[TackPlace, ...] = ()
    cutting: tuple[str, ...] = ()  # in cutting order
    kits: tuple[Kit, ...] = ()
    joints: tuple[str, ...] = ()
    extras: tuple[str, ...] = ()  # pieces that are no ply's own, and where they go
    stipple: tuple[str, ...] = ()
    mould_check: MouldCheck | None = None
    batches: tuple[Batch, ...] = ()
    coats: tuple[CoatRow, ...] = ()
    mix: str = ""  # "100 : 30 by weight"
    pot_life_min: float | None = None
    consumables: tuple[tuple[str, str], ...] = ()
    thickness: str = ""  # "1.0 mm, 1.4 mm at the rim"
    mass_g: float | None = None
    parts: int = 1  # kits cut together; all amounts are of one part
    estimate: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def cloth_g(self) -> float:
        """Cloth of all plies."""
        return float(np.sum([row.cloth_g for row in self.stack])) if self.stack else 0.0

    @property
    def resin_g(self) -> float:
        """Mixed resin of all plies."""
        return float(np.sum([row.resin_g for row in self.stack])) if self.stack else 0.0
