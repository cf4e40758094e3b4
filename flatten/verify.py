"""The end check of every run: is what was written what was meant? By other means than the work.

Areas are added up from triangles, not taken from polygons; cutter files are read back by the few
lines of verify_lines.py, which share nothing with the writers, and compared line by line.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from .arrays import Floats
from .errors import SolveError
from .export.settings import FileSettings
from .export.tiles import TilePlan
from .nest.layout import Placement
from .result import ExtraPiece, Piece, Result
from .verify_lines import (
    dxf_lines,
    dxf_texts,
    shifted,
    shifted_texts,
    svg_lines,
    svg_texts,
)
from .verify_paper import check_paper
from .verify_places import FileLines, Meant, check_pieces_apart, check_sheets, meant

# Strain and flat shape are of the same triangles, so their areas agree but for rounding.
STRAIN_SHARE = 1e-9
# What rounding of the outline takes at most.
NET_SHARE = 5e-3
# A slit where two edges of a piece lie on each other in the flat is no wider: a knife's kerf.
SLIT_MM = 0.25
# The cut line may be inside the net by rounding only: a strip this wide all round.
INSIDE_MM = 0.02
# Both sides of a joint are the same line on the mould.
SEAM_SHARE = 1e-6


def verify(
    result: Result,
    files: Mapping[str, bytes],
    sheets: TilePlan | None = None,
    settings: FileSettings | None = None,
) -> None:
    """Compare patterns with the drapes they came from, and the files with the patterns.

    `sheets`: which pattern is on which sheet of the paper templates; None leaves them out.
    `settings`: how the cutter files were to be written; None: as they are without settings.

    Raises
    ------
    SolveError : naming the pattern or the file and the two numbers that differ
    """
    for piece in result.pieces:
        _strain_and_flat_agree(piece)
        _net_is_the_flat_shape(piece)
    for one in result.everything:
        _cut_is_a_piece(one)
    _seams_meet(result)
    _files_hold_what_was_meant(result, files, settings or FileSettings())
    if sheets is not None:
        check_paper(files["templates.pdf"], sheets, result.patterns)


def _strain_and_flat_agree(piece: Piece) -> None:
    """Area on the mould = area in the flat x both stretches x cos(shear)."""
    fine = piece.drape.fine
    warp, weft, shear = fine.strain.T
    flat = _triangle_areas(fine.flat[fine.surface.faces])
    laid = float((flat * (1 + warp) * (1 + weft) * np.cos(shear)).sum())
    mould = float(fine.surface.areas.sum())
    _same(piece, "surface", laid, mould, STRAIN_SHARE * mould, "mm2")


def _net_is_the_flat_shape(piece: Piece) -> None:
    """The net outline encloses the flat triangles of the net region."""
    corners = piece.drape.flat[piece.patch.surface.faces[piece.patch.inside]]
    area = float(_triangle_areas(corners).sum())
    net = piece.pattern.net
    covered = (
        shapely.union_all(shapely.polygons(corners)) if abs(net.area - area) > 1e-6 * area else None
    )
    if covered is not None:  # the flat overlaps itself or is slit: count what is covered once
        area = float(covered.area)
    slits = SLIT_MM * _length_of_slits(piece)
    _same(piece, "net outline", net.area, area, NET_SHARE * area + slits, "mm2")


def _length_of_slits(piece: Piece) -> float:
    """Return mm of the joints whose two sides are both on this piece, as a dart's are."""
    sides: dict[int, list[float]] = {}
    for run in piece.pattern.runs:
        if run.joint >= 0:
            sides.setdefault(run.joint, []).append(float(np.ptp(run.mould_mm)))
    return sum(max(lengths) for lengths in sides.values() if len(lengths) > 1)


def _cut_is_a_piece(piece: Piece | ExtraPiece) -> None:
    cut, net = piece.pattern.cut, piece.pattern.net
    sound = cut.is_valid and net.is_valid and cut.area > 0 and np.isfinite(cut.bounds).all()
    if not sound:
        raise _failed(piece, "its cut line crosses itself or encloses nothing")
    outside = float(net.difference(cut).area)
    if outside > INSIDE_MM * net.length:
        raise _failed(piece, f"{outside:.1f} mm2 of the part lie outside the cut line")


