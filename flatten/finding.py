"""What a check says about the part. A part that is hard to make is a finding, not an error."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

Severity = Literal["note", "warning", "stop"]
SEVERITIES: tuple[Severity, ...] = ("note", "warning", "stop")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One sentence about the part, where it is and what helps.

    `code` is a stable word for programs and tests; `faces` are faces of the job's mould.
    A "stop" means: the files that would be wrong because of it are not written.
    """

    code: str
    severity: Severity
    message: str
    hint: str = ""
    ply_id: str = ""
    faces: tuple[int, ...] = ()


def about(ply_id: str, findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings with the ply they are about written in."""
    return [replace(finding, ply_id=ply_id) for finding in findings]


def worst(findings: Iterable[Finding]) -> Severity | None:
    """Return the gravest severity among the findings, None when there are none."""
    ranks = [SEVERITIES.index(finding.severity) for finding in findings]
    return SEVERITIES[max(ranks)] if ranks else None
