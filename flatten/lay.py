"""Lay one ply: its region cut into patches, each draped and dressed, with what was found.

Longer than most files: what is found on a patch is told of the ply and the mould in one place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from .arrays import Floats
from .cloth.drape import Drape, drape_surface
from .cloth.fabric import Fabric
from .cloth.strain import check_strain, flat_areas, locked
from .cloth.tack import TackSearch, search_tack
from .errors import SolveError
from .finding import Finding, about
from .job import Job
from .laminate.laid import LaidPly
from .laminate.ply import Ply
from .laminate.stack import Laid
from .laminate.thickness import inverse_cosine
from .pattern.dress import dress
from .pattern.gaps import Gap, gap_patches
from .pattern.joints import JointCurve, joint_curves
from .pattern.outline import outline
from .pattern.pattern import Pattern
from .progress import Progress, part_of, silent
from .result import ExtraPiece, Piece
from .surface.cut import Cut, SeamJoint, cut
from .surface.locate import locate, locate_on, locate_one
from .surface.mesh import MouldMesh
from .surface.offset import offset
from .surface.patch import Patch
from .surface.refine import default_edge_mm, refine_patch
from .surface.region import Region

# The tack point is drawn on the mould; a ply that lies on others is this much above it at most.
TACK_WITHIN_MM = 25.0
# Steps a piece may take to come to rest: triangles times steps, some six minutes of one core, but
# so many steps at any size. Most take 20, the worst of 20,000 moulds meant to be nasty some 300.
MOST_WORK, MOST_STEPS = 60_000_000, 100
# Faces outside the part that are raised with it: more rings than any allowance spans.
SPREAD_RINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidPieces:
    """What laying one ply gives."""

    laid: Laid
    fabric: Fabric
    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    patches: tuple[ExtraPiece, ...] = ()  # for the gaps its darts leave


def lay_ply(
    job: Job,
    laid: Laid,
    below_mm: Floats,
    progress: Progress,
    *,
    cutter: Callable[[Job, Ply, Fabric, MouldMesh], list[Patch]] | None = None,
) -> LaidPieces:
    """Return the pieces of one ply, laid on `below_mm` (faces of the mould,) of laminate.

    `cutter`: does what `patches_of` does, from memory where it can; None: `patches_of`.

    Raises
    ------
    InputError, SolveError : as cut, drape_surface and dress do; faces are the mould's
    """
    ply, fabric = laid.ply, job.fabric_of(laid.ply)
    under = offset(job.mould, spread_outside(job, below_mm))
    findings = [f for f in under.findings if not set(f.faces).isdisjoint(ply.faces.tolist())]
    patches = (cutter or patches_of)(job, ply, fabric, under.mesh)
    curves = joint_curves(patches)
    pieces: list[Piece] = []
    gaps: list[ExtraPiece] = []
    for number, patch in enumerate(patches, start=1):
        share = part_of(progress, (number - 1) / len(patches), number / len(patches))
        drape = drape_patch(job, ply, fabric, patch, share)
        pattern = dress(
            patch,
            drape,
            part=job.part,
            ply_id=ply.id if laid.copies == 1 else f"{ply.id}x{laid.copy}",
            ply_number=laid.number,
            ply_name=ply.name,
            fabric=fabric,
            angle_deg=ply.angle_deg,
            dressing=job.settings.dressing,
            trim_mm=ply.trim_mm,
            lap_mm=ply.lap_mm,
            piece=number,
            pieces=len(patches),
            curves=curves,
        )
        share_locked = _locked_share(patch, drape, fabric)
        piece = Piece(
            ply=ply,
            pattern=pattern,
            patch=patch,
            drape=drape,
            locked_area_fraction=share_locked,
        )
        pieces.append(piece)
        mine = _patches_of_gaps(job, piece, fabric, curves)
        found = _with_patches(check_strain(drape, fabric), piece, mine)
        findings += [_on_mould(finding, patch) for finding in found]
        gaps += mine
    return LaidPieces(
        laid=laid,
        fabric=fabric,
        pieces=tuple(pieces),
        findings=tuple(about(ply.id, findings)),
        patches=tuple(gaps),
    )


def _patches_of_gaps(
    job: Job, piece: Piece, fabric: Fabric, curves: Mapping[int, JointCurve]
) -> list[ExtraPiece]:
    """Return the patches for the gaps this piece's darts leave on the mould."""
    if not job.settings.dressing.patch_gaps or not piece.patch.joints:
        return []
    shape = outline(piece.patch, piece.drape, curves=curves)
    found = gap_patches(shape, of=piece.pattern, fabric=fabric, dressing=job.settings.dressing)
    return [
        ExtraPiece(
            of=piece.ply.id,
            pattern=replace(gap.pattern, where=_where(gap, piece.pattern)),
            line_mm=curves[gap.joint].between(gap.from_mm, gap.to_mm),
        )
        for gap in found
    ]


