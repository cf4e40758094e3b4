"""Result: what a run gives back, stamped with the digest of the job it belongs to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .arrays import Floats
from .cloth.drape import Drape
from .finding import Finding
from .laminate.cost import Estimate
from .laminate.ply import Ply
from .laminate.quantities import Quantities
from .mould.report import MouldReport
from .nest.layout import Nest
from .pattern.pattern import Pattern
from .surface.patch import Patch


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """One pattern, the ply it is of and the drape it was taken from."""

    ply: Ply
    pattern: Pattern
    patch: Patch
    drape: Drape
    locked_area_fraction: float  # share of the flat net area sheared beyond the cloth's limit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExtraPiece:
    """A pattern that is no ply's own: a patch, a sheet on top, a core, a tape.

    `of` is the id of the ply or of the extra in the job; `line_mm` (k, 3) where it goes on the
    mould: along a joint or a corner, or one point in its middle.
    """

    of: str
    pattern: Pattern
    line_mm: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Result:
    """Everything a run found. `nests` by cloth id; empty where the run stopped before nesting."""

    part: str
    job_digest: str
    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    mould: MouldReport
    extras: tuple[ExtraPiece, ...] = ()
    nests: Mapping[str, Nest] = field(default_factory=dict)
    quantities: Quantities | None = None
    estimate: Estimate | None = None  # of one part; only with a nest, whose cloth it counts

    @property
    def patterns(self) -> list[Pattern]:
        """The plies' patterns in laying order, then those of extra pieces."""
        return [piece.pattern for piece in self.everything]

    @property
    def everything(self) -> tuple[Piece | ExtraPiece, ...]:
        """The plies' pieces in laying order, then the extra ones."""
        return (*self.pieces, *self.extras)

    @property
    def stopped(self) -> list[Finding]:
        """The findings that keep files from being written."""
        return [finding for finding in self.findings if finding.severity == "stop"]
