"""Lay one ply: its region cut into patches, each draped and dressed, with what was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .arrays import Floats
from .cloth.drape import Drape, drape_surface
from .cloth.fabric import Fabric
from .cloth.strain import check_strain, flat_areas, locked
from .cloth.tack import TackSearch, search_tack
from .finding import Finding, about
from .job import Job
from .laminate.laid import LaidPly
from .laminate.ply import Ply
from .laminate.stack import Laid
from .laminate.thickness import inverse_cosine
from .pattern.dress import dress
from .pattern.joints import joint_curves
from .progress import Progress, part_of, silent
from .result import Piece
from .surface.cut import Cut, SeamJoint, cut
from .surface.locate import locate, locate_on
from .surface.mesh import MouldMesh
from .surface.offset import offset
from .surface.patch import Patch
from .surface.refine import refine_patch
from .surface.region import Region

# The tack point is drawn on the mould; a ply that lies on others is this much above it at most.
TACK_WITHIN_MM = 25.0
# Faces outside the part that are raised with it: more rings than any allowance spans.
SPREAD_RINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidPieces:
    """What laying one ply gives."""

    laid: Laid
    fabric: Fabric
    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]


def lay_ply(job: Job, laid: Laid, below_mm: Floats, progress: Progress) -> LaidPieces:
    """Return the pieces of one ply, laid on `below_mm` (faces of the mould,) of laminate.

    Raises
    ------
    InputError, SolveError : as cut, drape_surface and dress do; faces are the mould's
    """
    ply, fabric = laid.ply, job.fabric_of(laid.ply)
    under = offset(job.mould, spread_outside(job, below_mm))
    findings = [f for f in under.findings if not set(f.faces).isdisjoint(ply.faces.tolist())]
    patches = patches_of(job, ply, fabric, under.mesh)
    curves = joint_curves(patches)
    pieces = []
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
        findings += [_on_mould(finding, patch) for finding in check_strain(drape, fabric)]
    return LaidPieces(
        laid=laid, fabric=fabric, pieces=tuple(pieces), findings=tuple(about(ply.id, findings))
    )


def spread_outside(job: Job, below_mm: Floats) -> Floats:
    """Return the thickness below with the faces outside the part taking their neighbours'.

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
    tack = tack_on(ply, patch)
    face = int(locate(patch.surface, tack[None]).faces[0])
    warp = job.rosette_of(ply).direction(ply.angle_deg, patch.surface.normals[face])
    return drape_surface(
        patch.surface,
        fabric,
        tack_mm=tack,
        warp=warp,
        method=ply.method,
        max_edge_mm=job.settings.edge_mm,
        progress=progress,
    )


def tack_on(ply: Ply, patch: Patch) -> Floats:
    """Return (3,) mm: the ply's tack point, or the patch's middle where it lies elsewhere."""
    surface = patch.surface
    if ply.tack_mm is not None:
        at = locate(surface, ply.tack_mm[None])
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
    return np.asarray(locate(surface, middle[None]).points[0])


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
