"""Job in, result out: the way from a mould to nested patterns, in one function."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np

from .arrays import Floats, Ints
from .cloth.drape import Drape
from .cloth.fabric import Fabric
from .cloth.relief_splice import SpliceProposal, propose_splice
from .errors import Cancelled, InputError
from .export.tiles import check_sheets
from .extras import core_mass_g, lay_extras
from .finding import Finding
from .folder import INDEX
from .job import Job
from .json_file import read_json
from .laminate.balance import check_stack
from .laminate.consumables import cut_as_covers
from .laminate.cost import Estimate, estimate
from .laminate.drop_off import check_drop_offs
from .laminate.ply import Ply
from .laminate.quantities import Quantities, check_size, quantities
from .laminate.stack import Stack
from .laminate.stagger import check_stagger
from .laminate.thickness import Course, thickness_map, thickness_range_mm
from .lay import LaidPieces, laid_ply, lay_ply, shear_on_faces
from .mould.check import check_mould
from .mould.settings import MouldSettings, radius_of_cloth_mm
from .nest.clock import Stop, never
from .nest.layout import Nest
from .nest.nest import nest
from .nest.piece import NestPiece
from .nest.roll import Roll, Stock
from .nest.short import StockShort
from .nest.too_large import TooLarge, too_large
from .pattern.pattern import Pattern
from .progress import Progress, part_of, silent
from .result import ExtraPiece, Piece, Result
from .surface.patch import Patch
from .surface.region import Region, region_boundary

LAYOUTS = "layouts.json"
MOST_LAYOUT_BYTES = 64 * 2**20


def run(
    job: Job,
    *,
    progress: Progress = silent,
    upto: Literal["patterns", "nest"] = "nest",
    stored: Mapping[str, Nest] | None = None,
    stop: Stop = never,
) -> Result:
    """Work a job out.

    Parameters
    ----------
    upto : "patterns" leaves the roll out
    stored : earlier nests by cloth id; each is kept where it is still good and not beaten
    stop : asked before each ply and while nesting; once it says True, draping is given up
        (Cancelled), a nest ends with its best layout so far

    Raises
    ------
    InputError, SolveError : nothing to show for some ply; a part that is merely hard to make
        gives findings instead
    """
    fabrics = {fabric.id: fabric for fabric in job.fabrics}
    settings = job.settings
    stack = Stack.of(job.plies, settings.laminate, job.cores)
    faces = np.unique(np.concatenate([ply.faces for ply in job.plies]))
    on_mould = [float(job.mould.areas[laid.ply.faces].sum()) for laid in stack.laid]
    cloths = [fabrics[laid.ply.fabric] for laid in stack.laid]
    check_size(list(zip(cloths, on_mould, strict=True)), settings.laminate)
    mould = check_mould(
        job.mould,
        mould_settings(job, stack.courses(fabrics, settings.laminate)),
        region_faces=faces,
        progress=part_of(progress, 0.0, 0.1),
        parts=job.parts,
    )
    shear: dict[str, Floats] = {}
    plies: list[LaidPieces] = []
    below = stack.with_thickness_below(fabrics, settings.laminate, len(job.mould.faces), shear)
    for number, (laid, below_mm) in enumerate(below):
        share = part_of(progress, *(0.1 + 0.5 * np.array([number, number + 1]) / len(stack.laid)))
        if stop():
            raise Cancelled
        share(0.0, f"draping ply {laid.number} {laid.ply.name}")
        plies.append(lay_ply(job, laid, below_mm, share))
        shear[laid.ply.id] = shear_on_faces(plies[-1], len(job.mould.faces))
    pieces = tuple(piece for ply in plies for piece in ply.pieces)
    courses = stack.courses(fabrics, settings.laminate, shear)
    besides = lay_extras(job, stack, courses)
    extras = (*(patch for ply in plies for patch in ply.patches), *besides.pieces)
    everything: tuple[Piece | ExtraPiece, ...] = (*pieces, *extras)
    weighed = _quantities(job, plies, faces, courses)
    findings = [
        *mould.findings,
        *check_stack(stack, fabrics),
        *check_stagger(job.mould, [laid.ply for laid in stack.laid], fabrics, seams=job.seams),
        *check_drop_offs(job.mould, courses, settings.laminate.drop_off_ratio),
        *(finding for ply in plies for finding in ply.findings),
        *weighed.findings,
        *besides.findings,
        *check_sheets([one.pattern for one in everything], settings.paper),
    ]
    nests: dict[str, Nest] = {}
    if upto == "nest":
        share = part_of(progress, 0.6, 0.95)
        nests, stops = nest_all(job, everything, stored or {}, share, stop)
        findings += stops
    return Result(
        part=job.part,
        job_digest=job.digest,
        pieces=pieces,
        findings=tuple(findings),
        mould=mould,
        extras=extras,
        nests=nests,
        quantities=weighed,
        estimate=_estimate(job, weighed, nests),
    )


def mould_settings(job: Job, courses: Sequence[Course]) -> MouldSettings:
    """Return what the mould is checked against, with what plies and resin say about it.

    The laminate's thickness, where it is not set, is the stack's, the radius the cloth presses
    into that of the heaviest cloth; the trim is the widest ply's.
    """
    given, trim = job.settings.mould, job.settings.dressing.trim_mm
    thickest = thickness_range_mm(thickness_map(courses, len(job.mould.faces)))[1]
    used = {ply.fabric for ply in job.plies}
    heaviest = max(cloth.areal_weight_gsm for cloth in job.fabrics if cloth.id in used)
    return replace(
        given,
        cloth_radius_mm=given.cloth_radius_mm or radius_of_cloth_mm(heaviest),
        laminate_mm=given.laminate_mm or thickest,
        trim_mm=max(trim if ply.trim_mm is None else ply.trim_mm for ply in job.plies),
        resin_density_g_cm3=job.settings.laminate.resin_density_g_cm3,
    )


def nest_all(
    job: Job,
    laid: Sequence[Piece | ExtraPiece],
    stored: Mapping[str, Nest],
    progress: Progress,
    stop: Stop = never,
) -> tuple[dict[str, Nest], list[Finding]]:
    """Nest each cloth on its own stock. Pieces too large, and stock too short, are findings.

    The cloth they are of has no nest then; the others have theirs.
    """
    used = [f for f in job.fabrics if any(piece.pattern.fabric == f.id for piece in laid)]
    nests: dict[str, Nest] = {}
    stops: list[Finding] = []
    for number, fabric in enumerate(used):
        share = part_of(progress, number / len(used), (number + 1) / len(used))
        share(0.0, f"nesting {fabric.name}")
        mine = {p.pattern.id: p for p in laid if p.pattern.fabric == fabric.id}
        pieces = [nest_piece(piece.pattern) for piece in mine.values()]
        stock = stock_for(job, fabric)
        large = too_large(
            pieces, fabric, stock, turn_tolerance_deg=job.settings.nest.turn_tolerance_deg
        )
        stops += [_too_large(job, fabric, mine[one.piece], one) for one in large]
        if large:
            continue
        earlier = stored.get(fabric.id)
        try:
            nests[fabric.id] = nest(
                pieces, fabric, stock, job.settings.nest, stored=earlier, progress=share, stop=stop
            )
        except StockShort as short:
            plies = {mine[name].pattern.ply_id for name in short.pieces}
            stops.append(replace(short.finding(), ply_id=plies.pop() if len(plies) == 1 else ""))
    return nests, stops


def _too_large(job: Job, fabric: Fabric, piece: Piece | ExtraPiece, large: TooLarge) -> Finding:
    """Return the finding that a piece fits no roll, with the splices that would help."""
    found = replace(large.finding(), ply_id=piece.pattern.ply_id)
    if isinstance(piece, ExtraPiece):
        return found
    splice = roll_splice(job, piece.ply, piece.patch, piece.drape) if large.across else None
    if splice is None:
        return found
    places = ", ".join(f"{place:+.0f}" for place in splice.across_mm)
    return replace(
        found,
        hint=f"{found.hint} {splice.message} Splices lie {places} mm across from the tack point.",
    )


def roll_splice(job: Job, ply: Ply, patch: Patch, drape: Drape) -> SpliceProposal | None:
    """Return the splices that let a draped piece of a ply be cut from the cloth's widest roll.

    None where it fits, or where the roll is hardly wider than the laps.
    """
    room = roll_room(job, ply, patch)
    if room is None:
        return None
    usable_mm, trim_mm = room
    return propose_splice(drape, job.fabric_of(ply), usable_mm=usable_mm, trim_mm=trim_mm)


def roll_room(job: Job, ply: Ply, patch: Patch) -> tuple[float, float] | None:
    """Return the width (mm) of the ply's widest roll, and the trim a flat piece is yet to get.

    None where the roll is hardly wider than the laps: splices would not help.
    """
    fabric, dressing = job.fabric_of(ply), job.settings.dressing
    usable_mm = max(roll.usable_width_mm for roll in stock_for(job, fabric).rolls)
    if usable_mm <= 2 * fabric.lap_mm:
        return None
    trim_mm = dressing.trim_mm if ply.trim_mm is None else ply.trim_mm
    return usable_mm, trim_mm if patch.inside.all() else 0.0  # else the drape covers it already


def nest_piece(pattern: Pattern) -> NestPiece:
    """Return a pattern as the nest sees it."""
    return NestPiece(
        id=pattern.id,
        outline=pattern.cut,
        fabric=pattern.fabric,
        count=pattern.count,
        label=pattern.title,
    )


def stock_for(job: Job, fabric: Fabric) -> Stock:
    """Return the cloth's stock; where the job has no roll of it, a new one as it is sold."""
    stock = job.stock.of(fabric.id)
    if stock.rolls:
        return stock
    taken = {roll.id for roll in job.stock.rolls} | {off.id for off in job.stock.offcuts}
    name = f"new roll of {fabric.id}"
    while name in taken:
        name += "'"
    new = Roll(id=name, fabric=fabric.id, width_mm=fabric.roll_width_mm)
    return Stock(rolls=(new,), offcuts=stock.offcuts)


