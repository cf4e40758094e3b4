"""Result to files: everything for the bench, written as one set."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np

from . import __version__
from .arrays import Bools, Floats, Ints
from .cloth.fabric import Fabric
from .export.csv_tables import cut_list_csv, stack_csv
from .export.drawing import Drawing
from .export.dxf import dxf_bytes
from .export.engrave import engrave, ply_outline_lines, stl_bytes, tack_lines
from .export.pattern_drawing import patterns_drawing
from .export.roll_drawing import roll_drawing, rolls_drawing
from .export.settings import FileSettings
from .export.sheet import layup_pdf
from .export.svg import svg_bytes
from .export.templates import templates_pdf
from .facts import layup_sheet, stack_rows
from .folder import distinct_names, write_set
from .job import Job
from .nest.layout import Nest
from .progress import Progress, part_of, silent
from .records import to_plain
from .result import Piece, Result
from .run import LAYOUTS
from .verify import verify

FORMAT = "mouldply result"
VERSION = 1


def deliver(result: Result, job: Job, folder: Path, *, progress: Progress = silent) -> None:
    """Write the result's files to a folder, `result.json` last; the old set goes with it.

    Where a piece does not fit its roll, no roll files are written: patterns, paper and the
    lay-up sheet are, and the finding says why.

    Raises
    ------
    InputError : the folder cannot be written, or holds files that are not ours
    SolveError : the end check found a file that is not what was meant; nothing is written
    """
    progress(0.95, "drawing the patterns")
    files = files_of(result, job, part_of(progress, 0.95, 0.99))
    progress(0.99, "comparing the files with what was meant")
    verify(result, files)
    write_set(folder, files, summary(result, job))
    progress(1.0, "done")


def files_of(result: Result, job: Job, progress: Progress = silent) -> dict[str, bytes]:
    """Return every file but the index, by name. Same result, same bytes."""
    patterns, settings = result.patterns, job.settings.files
    drawing = patterns_drawing(patterns, arcs=settings.arcs)
    files = {
        "patterns.dxf": _dxf(drawing, settings),
        "patterns.svg": svg_bytes(drawing, f"{result.part}: patterns"),
        "cut_list.csv": cut_list_csv(patterns),
        "stack.csv": stack_csv(stack_rows(result)),
        "drape.npz": _drape_arrays(result),
    }
    if settings.one_file_per_piece:
        for pattern in patterns:
            alone = patterns_drawing([pattern], arcs=settings.arcs)  # with its check square
            files[f"piece {pattern.id}.dxf"] = _dxf(alone, settings)
    if settings.engrave:
        progress(0.2, "engraving the mould")
        files["mould engraved.stl"] = engraved_mould(result, job)
    progress(0.3, "drawing the paper templates")
    files["templates.pdf"] = templates_pdf(patterns, job.settings.paper)
    progress(0.7, "drawing the lay-up sheet")
    files["layup.pdf"] = layup_pdf(layup_sheet(result, job), job.settings.paper)
    files |= _roll_files(result, settings)
    return files


def engraved_mould(result: Result, job: Job) -> bytes:
    """Return an STL of the mould with ply outlines, tack crosses and 0-degree ticks as grooves."""
    drawn: dict[tuple[bytes, bytes], list[Floats]] = {}
    for piece in result.pieces:
        faces, tack = piece.ply.faces, piece.drape.tack_mm
        key = (faces.tobytes(), np.round(tack, 1).tobytes())
        if key not in drawn:
            outline = (
                [] if any(key[0] == k[0] for k in drawn) else ply_outline_lines(job.mould, faces)
            )
            drawn[key] = [*outline, *tack_lines(job.mould, faces, tack, job.rosette_of(piece.ply))]
    lines = [line for group in drawn.values() for line in group]
    settings = job.settings.files
    mould = engrave(
        job.mould, lines, depth_mm=settings.groove_depth_mm, width_mm=settings.groove_width_mm
    )
    return stl_bytes(mould, result.part)


def _dxf(drawing: Drawing, settings: FileSettings) -> bytes:
    return dxf_bytes(
        drawing,
        settings.dxf,
        only_cut=settings.only_cut_lines,
        text_as_strokes=settings.text_as_strokes,
    )


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
        "plies": _plies(result, fabrics),
        "pieces": [_piece(piece) for piece in result.pieces],
        "rolls": [_roll(nest, fabrics[cloth]) for cloth, nest in result.nests.items()],
        "totals": _totals(result),
        "findings": [to_plain(finding) for finding in result.findings],
    }


def _roll_files(result: Result, settings: FileSettings) -> dict[str, bytes]:
    """Return the roll drawing of all cloths, and one of each where there are several."""
    if not result.nests or result.stopped:
        return {}
    drawings = {
        cloth: roll_drawing(nest, result.patterns, arcs=settings.arcs)
        for cloth, nest in result.nests.items()
    }
    whole = rolls_drawing(result.nests.values(), result.patterns, arcs=settings.arcs)
    layouts = {cloth: nest.to_plain() for cloth, nest in result.nests.items()}
    files = {
        "roll.dxf": _dxf(whole, settings),
        "roll.svg": svg_bytes(whole, f"{result.part}: rolls"),
        LAYOUTS: json.dumps(layouts, ensure_ascii=False, allow_nan=False).encode(),
    }
    if len(drawings) > 1:
        names = distinct_names([f"roll {cloth}" for cloth in drawings])
        for name, one in zip(names, drawings.values(), strict=True):
            files[f"{name}.dxf"] = _dxf(one, settings)
    return files


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


def _largest_shear(piece: Piece) -> float:
    """Return degrees: over the net region, on the mesh the drape was solved on."""
    return float(np.degrees(np.abs(piece.drape.fine.strain[_fine_inside(piece), 2]).max()))


def _largest_strain(piece: Piece, fabric: Fabric) -> float:
    """Return the largest stretch along a fibre, either sign; across the fibres it is no strain."""
    columns = 1 if fabric.kind == "unidirectional" else 2
    return float(np.abs(piece.drape.fine.strain[_fine_inside(piece), :columns]).max())


def _fine_inside(piece: Piece) -> Bools:
    return np.asarray(piece.patch.inside[piece.drape.fine.source_faces])


def _drape_arrays(result: Result) -> bytes:
    """Return what an overlay needs, packed: per piece its mesh, flat shape and strain."""
    arrays: dict[str, Floats | Ints | Bools] = {}
    for piece in result.pieces:
        name, drape = piece.pattern.id, piece.drape
        arrays |= {
            f"{name}/vertices": drape.surface.vertices,
            f"{name}/faces": drape.surface.faces,
            f"{name}/source_faces": piece.patch.source_faces,
            f"{name}/inside": piece.patch.inside,
            f"{name}/flat": drape.flat,
            f"{name}/strain": drape.strain,
            f"{name}/settled": drape.settled,
            f"{name}/warp_spine": drape.spines[0],
            f"{name}/weft_spine": drape.spines[1],
        }
    packed = io.BytesIO()
    np.savez_compressed(packed, **arrays)
    return packed.getvalue()
