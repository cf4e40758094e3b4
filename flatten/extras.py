"""Lay what is cut besides the plies: covers on top, cores between them, tapes in corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .arrays import Floats, Ints
from .cloth.strain import check_strain
from .finding import Finding
from .job import Job
from .laminate.extra import Extra
from .laminate.ply import Ply
from .laminate.stack import Stack
from .laminate.thickness import Course, thickness_map
from .lay import drape_patch, patches_of, spread_outside
from .pattern.covers import core_pattern, corner_tapes, cover_pattern, inner_corners
from .pattern.joints import joint_curves
from .pattern.pattern import Pattern
from .progress import silent
from .result import ExtraPiece
from .surface.mesh import MouldMesh, components
from .surface.offset import offset
from .surface.patch import Patch
from .surface.region import Region

# What a check says of cloth that does not lie down; a sheet on top is pleated there by hand.
NOT_FLAT = ("drape_locked", "drape_shear_warn", "drape_fold", "drape_several",
            "drape_fibre_stretch")  # fmt: skip
LENGTH_MM = 1.0  # a tape and its corner, both added up from the same edges, differ by less


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidExtras:
    """The pieces of all extras, in the job's order, and what was found."""

    pieces: tuple[ExtraPiece, ...]
    findings: tuple[Finding, ...]


def lay_extras(job: Job, stack: Stack, courses: Sequence[Course]) -> LaidExtras:
    """Return the pieces of the job's extras.

    They are numbered on after the plies. `courses` are the plies as laid: a cover lies on all
    of them, a core on those up to its own ply, a tape on the bare mould.

    Raises
    ------
    InputError, SolveError : as for a ply; the message names the extra
    """
    pieces: list[ExtraPiece] = []
    findings: list[Finding] = []
    for number, extra in enumerate(job.extras, start=len(stack.laid) + 1):
        if extra.kind == "corner_tape":
            pieces += _tapes(job, extra, number)
            continue
        under = stack.core_after(extra.ply) if extra.kind == "core" else len(stack.laid)
        count = len(job.mould.faces)
        below = thickness_map(courses[:under], count) + stack.cores_under(under, count)
        surface = offset(job.mould, spread_outside(job, below)).mesh
        laid, found = _sheets(job, extra, number, surface, _place(extra, stack, under))
        pieces += laid
        findings += found
        if extra.kind == "core":
            findings.append(_resin_of_core(extra))
    return LaidExtras(pieces=tuple(pieces), findings=tuple(findings))


def core_mass_g(job: Job) -> float:
    """Return the grams of all cores, without the resin they take up."""
    return float(
        sum(
            job.mould.areas[extra.faces(job.plies)].sum()
            * 1e-6
            * job.fabric_of(extra).areal_weight_gsm
            for extra in job.extras
            if extra.kind == "core"
        )
    )


def _place(extra: Extra, stack: Stack, under: int) -> str:
    """Return where it goes, as the lay-up sheet says it."""
    last = len(stack.laid)
    if extra.kind == "core":
        above = f", under ply {under + 1}" if under < last else ""
        return f"on ply {under} {stack.laid[under - 1].ply.name}{above}"
    names = [ply.name for ply in stack.plies if ply.id == extra.ply]
    over = f", over the faces of '{names[0]}'" if names else ""
    return f"on top, after ply {last}{over}"


def _sheets(
    job: Job, extra: Extra, number: int, surface: MouldMesh, where: str
) -> tuple[list[ExtraPiece], list[Finding]]:
    """Return the pieces of a cover or a core: one for each part of its region and each cut."""
    fabric = job.fabric_of(extra)
    asked = [(ply, patches_of(job, ply, fabric, surface)) for ply in _as_plies(job, extra)]
    total = sum(len(patches) for _, patches in asked)
    pieces: list[ExtraPiece] = []
    findings: list[Finding] = []
    for ply, patches in asked:
        curves = joint_curves(patches)
        for patch in patches:
            drape = drape_patch(job, ply, fabric, patch, silent)
            given: dict[str, Any] = {
                "part": job.part, "ply_id": extra.id, "name": extra.name, "number": number,
                "angle_deg": extra.angle_deg, "piece": len(pieces) + 1, "pieces": total,
            }  # fmt: skip
            dressing = job.settings.dressing
            pattern = (
                core_pattern(patch, drape, fabric, thickness_mm=fabric.dry_thickness_mm,
                             bevel_deg=extra.bevel_deg, dressing=dressing, **given)
                if extra.kind == "core"
                else cover_pattern(patch, drape, fabric, trim_mm=extra.trim_mm,
                                   dressing=dressing, curves=curves, **given)
            )  # fmt: skip
            pieces.append(_piece(extra, pattern, where, drape.tack_mm[None]))
            findings += _checked(extra, patch, check_strain(drape, fabric))
    return pieces, findings


