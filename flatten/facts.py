"""What the lay-up sheet says, gathered from a result.

Longer than most files: one short function for each part of the sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .arrays import Floats
from .export.layup_facts import (
    Batch,
    CoatRow,
    Kit,
    LayupSheet,
    MouldPicture,
    Region3D,
    StackRow,
    TackPlace,
)
from .export.tape import frame_at, tack_place
from .job import Job
from .laminate.balance import widest_code
from .laminate.cost import Estimate
from .laminate.ply import Ply
from .laminate.quantities import Quantities
from .laminate.resin import Batch as Pot
from .laminate.resin import mix_of
from .laminate.stack import Stack
from .mould_facts import mould_check, stipple_lines
from .pattern.pattern import Pattern
from .result import Result
from .surface.locate import locate
from .units import show_angle, span_mm

BY_TAPE_MM = 1.0  # tack points nearer to each other are one place to a tape


def layup_sheet(result: Result, job: Job) -> LayupSheet:
    """Return the lay-up sheet's facts. Same result, same facts: no date, no clock."""
    weighed = result.quantities
    places, edges = _places(result, job)
    return LayupSheet(
        part=result.part,
        job=result.job_digest[:8],
        stack=stack_rows(result),
        patterns=tuple(result.patterns),
        process=_process(weighed),
        code=laminate_code(job),
        mould=_picture(result, job, edges),
        places=places,
        cutting=_cutting(result),
        kits=_kits(result, job),
        joints=_joints(result),
        extras=_extras(result),
        stipple=stipple_lines(result.mould.corners),
        mould_check=mould_check(result.mould),
        batches=_batches(weighed.batches if weighed else ()),
        coats=_coats(weighed),
        mix=_mix(job),
        pot_life_min=weighed.pot_life_min if weighed else None,
        consumables=_consumables(weighed),
        thickness=_thickness(weighed),
        mass_g=weighed.part_g if weighed else None,
        parts=job.settings.nest.kits + job.settings.nest.mirrored_kits,
        estimate=_estimate(result.estimate),
        findings=result.findings,
        cautions=weighed.cautions if weighed else (),
    )


def laminate_code(job: Job) -> str:
    """Return the laminate code where most plies lie."""
    fabrics = {fabric.id: fabric for fabric in job.fabrics}
    return widest_code(Stack.of(job.plies, job.settings.laminate), fabrics)


def stack_rows(result: Result) -> tuple[StackRow, ...]:
    """Return one row a laid ply, in laying order."""
    by_number: dict[int, list[Pattern]] = {}
    for pattern in (piece.pattern for piece in result.pieces):
        by_number.setdefault(pattern.ply_number, []).append(pattern)
    plies = {ply.number: ply for ply in result.quantities.plies} if result.quantities else {}
    rows = []
    for number, patterns in sorted(by_number.items()):
        first, ply = patterns[0], plies.get(number)
        rows.append(
            StackRow(
                number=number,
                name=first.ply_name,
                fabric=first.fabric_name,
                angle=show_angle(first.angle_deg),
                pieces=sum(pattern.count for pattern in patterns),
                side=first.side_up,
                cloth_g=ply.cut_g if ply else 0.0,
                resin_g=ply.resin_to_weigh_g if ply else 0.0,
            )
        )
    return tuple(rows)


def estimate_rows(given: Estimate) -> tuple[tuple[str, float, str, float | None], ...]:
    """Return name, amount, unit and cost of each line: what is used, then the work, then sums."""
    used = [(line.name, line.amount, line.unit, line.cost) for line in given.costs]
    work = [(f"Work: {line.name.lower()}", line.minutes, "min", None) for line in given.times]
    sums = [("Work in all", given.minutes, "min", None), ("Cost in all", 1.0, "part", given.cost)]
    return (*used, *work, *sums)


def _process(weighed: Quantities | None) -> str:
    if weighed is None:
        return ""
    share = weighed.fibre_volume_fraction
    return f"{weighed.process} lay-up" + (f", {100 * share:.0f} % fibre by volume" if share else "")


def _thickness(weighed: Quantities | None) -> str:
    """Return the laminate's thickness, as a range where it differs by more than a tenth."""
    if weighed is None:
        return ""
    low, high = weighed.thickness_range_mm or (weighed.thickness_mm, weighed.thickness_mm)
    return span_mm(low, high)