def _seams_meet(result: Result) -> None:
    """Both sides of a joint are equally long on the mould."""
    sides: dict[tuple[int, int], list[float]] = {}
    for piece in result.pieces:
        for run in piece.pattern.runs:
            if run.joint >= 0:
                key = (piece.pattern.ply_number, run.joint)
                length = float(np.abs(np.diff(run.mould_mm)).sum())
                sides.setdefault(key, []).append(length)
    for (ply, joint), lengths in sides.items():
        half = sum(lengths) / 2
        if len(lengths) == 2 and abs(lengths[0] - half) > SEAM_SHARE * half:
            raise SolveError(
                f"The end check failed: the sides of joint {joint + 1} of ply {ply} are "
                f"{lengths[0]:.3f} and {lengths[1]:.3f} mm long on the mould.",
                "Please report this with the job folder; nothing was written.",
            )


def _files_hold_what_was_meant(
    result: Result, files: Mapping[str, bytes], settings: FileSettings
) -> None:
    """Every outline, arrow, mark and word is found where it was meant in what a cutter gets."""
    pieces = [meant(pattern) for pattern in result.patterns]
    for name, content in files.items():
        alone = [piece for piece in pieces if name == f"piece {piece.name}.dxf"]
        if name == "patterns.svg":
            check_pieces_apart(_svg(name, content), pieces)
        elif name == "patterns.dxf" or alone:
            check_pieces_apart(_dxf(name, content, settings), alone or pieces)
    cloths = [name for name in files if name.startswith("roll ") and name.endswith(".dxf")]
    sheets = _sheets(result)
    if cloths:
        for name, own in zip(cloths, sheets, strict=True):
            check_sheets(_dxf(name, files[name], settings), own)
    every = [sheet for own in sheets for sheet in own]
    if "roll.dxf" in files:
        roll = _dxf("roll.dxf", files["roll.dxf"], settings)
        check_sheets(roll, every)
        if "roll.svg" in files:  # a picture starts at its own corner
            picture = _svg("roll.svg", files["roll.svg"])
            shift = roll.corners("CUT").min(axis=0) - picture.corners("CUT").min(axis=0)
            lines, texts = shifted(picture.every, shift), shifted_texts(picture.texts, shift)
            check_sheets(FileLines("roll.svg", lines, texts), every)


def _svg(name: str, content: bytes) -> FileLines:
    return FileLines(name, svg_lines(content), svg_texts(content))


def _dxf(name: str, content: bytes, settings: FileSettings) -> FileLines:
    return FileLines(
        name,
        dxf_lines(content),
        dxf_texts(content),
        marked=not settings.only_cut_lines,
        strokes=settings.text_as_strokes,
    )


def _sheets(result: Result) -> list[list[list[Meant]]]:
    """Return the pieces on each sheet of each cloth, as they lie on it."""
    patterns = {pattern.id: pattern for pattern in result.patterns}
    every = []
    for nest in result.nests.values():
        placed = [one for sheet in nest.sheets for one in sheet.placements]
        kits = max((one.kit for one in placed), default=1)
        every.append(
            [
                [
                    meant(patterns[one.piece], one.matrix, _notes(one, kits))
                    for one in sheet.placements
                ]
                for sheet in nest.sheets
            ]
        )
    return every


def _notes(placed: Placement, kits: int) -> str:
    """Return what is to be read on this copy besides its label."""
    kit = f"kit {placed.kit} " if kits > 1 else ""
    return (kit + placed.note).strip()


def _triangle_areas(corners: Floats) -> Floats:
    """Return (m,) mm2 of flat triangles (m, 3, 2)."""
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    return np.asarray(0.5 * np.abs(ax * by - ay * bx))


def _same(piece: Piece, what: str, found: float, meant: float, tolerance: float, unit: str) -> None:
    if not abs(found - meant) <= tolerance:  # also for NaN
        raise _failed(piece, f"its {what} measures {found:.3f}, not {meant:.3f} {unit}")


def _failed(piece: Piece | ExtraPiece, why: str) -> SolveError:
    return SolveError(
        f"The end check of pattern '{piece.pattern.id}' failed: {why}.",
        "Please report this with the job folder; nothing was written.",
    )