def _with_patches(
    findings: Sequence[Finding], piece: Piece, gaps: Sequence[ExtraPiece]
) -> list[Finding]:
    """Return the findings, with an overlap in the flat that patches make good no longer a stop."""
    if not gaps:
        return list(findings)
    covered = shapely.union_all([gap.pattern.cut for gap in gaps])
    middle = piece.drape.flat[piece.patch.surface.faces].mean(axis=1)
    told = []
    for finding in findings:
        own = [face for face in finding.faces if piece.patch.inside[face]]
        if finding.code == "drape_overlap" and shapely.contains_xy(covered, middle[own]).all():
            finding = Finding(
                code="gap_patched",
                severity="warning",
                message="Both sides of a cut need the same cloth, so the joint stays open on the "
                f"mould; {len(gaps)} x a patch is cut for the gap.",
                hint="Lay it over the gap, or move the cut to where the cloth opens in the flat.",
                faces=finding.faces,
            )
        told.append(finding)
    return told


def _where(gap: Gap, of: Pattern) -> str:
    """Return where a gap's patch goes, by the number of the notch next to it."""
    marks = [notch for notch in of.notches if notch.joint == gap.joint]
    middle = np.array(gap.pattern.net.centroid.coords[0])
    near = min(marks, key=lambda notch: float(np.linalg.norm(notch.at - middle)), default=None)
    beside = f" at notch {near.number}" if near is not None else ""
    return (
        f"ply {of.title}: over the open joint{beside}, {gap.to_mm - gap.from_mm:.0f} mm long and "
        f"up to {gap.wide_mm:.1f} mm wide"
    )


def spread_outside(job: Job, below_mm: Floats) -> Floats:
    """Return the thickness (m,) mm below, faces outside the part taking their neighbours'.

    Every ply runs on over the part's edge by its trim allowance, so the next one lies as high
    there as at the edge.
    """
    if not below_mm.any():
        return below_mm
    spread, part = below_mm.copy(), np.zeros(len(below_mm), bool)
    for ply in job.plies:
        part[ply.faces] = True
    reached = part.copy()
    pairs = job.mould.edges.faces[job.mould.edges.faces[:, 1] >= 0]
    for _ in range(SPREAD_RINGS):
        here, there = np.concatenate([pairs, pairs[:, ::-1]]).T
        fresh = reached[here] & ~reached[there]
        if not fresh.any():
            break
        np.maximum.at(spread, there[fresh], spread[here[fresh]])
        reached[there[fresh]] = True
    return spread


def patches_of(job: Job, ply: Ply, fabric: Fabric, surface: MouldMesh) -> list[Patch]:
    """Return the ply's region of `surface` (the mould as raised by the plies below), cut open.

    The patches are refined: an edge of the flat piece is a curve even where the mould's is one
    long straight edge.
    """
    joint = SeamJoint(
        joint="butt" if fabric.kind == "unidirectional" or fabric.lap_mm == 0 else "lap",
        lap_mm=fabric.lap_mm if ply.lap_mm is None else ply.lap_mm,
    )
    trim = job.settings.dressing.trim_mm if ply.trim_mm is None else ply.trim_mm
    patches = cut(
        surface,
        Region(ply.name, ply.faces),
        [_raised(one, job.mould, surface) for one in ply.cuts],
        seams=job.seams if ply.use_seams else (),
        seam_joint=joint,
        trim_mm=trim if job.settings.dressing.trim_on_mould else 0.0,
    )
    return [refine_patch(patch, max_edge_mm=job.settings.edge_mm)[0] for patch in patches]


def _raised(one: Cut, mould: MouldMesh, surface: MouldMesh) -> Cut:
    """Return a cut drawn on the mould as it lies on the raised surface."""
    if surface is mould:
        return one
    at = locate(mould, one.path)
    corners = surface.vertices[surface.faces[at.faces]]
    return replace(one, path=np.einsum("kj,kjd->kd", at.weights, corners))


def drape_patch(job: Job, ply: Ply, fabric: Fabric, patch: Patch, progress: Progress) -> Drape:
    """Return the drape of one patch: from its tack point, warp at the ply's angle."""
    tack, warp = tack_and_warp(job, ply, patch)
    return drape_surface(
        patch.surface,
        fabric,
        tack_mm=tack,
        warp=warp,
        method=ply.method,
        max_edge_mm=job.settings.edge_mm,
        source_faces=patch.source_faces,
        progress=_bounded(progress, ply, patch, job.settings.edge_mm),
    )