def _as_plies(job: Job, extra: Extra) -> list[Ply]:
    """Return the extra as plies: that of its own ply's faces, or one for each part of them all.

    A cover of one ply is cut where that ply is cut; a core and a cover of all are not.
    """
    own = next((ply for ply in job.plies if ply.id == extra.ply), None)
    cover = extra.kind == "cover"
    regions = [own.faces] if own is not None else _parts(job.mould, extra.faces(job.plies))
    return [
        Ply(
            id=extra.id,
            name=extra.name,
            faces=faces,
            fabric=extra.fabric,
            angle_deg=extra.angle_deg,
            tack_mm=None if own is None else own.tack_mm,
            cuts=own.cuts if own is not None and cover else (),
            use_seams=own is not None and cover and own.use_seams,
            trim_mm=extra.trim_mm if cover else 0.0,
            rosette=None if own is None else own.rosette,
        )
        for faces in regions
    ]


def _parts(mould: MouldMesh, faces: Ints) -> list[Ints]:
    """Return the faces in pieces that hang together."""
    piece = components(mould.faces[faces])
    return [faces[piece == number] for number in range(int(piece.max()) + 1)]


def _tapes(job: Job, extra: Extra, number: int) -> list[ExtraPiece]:
    """Return the tapes of a region's sharp inner corners, equal ones as one pattern."""
    region = Region(extra.name, extra.faces(job.plies))
    tapes = corner_tapes(
        job.mould,
        region,
        job.fabric_of(extra),
        part=job.part,
        ply_id=extra.id,
        name=extra.name,
        number=number,
        width_mm=extra.width_mm,
        dressing=job.settings.dressing,
    )
    lines = [job.mould.vertices[chain] for chain in inner_corners(job.mould, region)]
    pieces = []
    for tape in tapes:
        long = float(np.ptp(np.array(tape.cut.exterior.coords)[:, 0]))
        line = next(line for line in lines if abs(_length(line) - long) < LENGTH_MM)
        corners = "a sharp inner corner" if tape.count == 1 else f"{tape.count} sharp inner corners"
        where = f"in {corners} of the mould, {long:.0f} mm long, before ply 1"
        pieces.append(_piece(extra, tape, where, line))
    return pieces


def _piece(extra: Extra, pattern: Pattern, where: str, line_mm: Floats) -> ExtraPiece:
    placed = replace(pattern, role=extra.kind, where=where)
    return ExtraPiece(of=extra.id, pattern=placed, line_mm=line_mm)


def _checked(extra: Extra, patch: Patch, findings: Sequence[Finding]) -> list[Finding]:
    """Return what a drape's findings mean for a sheet that is no ply: pleats, or a stop."""
    told = []
    for finding in findings:
        faces = tuple(np.unique(patch.source_faces[list(finding.faces)]).tolist())
        if finding.code in NOT_FLAT:
            finding = Finding(
                code="extra_pleats",
                severity="note",
                message=f"'{extra.name}' does not lie down everywhere in one piece.",
                hint="Score it or cut it into strips there."
                if extra.kind == "core"
                else "Pleat it there by hand, or lay it over one ply that has cuts.",
            )
        elif finding.severity != "stop":
            continue
        else:
            finding = replace(finding, message=f"'{extra.name}': {finding.message}")
        told.append(replace(finding, ply_id=extra.id, faces=faces))
    return told[:1]


def _resin_of_core(extra: Extra) -> Finding:
    return Finding(
        code="core_resin",
        severity="note",
        message=f"The resin that core '{extra.name}' takes up on both its faces is not counted.",
        hint="Add what the core's data sheet says, or seal it first.",
        ply_id=extra.id,
    )


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
