"""Result to files: everything for the bench, written as one set."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np

from .arrays import Bools, Floats, Ints
from .export.csv_tables import cut_list_csv, estimate_csv, stack_csv
from .export.drawing import Drawing, one_line
from .export.dxf import dxf_bytes
from .export.engrave import engrave, ply_outline_lines, tack_lines
from .export.pattern_drawing import patterns_drawing
from .export.roll_drawing import roll_drawing, rolls_drawing
from .export.settings import FileSettings
from .export.sheet import layup_pdf
from .export.svg import svg_bytes
from .export.templates import templates_pdf
from .export.tiles import TOO_MANY_SHEETS, TilePlan, plan_tiles
from .facts import estimate_rows, layup_sheet, stack_rows
from .folder import distinct_names, write_set
from .job import Job
from .pattern.alike import merge_identical
from .progress import Progress, part_of, silent
from .result import Result
from .run import LAYOUTS
from .summary import summary
from .surface.stl import stl_bytes
from .verify import verify

MOULD = ":mould"  # in drape.npz, beside the pieces: no piece is called so, files can't be either

OF_ONE_CLOTH = ("piece_too_large", "stock_short")  # stops: that cloth has no nest, others may


def deliver(result: Result, job: Job, folder: Path, *, progress: Progress = silent) -> None:
    """Write the result's files to a folder, `result.json` last; the old set goes with it.

    Where a piece does not fit its roll, or the stock is too short, that cloth has no roll files:
    patterns, paper, lay-up sheet and the other cloths' rolls are written, and the finding says why.

    Raises
    ------
    InputError : the folder cannot be written, or holds files that are not ours
    SolveError : the end check found a file that is not what was meant; nothing is written
    """
    progress(0.95, "drawing the patterns")
    files, sheets = files_and_sheets(result, job, part_of(progress, 0.95, 0.99))
    progress(0.99, "comparing the files with what was meant")
    verify(result, files, sheets, job.settings.files)
    write_set(folder, files, summary(result, job))
    progress(1.0, "done")


def files_of(result: Result, job: Job, progress: Progress = silent) -> dict[str, bytes]:
    """Return every file but the index, by name. Same result, same bytes."""
    return files_and_sheets(result, job, progress)[0]


def files_and_sheets(
    result: Result, job: Job, progress: Progress = silent
) -> tuple[dict[str, bytes], TilePlan | None]:
    """Return the files, and which pattern is on which sheet of paper where there is paper."""
    patterns, settings = result.patterns, job.settings.files
    kits, mirrored = job.settings.nest.kits, job.settings.nest.mirrored_kits
    shared = merge_identical(patterns)  # one template on paper for pieces that are alike
    drawing = patterns_drawing(patterns, arcs=settings.arcs)
    files = {
        "patterns.dxf": _dxf(drawing, settings),
        "patterns.svg": svg_bytes(drawing, f"{result.part}: patterns"),
        "cut_list.csv": cut_list_csv(shared, kits=kits, mirrored_kits=mirrored),
        "stack.csv": stack_csv(stack_rows(result)),
        "drape.npz": _drape_arrays(result, job),
    }
    if result.estimate:
        files["estimate.csv"] = estimate_csv(
            estimate_rows(result.estimate), result.estimate.currency
        )
    if settings.one_file_per_piece:
        for pattern in patterns:
            alone = patterns_drawing([pattern], arcs=settings.arcs)  # with its check square
            files[f"piece {pattern.id}.dxf"] = _dxf(alone, settings)
    if settings.engrave:
        progress(0.2, "engraving the mould")
        files["mould engraved.stl"] = engraved_mould(result, job)
    sheets: TilePlan | None = None
    if not any(finding.code == TOO_MANY_SHEETS for finding in result.findings):
        progress(0.3, "drawing the paper templates")
        sheets = plan_tiles(shared, job.settings.paper)
        files["templates.pdf"] = templates_pdf(shared, job.settings.paper, plan=sheets)
    progress(0.7, "drawing the lay-up sheet")
    files["layup.pdf"] = layup_pdf(layup_sheet(result, job), job.settings.paper)
    files |= _roll_files(result, settings)
    return files, sheets


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
    return stl_bytes(mould, one_line(result.part))


def _dxf(drawing: Drawing, settings: FileSettings) -> bytes:
    return dxf_bytes(
        drawing,
        settings.dxf,
        only_cut=settings.only_cut_lines,
        text_as_strokes=settings.text_as_strokes,
    )


def _roll_files(result: Result, settings: FileSettings) -> dict[str, bytes]:
    """Return the roll drawing of all cloths, and one of each where there are several."""
    if not result.nests or any(stop.code not in OF_ONE_CLOTH for stop in result.stopped):
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


def _drape_arrays(result: Result, job: Job) -> bytes:
    """Return what an overlay needs, packed: per piece its mesh, flat shape, strain; the mould."""
    arrays: dict[str, Floats | Ints | Bools] = {
        f"{MOULD}/vertices": job.mould.vertices,
        f"{MOULD}/faces": job.mould.faces,
    }
    for piece in result.pieces:
        name, drape = piece.pattern.id, piece.drape
        arrays |= {
            f"{name}/vertices": drape.surface.vertices,
            f"{name}/faces": drape.surface.faces,
            f"{name}/source_faces": piece.patch.source_faces,
            f"{name}/region": piece.ply.faces,
            f"{name}/inside": piece.patch.inside,
            f"{name}/flat": drape.flat,
            f"{name}/strain": drape.strain,
            f"{name}/stretch": drape.stretch,
            f"{name}/settled": drape.settled,
            f"{name}/warp_spine": drape.spines[0],
            f"{name}/weft_spine": drape.spines[1],
        }
    packed = io.BytesIO()
    np.savez_compressed(packed, **arrays)
    return packed.getvalue()
