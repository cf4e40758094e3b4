"""Is every outline of a file where it was meant, the right way round and of the right size?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .arrays import Floats
from .errors import SolveError
from .pattern.pattern import Pattern
from .verify_lines import NEAR_MM, Near, ReadLine, ReadText
from .verify_marks import FileMarks, MeantMarks, Window, marks_of

MOST_ALIKE = 200  # corners of a file on one height of x that are compared with one of ours
ARROW = "ARROW"
HEAD_MM = 10.0  # the head of an arrow is no longer and no wider to either side
OUTLINES = ("CUT", "NET_LINE")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meant:
    """A piece as it was meant in a file: rings (k, 2) mm of its cut and of its net, its marks."""

    name: str
    rings: tuple[tuple[Floats, ...], ...]  # one tuple for each of OUTLINES
    arrow: Floats | None  # (2, 2) tail and head
    marks: MeantMarks | None = None

    def moved(self, shift: Floats) -> Meant:
        """Return the piece shifted by (2,) mm."""
        return replace(
            self,
            rings=tuple(tuple(ring + shift for ring in some) for some in self.rings),
            arrow=None if self.arrow is None else self.arrow + shift,
            marks=self.marks and self.marks.moved(shift),
        )


def meant(pattern: Pattern, matrix: Sequence[float] = (1, 0, 0, 1, 0, 0), notes: str = "") -> Meant:
    """Return a pattern as it was meant: x' = a x + b y + x0, y' = d x + e y + y0.

    `notes`: what is written on its label besides.
    """
    a, b, d, e, x, y = matrix
    turn, shift = np.array([[a, d], [b, e]]), np.array([x, y])
    rings = [
        tuple(
            np.asarray(ring.coords)[:, :2] @ turn + shift
            for ring in (shape.exterior, *shape.interiors)
        )
        for shape in (pattern.cut, pattern.net)
    ]
    arrow = None if pattern.arrow is None else pattern.arrow @ turn + shift
    marks = marks_of(pattern, turn, shift, notes)
    return Meant(name=pattern.id, rings=tuple(rings), arrow=arrow, marks=marks)


class FileLines:
    """The outlines, arrows and marks in a file, ready to be looked up.

    `marked`: it is to hold more than cut lines; `strokes`: its words are drawn, not written.
    """

    def __init__(
        self,
        name: str,
        lines: Iterable[ReadLine],
        texts: Iterable[ReadText] = (),
        *,
        marked: bool = True,
        strokes: bool = False,
    ) -> None:
        self.name, self.marked = name, marked
        self.every, self.texts = list(lines), list(texts)
        self.lines = [line for line in self.every if line.layer in (*OUTLINES, ARROW)]
        self.marks = FileMarks(self.every, self.texts, strokes=strokes)
        self.trees = {layer: Near([line.chords() for line in self.of(layer)]) for layer in OUTLINES}
        arrows = [line.points[:, :2] for line in self.of(ARROW)]
        self.heads = np.array([points for points in arrows if len(points) == 3]).reshape(-1, 3, 2)
        self.shafts = np.array([points for points in arrows if len(points) == 2]).reshape(-1, 2, 2)
        self.bent = {
            layer: any(line.points[:, 2].any() for line in self.of(layer)) for layer in OUTLINES
        }

    def of(self, layer: str) -> list[ReadLine]:
        """Return the lines of a layer."""
        return [line for line in self.lines if line.layer == layer]

    def corners(self, layer: str) -> Floats:
        """Return (k, 2) mm the corners of a layer's lines."""
        some = [line.points[:, :2] for line in self.of(layer)]
        return np.concatenate(some) if some else np.zeros((0, 2))

    def fault(self, piece: Meant, *, middles: bool = True, shown: Window | None = None) -> str:
        """Return what is wrong with a piece where it was meant to be, "" if nothing is.

        `middles`: look half-way between its corners too. `shown`: which of its marks are seen.
        """
        for layer, rings in zip(OUTLINES, piece.rings, strict=True):
            if layer != "CUT" and not self.marked:
                continue
            for ring in rings:
                off = self.trees[layer].off_mm(
                    _with_middles(ring) if middles and not self.bent[layer] else ring
                )
                if off > NEAR_MM:
                    line = "cut line" if layer == "CUT" else "net line"
                    return f"the {line} of '{piece.name}' lies up to {off:.3g} mm off"
        if self.marked and piece.arrow is not None and not self._has_arrow(piece.arrow, shown):
            return (
                f"the warp arrow of '{piece.name}' is not where it was meant, or points elsewhere"
            )
        if self.marked and piece.marks is not None:
            return self.marks.fault(piece.name, piece.marks, shown)
        return ""

    def _has_arrow(self, arrow: Floats, shown: Window | None) -> bool:
        """Tell whether a head has its tip at the arrow's, the rest of it on the way to the tail.

        Head and tail are looked for where the sheet shows them.
        """
        tail, tip = arrow
        on = (tip - tail) / max(float(np.hypot(*(tip - tail))), 1e-12)
        wings = [
            tip - HEAD_MM * on + side * HEAD_MM * np.array([-on[1], on[0]]) for side in (1, -1)
        ]
        at_tip = np.linalg.norm(self.heads - tip, axis=2).min(axis=1) <= NEAR_MM
        behind = (self.heads.mean(axis=1) - tip) @ on < 0
        from_tail = np.linalg.norm(self.shafts - tail, axis=2).min(axis=1) <= NEAR_MM
        beside = np.abs(_across(self.shafts - tail, on)).max(axis=1) <= NEAR_MM
        onward = (self.shafts.mean(axis=1) - tail) @ on > 0
        head = shown is not None and not shown(np.array([tip, *wings])).all()
        shaft = shown is not None and not shown(np.array([tail, tail + HEAD_MM * on])).all()
        head = head or bool((at_tip & behind).any())
        return head and (shaft or bool((from_tail & beside & onward).any()))

    def check_count(self, pieces: Sequence[Meant]) -> None:
        """Stop where a ring is missing or there twice. Neighbours on a roll may share stretches."""
        for number, layer in enumerate(OUTLINES):
            if layer != "CUT" and not self.marked:
                continue
            lines = self.of(layer)
            whole = sum(line.closed for line in lines)
            wanted = sum(len(piece.rings[number]) for piece in pieces)
            if whole > wanted or whole == len(lines) < wanted:
                kind = "cut" if layer == "CUT" else "net"
                raise failed(self.name, f"it holds {whole} {kind} lines, {wanted} were meant")

    def check_nothing_else(self, pieces: Sequence[Meant], shown: Window | None = None) -> None:
        """Stop where a line, a mark or a word on a piece belongs to no piece."""
        for number, layer in enumerate(OUTLINES):
            near = Near([ring for piece in pieces for ring in piece.rings[number]])
            lines = self.of(layer)
            if not lines or near.off_mm(self.corners(layer)) <= NEAR_MM:
                continue
            worst = max(lines, key=lambda line: near.off_mm(line.points[:, :2]))
            x, y = worst.points[0, :2]
            raise failed(self.name, f"its line at x {x:.1f}, y {y:.1f} mm belongs to no piece")
        marked = [(piece.marks, piece.rings[0][0]) for piece in pieces if piece.marks is not None]
        stray = self.marks.stray(marked, shown) if self.marked and marked else ""
        if stray:
            raise failed(self.name, stray)


