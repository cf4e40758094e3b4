"""Result: what a run gives back, stamped with the digest of the job it belongs to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

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
class Result:
    """Everything a run found. `nests` by cloth id; empty where the run stopped before nesting."""

    part: str
    job_digest: str
    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    mould: MouldReport
    nests: Mapping[str, Nest] = field(default_factory=dict)
    quantities: Quantities | None = None
    estimate: Estimate | None = None  # of one part; only with a nest, whose cloth it counts

    @property
    def patterns(self) -> list[Pattern]:
        """The patterns in laying order."""
        return [piece.pattern for piece in self.pieces]

    @property
    def stopped(self) -> list[Finding]:
        """The findings that keep files from being written."""
        return [finding for finding in self.findings if finding.severity == "stop"]
