"""The end check of every run: is what was written what was meant? By other means than the work.

Areas are added up from triangles, not taken from polygons; the cutter file is read back by the
few lines at the end of this file, which share nothing with the writer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import shapely

from .arrays import Floats
from .errors import SolveError
from .result import ExtraPiece, Piece, Result

# Strain and flat shape are of the same triangles, so their areas agree but for rounding.
STRAIN_SHARE = 1e-9
# A slit of a dart, a fraction of a millimetre wide, and rounding of the outline take this at most.
NET_SHARE = 5e-3
# The cut line may be inside the net by rounding only: a strip this wide all round.
INSIDE_MM = 0.02
# Both sides of a joint are the same line on the mould.
SEAM_SHARE = 1e-6
# Coordinates in the files are kept to 0.001 mm: an outline's area moves by half that all round.
FILE_MM = 0.001


def verify(result: Result, files: Mapping[str, bytes]) -> None:
    """Compare patterns with the drapes they came from, and the cutter files with the patterns.

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
    wanted = [pattern.cut for pattern in result.patterns]
    if "patterns.dxf" in files:
        _file_holds("patterns.dxf", files["patterns.dxf"], wanted)
    if "roll.dxf" in files:
        _file_holds("roll.dxf", files["roll.dxf"], _nested(result))


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
    _same(piece, "net outline", net.area, area, NET_SHARE * area, "mm2")


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


def _nested(result: Result) -> list[shapely.Polygon]:
    """Return the outline of every piece that lies on the cloth."""
    outlines = {pattern.id: pattern.cut for pattern in result.patterns}
    return [
        outlines[placement.piece]
        for nest in result.nests.values()
        for sheet in nest.sheets
        for placement in sheet.placements
    ]


def _file_holds(name: str, content: bytes, wanted: list[shapely.Polygon]) -> None:
    """The file's closed cut lines are the outlines meant, by number and by area."""
    found = sorted(abs(_ring_area(ring)) for ring in cut_rings(content))
    rings = [ring for piece in wanted for ring in (piece.exterior, *piece.interiors)]
    meant = sorted(float(shapely.Polygon(ring).area) for ring in rings)
    if len(found) != len(meant):
        raise _file_failed(name, f"{len(found)} cut lines, {len(meant)} were meant")
    longest = max((ring.length for ring in rings), default=0.0)
    for area, intended in zip(found, meant, strict=True):
        if abs(area - intended) > FILE_MM * longest:
            raise _file_failed(name, f"a cut line round {area:.2f} mm2, not {intended:.2f}")


def cut_rings(content: bytes) -> Iterator[Floats]:
    """Yield (k, 3) x, y, bulge of each closed polyline on a layer that is cut, from DXF text.

    Source: the DXF reference: groups of a code and a value; LWPOLYLINE 10, 20, 42, 70; the
    older POLYLINE with its VERTEX entities.
    """
    lines = content.decode("utf-8", errors="replace").splitlines()
    groups = [
        (code.strip(), value.strip()) for code, value in zip(lines[::2], lines[1::2], strict=False)
    ]
    kind, layer, closed, points = "", "", False, list[list[float]]()
    for code, value in [*groups, ("0", "EOF")]:
        if code == "0" and not (value in ("VERTEX", "SEQEND") and layer):
            if closed and len(points) > 1 and layer.upper().startswith("CUT"):
                yield np.array(points)
            kind, layer, closed, points = value, "", False, []
        elif code == "0":
            kind = value  # a vertex of the polyline before, or its end
        elif kind in ("LWPOLYLINE", "POLYLINE") and code in ("8", "70"):
            layer, closed = (value, closed) if code == "8" else (layer, bool(int(value) & 1))
        elif kind in ("LWPOLYLINE", "VERTEX"):
            if code == "10":
                points.append([float(value), 0.0, 0.0])
            elif code in ("20", "42") and points:
                points[-1][1 if code == "20" else 2] = float(value)


def _ring_area(ring: Floats) -> float:
    """Return mm2 inside a ring whose edges may be arcs; bulge = tan(quarter of the arc)."""
    x, y = ring[:, 0], ring[:, 1]
    area = 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
    chord = np.hypot(np.roll(x, -1) - x, np.roll(y, -1) - y)
    angle = 4 * np.arctan(ring[:, 2])
    bent = np.abs(angle) > 1e-12
    radius = chord[bent] / (2 * np.sin(angle[bent] / 2))
    return area + float((0.5 * radius**2 * (angle[bent] - np.sin(angle[bent]))).sum())


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


def _file_failed(name: str, why: str) -> SolveError:
    return SolveError(
        f"The end check of '{name}' failed: it holds {why}.",
        "Please report this with the job folder; nothing was written.",
    )