def check_pieces_apart(file: FileLines, pieces: Sequence[Meant]) -> None:
    """Check a file whose pieces may lie anywhere: each is found by its outline.

    Raises
    ------
    SolveError : naming the file, the piece and how it differs
    """
    file.check_count(pieces)
    free = [line.chords() for line in file.of("CUT") if line.closed]
    placed = []
    for piece in pieces:
        outline = piece.rings[0][0]
        why = ""
        for number in _alike(outline, free):
            there = piece.moved(free[number].min(axis=0) - outline.min(axis=0))
            fault = file.fault(there)
            if not fault:
                placed.append(there)
                free.pop(number)
                break
            if Near([free[number]]).off_mm(there.rings[0][0]) <= NEAR_MM:
                why = fault  # the outline is there; something else of the piece is not
        else:
            raise failed(file.name, why or _how_wrong(piece, free))
    file.check_nothing_else(placed)


def check_sheets(file: FileLines, sheets: Sequence[Sequence[Meant]]) -> None:
    """Check a file of sheets that stand one above the other, each with its pieces in place.

    Raises
    ------
    SolveError : naming the file, the piece and how it differs
    """
    file.check_count([piece for sheet in sheets for piece in sheet])
    corners, rise = file.corners("CUT"), 0.0
    placed: list[Meant] = []
    for sheet in sheets:
        if placed and sheet:
            rise = _rise(sheet, corners, above=rise)
        there = [piece.moved(np.array([0.0, rise])) for piece in sheet]
        for piece in there:
            fault = file.fault(piece)
            if fault:
                raise failed(file.name, fault)
        placed += there
    file.check_nothing_else(placed)