def stored_layouts(folder: Path) -> dict[str, Nest]:
    """Return the nests an earlier run left in a folder; none where there are none to use."""
    file = folder / LAYOUTS
    try:
        if not (folder / INDEX).is_file():
            return {}
        data = read_json(file, MOST_LAYOUT_BYTES)
        return {str(name): Nest.from_plain(plain) for name, plain in data.items()}
    except (OSError, ValueError, AttributeError, InputError):
        return {}  # a layout is a gift: without it the search starts anew


def _estimate(job: Job, weighed: Quantities, nests: Mapping[str, Nest]) -> Estimate | None:
    """Return cost and time of one part, with its share of the cloth taken off the rolls.

    None while some cloth has no nest: a sum without it would be too small.
    """
    if {ply.fabric for ply in weighed.plies} - set(nests):
        return None
    parts = job.settings.nest.kits + job.settings.nest.mirrored_kits
    cloth = sum(nest.account.cost for nest in nests.values()) / parts
    covers = [job.fabric_of(extra) for extra in job.extras if extra.kind == "cover"]
    paid = [c for c in covers if any(r.price_per_m > 0 for r in job.stock.of(c.id).rolls)]
    return estimate(
        weighed,
        job.settings.laminate,
        cloth_cost=cloth,
        in_cloth_cost=cut_as_covers(paid, weighed.consumables),
    )


def _quantities(
    job: Job, plies: list[LaidPieces], faces: Ints, courses: Sequence[Course]
) -> Quantities:
    rim = region_boundary(job.mould, Region("part", faces))
    ends = job.mould.vertices[rim]
    cores_mm = Stack.of(job.plies, job.settings.laminate, job.cores).cores_under(
        len(courses) + 1, len(job.mould.faces)
    )
    weighed = quantities(
        [laid_ply(ply) for ply in plies],
        job.settings.laminate,
        part_area_mm2=float(job.mould.areas[faces].sum()),
        part_perimeter_mm=float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()),
        laminate_mm=thickness_map(courses, len(job.mould.faces)) + cores_mm,
    )
    return replace(weighed, part_g=weighed.part_g + core_mass_g(job))