def _picture(result: Result, job: Job, edges: tuple[tuple[str, Floats], ...]) -> MouldPicture:
    groups: dict[bytes, list[int]] = {}
    faces = {}
    for laid in Stack.of(job.plies, job.settings.laminate).laid:
        key = laid.ply.faces.tobytes()
        groups.setdefault(key, []).append(laid.number)
        faces[key] = laid.ply.faces
    first = result.pieces[0]
    rosette = job.rosette_of(first.ply)
    return MouldPicture(
        vertices=job.mould.vertices,
        faces=job.mould.faces,
        zero=job.rosette.zero,
        normal=job.rosette.normal,
        regions=tuple(
            Region3D(plies=", ".join(map(str, numbers)), faces=faces[key])
            for key, numbers in groups.items()
        ),
        tack=first.drape.tack_mm,
        tack_zero=frame_at(job.mould, first.ply.faces, first.drape.tack_mm, rosette)[0],
        edges=edges,
    )


def _places(
    result: Result, job: Job
) -> tuple[tuple[TackPlace, ...], tuple[tuple[str, Floats], ...]]:
    """Return where each tack point is, as tape distances, and the edges named in them.

    Plies with the same faces and tack point are told together. Only the first place's edges go
    into the picture: more letters than that are not read.
    """
    groups: list[tuple[Ply, Floats, list[str]]] = []
    for piece in result.pieces:
        pattern, ply, tack = piece.pattern, piece.ply, piece.drape.tack_mm
        title = str(pattern.ply_number)
        title += f" piece {pattern.piece}" if pattern.pieces > 1 else ""
        tack = locate(job.mould, tack[None]).points[0]  # a later ply lies above the mould
        for other, there, titles in groups:
            if np.array_equal(other.faces, ply.faces) and np.linalg.norm(there - tack) < BY_TAPE_MM:
                titles.append(title)
                break
        else:
            groups.append((ply, tack, [title]))
    found = [
        tack_place(
            job.mould,
            ply.faces,
            tack,
            job.rosette_of(ply),
            ("ply " if len(titles) == 1 else "plies ") + ", ".join(titles),
        )
        for ply, tack, titles in groups
    ]
    return tuple(place for place, _ in found), found[0][1]


def _cutting(result: Result) -> tuple[str, ...]:
    """Return the pieces in cutting order: cloth by cloth, the largest first."""
    lines = []
    for cloth in dict.fromkeys(pattern.fabric for pattern in result.patterns):
        mine = [pattern for pattern in result.patterns if pattern.fabric == cloth]
        mine.sort(key=lambda pattern: (-pattern.cut.area, pattern.id))
        names = "; ".join(_named(p).title + (f" x{p.count}" if p.count > 1 else "") for p in mine)
        lines.append(f"{mine[0].fabric_name}: {names}")
    return tuple(lines)


def _kits(result: Result, job: Job) -> tuple[Kit, ...]:
    kits, mirrored = job.settings.nest.kits, job.settings.nest.mirrored_kits
    titles = [f"kit {number + 1} of {kits + mirrored}" for number in range(kits + mirrored)]
    rows = []
    for number, title in enumerate(titles[:12]):  # more labels than that are printed, not read
        for cloth in dict.fromkeys(pattern.fabric for pattern in result.patterns):
            mine = [pattern for pattern in result.patterns if pattern.fabric == cloth]
            hand = ", other hand" if number >= kits else ""
            rows.append(
                Kit(
                    title=f"{result.part}, {title}{hand}",
                    fabric=mine[0].fabric_name,
                    plies=", ".join(dict.fromkeys(_kit_word(p) for p in mine)),
                    pieces=sum(pattern.count for pattern in mine),
                )
            )
    return tuple(rows)


def _kit_word(pattern: Pattern) -> str:
    """Return what a kit's label calls a piece: its ply's number, or an extra's name."""
    own = pattern.role in ("ply", "gap_patch")
    return str(pattern.ply_number) if own else _named(pattern).ply_name


def _named(pattern: Pattern) -> Pattern:
    """Return an extra that is called like its cloth under what it is: the cloth stands beside."""
    if pattern.role == "ply" or pattern.ply_name != pattern.fabric_name:
        return pattern
    return replace(pattern, ply_name=pattern.role.replace("_", " "))


