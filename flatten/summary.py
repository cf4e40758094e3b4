"""The numbers of a result as plain values: what `result.json` holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from . import __version__
from .arrays import Bools
from .cloth.fabric import Fabric
from .cloth.thread_stretch import along_fibres
from .facts import laminate_code
from .finding import Finding
from .job import Job
from .mould.report import MouldReport
from .mould_facts import mould_check, stipple_lines
from .nest.layout import Nest
from .records import to_plain
from .result import ExtraPiece, Piece, Result

FORMAT = "mouldply result"
VERSION = 1
# Faces listed in all findings together. Fourteen bytes each, so 28 MB: less than half of
# what is read of an index (MOST_INDEX_BYTES in folder.py).
MOST_LISTED = 2_000_000


def summary(result: Result, job: Job) -> dict[str, Any]:
    """Return the result's numbers as plain JSON values, as `result.json` holds them.

    Areas mm2, lengths mm, angles degrees, masses g; fractions 0..1. Documented in DEVELOPERS.md.
    """
    fabrics = {fabric.id: fabric for fabric in job.fabrics}
    return {
        "format": FORMAT,
        "version": VERSION,
        "program": f"mouldply {__version__}",
        "part": result.part,
        "job_digest": result.job_digest,
        "laminate_code": laminate_code(job),
        "plies": _plies(result, fabrics),
        "pieces": [_piece(piece) for piece in result.pieces],
        "extras": [_extra(extra) for extra in result.extras],
        "rolls": [_roll(nest, fabrics[cloth]) for cloth, nest in result.nests.items()],
        "totals": _totals(result),
        "mould": _mould(result.mould),
        "findings": _findings(result.findings),
    }


def _findings(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return the findings; `face_count` is more than `faces` lists where those were cut short."""
    most = _most_each([len(finding.faces) for finding in findings])
    return [
        {
            **to_plain(replace(finding, faces=finding.faces[:most])),
            "face_count": len(finding.faces),
        }
        for finding in findings
    ]


def _most_each(counts: Sequence[int]) -> int:
    """Return how many faces a finding may list: short lists stay whole, the longer ones share."""
    left = MOST_LISTED
    for number, count in enumerate(sorted(counts)):
        share = left // (len(counts) - number)
        if count > share:
            return share
        left -= count
    return max(counts, default=0)


def _plies(result: Result, fabrics: dict[str, Fabric]) -> list[dict[str, Any]]:
    plies: dict[int, list[Piece]] = {}
    for piece in result.pieces:
        plies.setdefault(piece.pattern.ply_number, []).append(piece)
    rows = []
    for number, pieces in plies.items():
        first = pieces[0].pattern
        flat = [piece.pattern.net.area for piece in pieces]
        shares = [piece.locked_area_fraction for piece in pieces]
        rows.append(
            {
                "number": number,
                "ply_id": first.ply_id,
                "name": first.ply_name,
                "fabric": first.fabric,
                "fabric_name": first.fabric_name,
                "angle_deg": first.angle_deg,
                "pieces": len(pieces),
                "area_mm2": sum(piece.pattern.mould_area_mm2 for piece in pieces),
                "cut_area_mm2": sum(piece.pattern.cut.area for piece in pieces),
                "perimeter_mm": sum(piece.pattern.cut.length for piece in pieces),
                "max_shear_deg": max(_largest_shear(piece) for piece in pieces),
                "max_fibre_strain": max(
                    _largest_strain(piece, fabrics[first.fabric]) for piece in pieces
                ),
                "locked_area_fraction": float(np.average(shares, weights=flat)),
                "converged": all(piece.drape.converged for piece in pieces),
            }
        )
    return rows


def _piece(piece: Piece) -> dict[str, Any]:
    pattern = piece.pattern
    return {
        "id": pattern.id,
        "ply_id": pattern.ply_id,
        "ply_number": pattern.ply_number,
        "count": pattern.count,
        "net_area_mm2": pattern.net.area,
        "cut_area_mm2": pattern.cut.area,
        "net_perimeter_mm": pattern.net.length,
        "cut_perimeter_mm": pattern.cut.length,
        "mould_area_mm2": pattern.mould_area_mm2,
        "max_shear_deg": _largest_shear(piece),
        "locked_area_fraction": piece.locked_area_fraction,
        "iterations": piece.drape.iterations,
        "residual_mm": piece.drape.residual,
        "tack_mm": piece.drape.tack_mm.tolist(),
        "warp": piece.drape.warp.tolist(),
    }