def _bounded(progress: Progress, ply: Ply, patch: Patch, given_mm: float | None) -> Progress:
    """Return a progress that ends the work after the steps a piece of this size may take.

    Counted, not timed: the same job ends the same way on any machine.
    """
    faces, steps = len(patch.surface.faces), 0
    most = max(MOST_STEPS, MOST_WORK // faces)

    def tell(share: float, what: str) -> None:
        nonlocal steps
        steps += 1
        if steps > most:
            edge_mm = 2 * (given_mm or default_edge_mm(patch.surface))
            raise SolveError(
                f"Ply '{ply.name}' does not come to rest: a piece of {faces} triangles was given "
                f"up after {most} steps.",
                f"Choose larger triangles, {edge_mm:.2g} mm or more, or splice it.",
                faces=patch.source_faces[patch.inside][:1],
            )
        progress(share, what)

    return tell


def tack_and_warp(job: Job, ply: Ply, patch: Patch) -> tuple[Floats, Floats]:
    """Return (3,) mm where a patch is tacked, and (3,) its warp direction there."""
    tack = tack_on(ply, patch)
    face = int(locate_one(patch.surface, tack).faces[0])
    return tack, job.rosette_of(ply).direction(ply.angle_deg, patch.surface.normals[face])


def tack_on(ply: Ply, patch: Patch) -> Floats:
    """Return (3,) mm: the ply's tack point, or the patch's middle where it lies elsewhere."""
    surface = patch.surface
    if ply.tack_mm is not None:
        at = locate_one(surface, ply.tack_mm)
        if at.distances[0] <= TACK_WITHIN_MM:
            return np.asarray(at.points[0])
        if len(patch.joints) == 0 or not any(joint.kind == "splice" for joint in patch.joints):
            locate_on(
                surface,
                ply.tack_mm,
                name=f"tack point of '{ply.name}'",
                within_mm=TACK_WITHIN_MM,
                source_faces=patch.source_faces,
            )
    weight = surface.areas * patch.inside
    middle = (surface.corners.mean(axis=1) * weight[:, None]).sum(axis=0) / weight.sum()
    return np.asarray(locate_one(surface, middle).points[0])


def laid_ply(result: LaidPieces) -> LaidPly:
    """Return the ply's areas as weighing needs them."""
    area, steep, middle = 0.0, 0.0, np.zeros(3)
    for piece in result.pieces:
        surface = piece.patch.surface
        areas = surface.areas * piece.patch.inside
        area += float(areas.sum())
        steep += float((areas * inverse_cosine(piece.drape.strain[:, 2])).sum())
        middle += (surface.corners.mean(axis=1) * areas[:, None]).sum(axis=0)
    x, y, z = (middle / area).tolist()
    patterns = [piece.pattern for piece in result.pieces]
    patterns += [patch.pattern for patch in result.patches]
    return LaidPly(
        number=result.laid.number,
        ply_id=result.laid.ply.id,
        name=result.laid.ply.name,
        fabric=result.fabric,
        angle_deg=result.laid.ply.angle_deg,
        mould_area_mm2=area,
        cut_area_mm2=sum(pattern.cut.area for pattern in patterns),
        perimeter_mm=sum(pattern.cut.length for pattern in patterns),
        mean_inverse_cos_shear=max(steep / area, 1.0),
        pieces=len(patterns),
        centroid_mm=(x, y, z),
    )


def shear_on_faces(result: LaidPieces, face_count: int) -> Floats:
    """Return (k,) radians on the ply's mould faces: the mean over each face's parts, by area."""
    total, weight = np.zeros(face_count), np.zeros(face_count)
    for piece in result.pieces:
        patch = piece.patch
        source, areas = patch.source_faces[patch.inside], patch.surface.areas[patch.inside]
        shear = np.abs(piece.drape.strain[patch.inside, 2])
        np.add.at(total, source, areas * shear)
        np.add.at(weight, source, areas)
    faces = result.laid.ply.faces
    return np.asarray(total[faces] / np.maximum(weight[faces], 1e-30))


def _locked_share(patch: Patch, drape: Drape, fabric: Fabric) -> float:
    areas = np.abs(flat_areas(drape.flat, patch.surface.faces)) * patch.inside
    return float(areas[locked(drape, fabric)].sum() / areas.sum())


def _on_mould(finding: Finding, patch: Patch) -> Finding:
    """Return the finding with the mould's faces instead of the patch's."""
    faces = np.unique(patch.source_faces[list(finding.faces)]) if finding.faces else ()
    return replace(finding, faces=tuple(int(face) for face in faces))


def better_tack(
    job: Job, ply: Ply, *, turns_deg: Sequence[float] = (0.0,), progress: Progress = silent
) -> TackSearch:
    """Search the tack point of a ply for the least locked area, then the least shear.

    `turns_deg`: turns of the warp the design allows. A ply cut into several pieces has a tack
    point in each; the search is for the largest.

    Raises
    ------
    InputError, SolveError : as `cut` and `drape_surface` do
    """
    fabric = job.fabric_of(ply)
    patch = max(
        patches_of(job, ply, fabric, job.mould), key=lambda one: float(one.surface.areas.sum())
    )
    rosette = job.rosette_of(ply)
    return search_tack(
        patch.surface,
        fabric,
        tack_mm=tack_on(ply, patch),
        warp=lambda place, normal: rosette.direction(ply.angle_deg, normal),
        turns_deg=turns_deg,
        method=ply.method,
        progress=progress,
    )
