"""What of a result goes into an answer: drapes, patterns, maps, findings, proposals."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from .answer import Answer
from .arrays import Floats
from .cloth.drape import Drape
from .cloth.relief import Proposal
from .cloth.thread_stretch import fibres
from .finding import Finding
from .job import Job
from .laminate.stack import Stack
from .laminate.thickness import thickness_map
from .pattern.pattern import Pattern
from .records import to_plain
from .result import ExtraPiece, Piece, Result
from .stamp import extra_stamps, ply_stamps


def answer_of(
    job: Job,
    pieces: Iterable[Piece],
    findings: Iterable[Finding],
    *,
    extras: Iterable[ExtraPiece] = (),
    plies: Iterable[str] | None = None,
    result: Result | None = None,
) -> Answer:
    """Return what is drawn of these pieces; `plies` are the ids that were laid, None: all."""
    pieces, extras = list(pieces), list(extras)
    ids = [ply.id for ply in job.plies] if plies is None else list(plies)
    arrays: dict[str, NDArray[Any]] = {}
    for number, piece in enumerate(pieces):
        arrays |= {f"piece{number}_{k}": v for k, v in _piece_arrays(piece, job).items()}
    for number, extra in enumerate(extras, start=len(pieces)):
        arrays |= {f"piece{number}_{k}": v for k, v in _extra_arrays(extra).items()}
    if result is not None:
        arrays |= {f"map_{name}": values for name, values in _mould_maps(result).items()}
        arrays["map_thickness_mm"] = _thickness(job, pieces)
    stamps = ply_stamps(job)
    facts = {
        "part": job.part,
        "job_digest": job.digest,
        "triangles": len(job.mould.faces),
        "plies": {ply_id: stamps[ply_id] for ply_id in ids},
        "extras": {} if result is None else extra_stamps(job, stamps),
        "complete": result is not None,
        "pieces": [
            *(_piece_facts(piece, _own_id(job, piece.pattern.ply_id)) for piece in pieces),
            *(_extra_facts(extra) for extra in extras),
        ],
        "findings": [to_plain(finding) for finding in findings],
        "nests": {} if result is None else {c: nest.to_plain() for c, nest in result.nests.items()},
        "quantities": None if result is None else to_plain(result.quantities),
    }
    return Answer(facts=facts, arrays=arrays)


def drape_arrays(drape: Drape) -> dict[str, NDArray[Any]]:
    """Return a drape's mesh on the mould and in the flat, and its spines."""
    return {
        "points": drape.fine.surface.vertices,
        "flat": drape.fine.flat,
        "triangles": drape.fine.surface.faces,
        "inside": np.ones(len(drape.fine.surface.faces), bool),
        "warp_spine": drape.spines[0],
        "weft_spine": drape.spines[1],
    }


def proposal_facts(proposal: Proposal) -> dict[str, Any]:
    """Return a proposed cut as plain values: the cut itself and what it gains."""
    return {
        **to_plain(proposal.cut),
        "length_mm": proposal.length_mm,
        "gain": proposal.message,
        "set_number": proposal.set_number,
        "enough": proposal.enough,
    }


def _piece_arrays(piece: Piece, job: Job) -> dict[str, NDArray[Any]]:
    fine, pattern = piece.drape.fine, piece.pattern
    stretch = fine.stretch[:, : fibres(job.fabric_of(piece.ply))]
    larger = np.abs(stretch).argmax(axis=1)
    return {
        **drape_arrays(piece.drape),
        "source_faces": piece.patch.source_faces[fine.source_faces],
        "inside": piece.patch.inside[fine.source_faces],
        "shear_deg": np.degrees(fine.strain[:, 2]),
        "strain_percent": 100 * stretch[np.arange(len(larger)), larger],
        "settled": fine.settled,
        "arrow": np.zeros((0, 2)) if pattern.arrow is None else pattern.arrow,
        "notches": _notch_strokes(pattern),
    }


