"""What a check says about the part. A part that is hard to make is a finding, not an error."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

Severity = Literal["note", "warning", "stop"]
SEVERITIES: tuple[Severity, ...] = ("note", "warning", "stop")
NUMBER = re.compile(r"\d+(?:\.\d+)?")


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


def gathered(findings: Iterable[Finding]) -> list[tuple[Finding, tuple[str, ...]]]:
    """Return findings with the ids of the plies they are about, alike ones of several plies as one.

    Alike are code, severity, hint, and the message but for its numbers; the finding whose first
    number is greatest speaks for all, of equal ones that with the greatest second, and so on.
    The order is that of the first of each.
    """
    groups: dict[object, list[Finding]] = {}
    for number, finding in enumerate(findings):
        words = NUMBER.sub("#", finding.message)
        alike = (finding.code, finding.severity, NUMBER.sub("#", finding.hint), words)
        groups.setdefault(alike if finding.ply_id else number, []).append(finding)
    return [
        (max(group, key=_numbers), tuple(dict.fromkeys(one.ply_id for one in group)))
        for group in groups.values()
    ]


def of_plies(plies: Iterable[tuple[int, str]]) -> str:
    """Return the words before a finding about plies (number, name): "Ply 2 skin: ", "Plies 1, 2: ".

    Nothing for none: the finding is about the whole part.
    """
    named = sorted(plies)
    if len(named) < 2:
        return "".join(f"Ply {number} {name}: " for number, name in named)
    return f"Plies {', '.join(str(number) for number, _ in named)}: "


def _numbers(finding: Finding) -> tuple[float, ...]:
    return tuple(float(one) for one in NUMBER.findall(finding.message))


def worst(findings: Iterable[Finding]) -> Severity | None:
    """Return the gravest severity among the findings, None when there are none."""
    ranks = [SEVERITIES.index(finding.severity) for finding in findings]
    return SEVERITIES[max(ranks)] if ranks else None