def failed(name: str, why: str) -> SolveError:
    """Return the error of a file that is not what was meant."""
    return SolveError(
        f"The end check of '{name}' failed: {why}.",
        "Please report this with the job folder; nothing was written.",
    )


def _with_middles(ring: Floats) -> Floats:
    return np.concatenate([ring, (ring[:-1] + ring[1:]) / 2])


def _across(points: Floats, along: Floats) -> Floats:
    """(...) mm of points (..., 2) beside a line through the origin."""
    unit = along / max(float(np.hypot(*along)), 1e-12)
    beside: Floats = points[..., 0] * unit[1] - points[..., 1] * unit[0]
    return beside


def _alike(outline: Floats, rings: Sequence[Floats], within: float = 2 * NEAR_MM) -> list[int]:
    """Return the rings whose box is as large as the outline's."""
    size = np.ptp(outline, axis=0)
    return [
        i for i, ring in enumerate(rings) if np.abs(np.ptp(ring, axis=0) - size).max() <= within
    ]


def _how_wrong(piece: Meant, rings: Sequence[Floats]) -> str:
    """Return how the piece is to be found among the rings: mirrored, turned, scaled, not at all."""
    outline = piece.rings[0][0]
    middle = outline - (outline.min(axis=0) + outline.max(axis=0)) / 2
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])
    ways = [("mirrored", np.diag([1.0, -1.0]))]
    turn = np.eye(2)
    for degrees in (90, 180, 270):
        turn = turn @ quarter
        ways += [(f"turned by {degrees}°", turn), ("mirrored", turn @ np.diag([1.0, -1.0]))]
    for ring in rings:
        size = np.ptp(ring, axis=0)
        for said, way in ways:
            tried = middle @ way
            shift = ring.min(axis=0) - tried.min(axis=0)
            same = np.abs(np.ptp(tried, axis=0) - size).max() <= 2 * NEAR_MM
            if same and Near([ring]).off_mm(tried + shift) <= NEAR_MM:
                return f"'{piece.name}' is {said}"
        grown = size / np.maximum(np.ptp(outline, axis=0), 1e-12)
        tried = middle * grown + ring.min(axis=0) - (middle * grown).min(axis=0)
        if grown.min() > 0.1 and grown.max() < 10 and Near([ring]).off_mm(tried) <= NEAR_MM:
            return f"'{piece.name}' is scaled by {grown[0]:.6g} along x and {grown[1]:.6g} along y"
    width, height = np.ptp(outline, axis=0)
    return f"there is no cut line of {width:.2f} x {height:.2f} mm for '{piece.name}'"


def _rise(sheet: Sequence[Meant], corners: Floats, above: float) -> float:
    """Return by how much a sheet is raised in the file: the rise most of its corners agree on."""
    ours = np.concatenate([piece.rings[0][0] for piece in sheet])
    corners = corners[np.argsort(corners[:, 0], kind="stable")]
    first = np.searchsorted(corners[:, 0], ours[:, 0] - NEAR_MM)
    last = np.searchsorted(corners[:, 0], ours[:, 0] + NEAR_MM)
    rises = np.concatenate(
        [
            corners[start : min(end, start + MOST_ALIKE), 1] - y
            for start, end, y in zip(first, last, ours[:, 1], strict=True)
        ]
    )
    rises = rises[rises > above + 1]
    if not len(rises):
        return above
    values, votes = np.unique(np.round(rises, 2), return_counts=True)
    best = float(values[votes.argmax()])
    return float(np.median(rises[np.abs(rises - best) < NEAR_MM]))