def _extra_arrays(extra: ExtraPiece) -> dict[str, NDArray[Any]]:
    """Return an extra piece as triangles in the flat; on the mould it is where its line is."""
    shape = extra.pattern.cut
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(shape))
    corners = np.array([np.array(one.exterior.coords)[:3] for one in triangles])
    flat, number = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    count, line = len(corners), extra.line_mm
    return {
        "points": np.repeat(line[[len(line) // 2]], len(flat), axis=0),
        "flat": flat,
        "triangles": number.reshape(-1, 3).astype(np.int64)[:, ::-1].copy(),
        "source_faces": np.zeros(count, np.int64),
        "inside": np.zeros(count, bool),
        "shear_deg": np.zeros(count),
        "strain_percent": np.zeros(count),
        "settled": np.ones(count, bool),
        "warp_spine": line,
        "weft_spine": line[:0],
        "arrow": np.zeros((0, 2)) if extra.pattern.arrow is None else extra.pattern.arrow,
        "notches": _notch_strokes(extra.pattern),
    }


def _extra_facts(extra: ExtraPiece) -> dict[str, Any]:
    return {
        **_pattern_facts(extra.pattern, extra.of),
        "tack_mm": extra.line_mm[len(extra.line_mm) // 2].tolist(),
        "warp": None,
        "max_shear_deg": 0.0,
        "locked_area_fraction": 0.0,
        "converged": True,
    }


def _piece_facts(piece: Piece, ply_id: str) -> dict[str, Any]:
    drape = piece.drape
    inside = piece.patch.inside[drape.fine.source_faces]
    return {
        **_pattern_facts(piece.pattern, ply_id),
        "tack_mm": drape.tack_mm.tolist(),
        "warp": drape.warp.tolist(),
        "max_shear_deg": float(np.degrees(np.abs(drape.fine.strain[inside, 2]).max())),
        "locked_area_fraction": piece.locked_area_fraction,
        "converged": bool(drape.converged),
    }


def _pattern_facts(pattern: Pattern, ply_id: str) -> dict[str, Any]:
    return {
        "id": pattern.id,
        "role": pattern.role,
        "where": pattern.where,
        "title": pattern.title,
        "ply_id": ply_id,
        "ply_number": pattern.ply_number,
        "ply_name": pattern.ply_name,
        "fabric": pattern.fabric,
        "fabric_name": pattern.fabric_name,
        "angle_deg": pattern.angle_deg,
        "count": pattern.count,
        "cut": _rings(pattern.cut),
        "net": _rings(pattern.net),
        "marks": [to_plain(mark) for mark in pattern.marks],
        "tack": None if pattern.tack is None else pattern.tack.tolist(),
        "net_area_mm2": pattern.net.area,
        "cut_area_mm2": pattern.cut.area,
        "perimeter_mm": pattern.cut.exterior.length,
    }


def _own_id(job: Job, laid_id: str) -> str:
    """Return the id of the job's ply; one laid several times is told apart as "p1x2"."""
    return laid_id if laid_id in {ply.id for ply in job.plies} else laid_id.rsplit("x", 1)[0]


def _notch_strokes(pattern: Pattern) -> Floats:
    """Return (k, 2, 2) strokes across the edge; a tab is part of the cut line itself."""
    strokes = []
    for notch in pattern.notches:
        if notch.style == "mark":
            reach = notch.outward * notch.length_mm
            strokes.append([notch.at - reach / 2, notch.at + reach / 2])
    return np.array(strokes, float).reshape(-1, 2, 2)


def _rings(polygon: Polygon) -> list[list[list[float]]]:
    """Return the outer ring, then the holes, closed, as lists of [x, y]."""
    rings = [polygon.exterior, *polygon.interiors]
    return [[[round(x, 4), round(y, 4)] for x, y in ring.coords] for ring in rings]


def _mould_maps(result: Result) -> dict[str, NDArray[Any]]:
    """Return the mould checks' values for each triangle; angles in degrees, NaN unchecked."""
    maps = result.mould.maps
    return {
        "draft_deg": np.degrees(maps.draft),
        "held_share": maps.held,
        "ridge_mm": maps.ridge_mm,
        "radius_mm": maps.radius_mm,
        "wall_mm": maps.wall_mm,
        "under_brush_mm": maps.under_brush_mm,
    }


def _thickness(job: Job, pieces: list[Piece]) -> Floats:
    """Return mm of laminate on each triangle of the mould, thicker where the cloth is sheared."""
    laminate, count = job.settings.laminate, len(job.mould.faces)
    fabrics = {fabric.id: fabric for fabric in job.fabrics}
    total, weight = (
        {ply.id: np.zeros(count) for ply in job.plies},
        {ply.id: np.zeros(count) for ply in job.plies},
    )
    for piece in pieces:
        fine, ply_id = piece.drape.fine, _own_id(job, piece.pattern.ply_id)
        source, areas = piece.patch.source_faces[fine.source_faces], fine.surface.areas
        total[ply_id] += np.bincount(source, areas * np.abs(fine.strain[:, 2]), count)
        weight[ply_id] += np.bincount(source, areas, count)
    shear = {
        ply.id: total[ply.id][ply.faces] / np.maximum(weight[ply.id][ply.faces], 1e-30)
        for ply in job.plies
    }
    stack = Stack.of(job.plies, laminate, job.cores)
    laid = thickness_map(stack.courses(fabrics, laminate, shear), count)
    return laid + stack.cores_under(len(stack.laid) + 1, count)