def _joints(result: Result) -> tuple[str, ...]:
    """Return a sentence for the joints of each ply, those of one kind and lap together."""
    groups: dict[tuple[str, str, str], list[int]] = {}
    marks: dict[int, set[int]] = {}
    for piece in result.pieces:
        pattern = piece.pattern
        there = set(piece.patch.edge_joints.tolist())
        for joint in piece.patch.joints:
            if joint.number not in there:
                continue
            how = f"lap {joint.lap_mm:g} mm" if joint.joint == "lap" else "butt, no gap, no lap"
            key = (f"ply {pattern.ply_number} {pattern.ply_name}", joint.kind, how)
            groups.setdefault(key, [])
            if joint.number not in groups[key]:
                groups[key].append(joint.number)
            mine = {notch.number for notch in pattern.notches if notch.joint == joint.number}
            marks.setdefault(joint.number, set()).update(mine)
    lines = []
    for (ply, kind, how), joints in groups.items():
        count = f"{len(joints)} {kind}s" if len(joints) > 1 else f"{kind}"
        numbers = sorted(set().union(*(marks[joint] for joint in joints)))
        notches = f", notches {', '.join(map(str, numbers))}" if numbers else ""
        lines.append(f"{ply}: {count}, {how}{notches}")
    return tuple(lines)


def _extras(result: Result) -> tuple[str, ...]:
    """Return a sentence for each piece that is no ply's own: what it is, and where it goes."""
    return tuple(
        f"{pattern.title}{f' x{pattern.count}' if pattern.count > 1 else ''}: {pattern.where}"
        for pattern in (extra.pattern for extra in result.extras)
    )


def _batches(pots: Sequence[Pot]) -> tuple[Batch, ...]:
    return tuple(
        Batch(
            number=pot.number,
            resin_g=pot.resin_g,
            hardener_g=pot.hardener_g,
            plies=", ".join(map(str, pot.plies)),
        )
        for pot in pots
    )


def _coats(weighed: Quantities | None) -> tuple[CoatRow, ...]:
    return tuple(
        CoatRow(
            kind=f"{coat.kind} coat",
            thickness=f"{coat.thickness_mm:g} mm",
            pots=_batches(coat.batches),
        )
        for coat in (weighed.coats if weighed else ())
    )


def _estimate(given: Estimate | None) -> tuple[str, ...]:
    """Return the time, and the cost where any price was entered."""
    if given is None:
        return ()
    steps = [f"{line.name.lower()} {line.minutes:.0f}" for line in given.times if line.minutes]
    said = [f"Work {given.minutes:.0f} min, cure not counted: {', '.join(steps)}."]
    if given.cost:
        prices = [f"{line.name.lower()} {line.cost:.2f}" for line in given.costs if line.cost]
        free = [line.name.lower() for line in given.costs if not line.cost]
        said.append(f"Cost {given.cost:.2f} {given.currency}".strip() + f": {', '.join(prices)}.")
        said += [f"Without a price: {', '.join(free)}."] if free else []
    return tuple(said)


def _mix(job: Job) -> str:
    settings = job.settings.laminate
    mix = mix_of(settings)
    hardener = 100 * mix.hardener_share / (1 - mix.hardener_share)
    return f"100 : {hardener:.4g}"


def _consumables(weighed: Quantities | None) -> tuple[tuple[str, str], ...]:
    if weighed is None:
        return ()
    used = weighed.consumables
    areas = (
        ("peel ply", used.peel_ply_m2), ("perforated film", used.film_m2),
        ("breather", used.breather_m2), ("flow mesh", used.flow_mesh_m2), ("bag", used.bag_m2),
    )  # fmt: skip
    rows = [(name, f"{area:.2f} m²") for name, area in areas if area > 0]
    if weighed.uptake_to_weigh_g > 0:
        rows.append(("resin they hold", f"{weighed.uptake_to_weigh_g:.0f} g"))
    if used.tape_m > 0:
        rows.append(("sealant tape", f"{used.tape_m:.1f} m"))
    if used.release_coats:
        rows.append(("release agent", f"{used.release_coats} coats, {used.release_g:.0f} g"))
    return tuple(rows)