def _extra(extra: ExtraPiece) -> dict[str, Any]:
    pattern = extra.pattern
    return {
        "id": pattern.id,
        "of": extra.of,
        "kind": pattern.role,
        "name": pattern.ply_name,
        "fabric": pattern.fabric,
        "count": pattern.count,
        "cut_area_mm2": pattern.cut.area,
        "where": pattern.where,
    }


def _roll(nest: Nest, fabric: Fabric) -> dict[str, Any]:
    account = nest.account
    rolls = [sheet for sheet in nest.sheets if sheet.kind == "roll"]
    return {
        "fabric": fabric.id,
        "fabric_name": fabric.name,
        "width_mm": max((sheet.width_mm for sheet in rolls), default=fabric.roll_width_mm),
        "used_length_mm": nest.used_length_mm,
        "cloth_mm2": account.cloth_mm2,
        "utilisation": account.utilisation,
        "waste_mm2": account.waste_mm2,
        "pieces_fraction": account.pieces_mm2 / account.cloth_mm2,
        "offcuts_fraction": account.kept_mm2 / account.cloth_mm2,
        "waste_fraction": account.waste_mm2 / account.cloth_mm2,
        "cost": account.cost,
        "method": nest.method,
        "sheets": [
            {
                "stock_id": sheet.stock_id,
                "kind": sheet.kind,
                "width_mm": sheet.width_mm,
                "used_length_mm": sheet.used_length_mm,
                "pieces": len(sheet.placements),
            }
            for sheet in nest.sheets
        ],
        "notes": list(nest.notes),
    }


def _totals(result: Result) -> dict[str, Any]:
    weighed, cost = result.quantities, result.estimate
    return {} if weighed is None else {
        "area_m2": weighed.area_m2,
        "cut_area_m2": weighed.cut_area_m2,
        "dry_g": weighed.dry_g,
        "net_resin_g": weighed.net_resin_g,
        "resin_to_weigh_g": weighed.resin_to_weigh_g,
        "thickness_mm": weighed.thickness_mm,
        "thickness_range_mm": weighed.thickness_range_mm,
        "part_mass_g": weighed.part_g,
        "centre_of_mass_mm": weighed.centre_of_mass_mm,
        "estimate": to_plain(cost) if cost else None,
        "fibre_volume_fraction": weighed.fibre_volume_fraction,
    }  # fmt: skip


def _mould(report: MouldReport) -> dict[str, Any]:
    """Return size, figures, corners and build directions; None for what is not limited."""
    figures = {
        name: None if value in (np.inf, -np.inf) else value
        for name, value in to_plain(report.numbers).items()
    }
    corners = to_plain(report.corners)
    for corner in corners:  # which faces and edges: the findings say it, and they are long
        del corner["faces"], corner["edges"]
    checked = mould_check(report)
    return {
        "size_mm": report.size.tolist(),
        **figures,
        "in_words": [list(pair) for pair in checked.facts] if checked else [],
        "stipple": list(stipple_lines(report.corners)),
        "corners": corners,
        "builds": to_plain(report.builds),
    }


def _largest_shear(piece: Piece) -> float:
    """Return degrees: over the net region, on the mesh the drape was solved on."""
    return float(np.degrees(np.abs(piece.drape.fine.strain[_fine_inside(piece), 2]).max()))


def _largest_strain(piece: Piece, fabric: Fabric) -> float:
    """Return the largest stretch along a fibre, either sign; across the fibres it is no strain."""
    return float(along_fibres(piece.drape.fine.stretch[_fine_inside(piece)], fabric).max())


def _fine_inside(piece: Piece) -> Bools:
    return np.asarray(piece.patch.inside[piece.drape.fine.source_faces])
