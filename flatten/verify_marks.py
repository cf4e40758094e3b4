"""Are notches, tack crosses, dart ends and words of a file where they were meant?"""

from __future__ import annotations

import contextlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from .arrays import Bools, Floats
from .errors import InputError
from .export.drawing import one_line
from .export.fonts import runs
from .export.transliterate import to_r12
from .pattern.pattern import Pattern
from .verify_lines import NEAR_MM, Near, ReadLine, ReadText

NOTCH, TACK, TEXT = "NOTCH", "TACK", "TEXT"
ARM_MM = 4.0  # along each arm of a tack cross there is a line so far out, and more
CROSS_MM = 10.0  # nothing of a tack cross is farther out
# The number of a notch stands 4 mm behind its inner end. 2 mm beside that it still belongs to
# this notch and to no other; the words of a mark stay inside its box, half of it up and down.
NUMBER_BEHIND_MM, NUMBER_OFF_MM = 4.0, 2.0
PITCH, LINE = 1.7, 1.3  # of the lines in a mark's box, and of the only one, in capitals

Window = Callable[[Floats], Bools]  # which points (k, 2) a sheet shows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Words:
    """One line of text as meant: on its layer, its middle within `off_mm` of `at` (2,) mm."""

    layer: str
    text: str
    at: Floats
    off_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeantMarks:
    """What a piece is marked with besides its lines and its arrow, mm.

    `notches` (n, 2, 2) outer and inner end of what is drawn across the edge; `tack` (3, 2) the
    point and unit vectors of its arms; `dart_ends` their middles and how large they are.
    """

    notches: Floats
    numbers: tuple[int, ...]  # of the notches drawn
    tack: Floats | None
    dart_ends: tuple[tuple[Floats, float], ...]
    words: tuple[Words, ...]

    def moved(self, shift: Floats) -> MeantMarks:
        """Return the marks shifted by (2,) mm."""
        return MeantMarks(
            notches=self.notches + shift,
            numbers=self.numbers,
            tack=None if self.tack is None else self.tack + [shift, [0, 0], [0, 0]],
            dart_ends=tuple((at + shift, size) for at, size in self.dart_ends),
            words=tuple(
                Words(layer=one.layer, text=one.text, at=one.at + shift, off_mm=one.off_mm)
                for one in self.words
            ),
        )


def marks_of(pattern: Pattern, turn: Floats, shift: Floats, notes: str = "") -> MeantMarks:
    """Return what a pattern is marked with where it lies: points p are at p @ turn + shift.

    `turn` (2, 2), `shift` (2,) mm.

    `notes`: a line more on its label, such as the kit it is for.
    """
    drawn = [notch for notch in pattern.notches if notch.style == "mark"]
    ends = [[notch.at, notch.at - notch.outward * notch.length_mm] for notch in drawn]
    words = [
        Words(
            layer=NOTCH,
            text=str(notch.number),
            at=(notch.at - notch.outward * (_reach(notch.style, notch.length_mm))) @ turn + shift,
            off_mm=NUMBER_OFF_MM,
        )
        for notch in pattern.notches
    ]
    for mark in pattern.marks:
        lines = (*mark.lines, notes) if notes and mark.kind == "label" else mark.lines
        half = (PITCH * (len(mark.lines) - 1) + LINE) / 2 * mark.height_mm
        at = mark.at @ turn + shift
        words += [Words(layer=TEXT, text=line, at=at, off_mm=half) for line in lines]
    return MeantMarks(
        notches=np.array(ends).reshape(-1, 2, 2) @ turn + shift,
        numbers=tuple(notch.number for notch in drawn),
        tack=None if pattern.tack is None else np.vstack([pattern.tack @ turn + shift, turn]),
        dart_ends=tuple(
            (mark.at @ turn + shift, mark.height_mm)
            for mark in pattern.marks
            if mark.kind == "dart_end"
        ),
        words=tuple(words),
    )


def _reach(style: str, length_mm: float) -> float:
    return NUMBER_BEHIND_MM + (length_mm if style == "mark" else 0.0)


class FileMarks:
    """The marks and words in a file, ready to be looked up.

    `strokes`: words are drawn, not written; they are looked for, not read.
    """

    def __init__(
        self, lines: Iterable[ReadLine], texts: Iterable[ReadText], *, strokes: bool = False
    ) -> None:
        lines, self.strokes = list(lines), strokes
        self.lines = {
            layer: [line for line in lines if line.layer == layer] for layer in (NOTCH, TACK, TEXT)
        }
        self.near = {
            layer: Near([line.chords() for line in self.lines[layer]]) for layer in (NOTCH, TACK)
        }
        rings = [line.chords() for line in self.lines[NOTCH] if line.closed]
        self.rings = np.array([_middle(ring) for ring in rings]).reshape(-1, 2)
        self.texts = [text for text in texts if text.layer in (NOTCH, TEXT)]
        by_words: dict[tuple[str, str], list[int]] = defaultdict(list)
        for number, text in enumerate(self.texts):
            by_words[text.layer, _squeezed(text.text)].append(number)
        self._by_words = {words: np.array(some) for words, some in by_words.items()}
        self._places = np.array([text.at for text in self.texts]).reshape(-1, 2)
        self._drawn = {
            layer: np.concatenate([line.points[:, :2] for line in some])
            if (some := self.lines[layer])
            else np.zeros((0, 2))
            for layer in (NOTCH, TEXT)
        }

    def fault(self, name: str, marks: MeantMarks, shown: Window | None = None) -> str:
        """Return what is wrong with a piece's marks, "" if nothing is; `shown`: on this sheet."""
        seen = shown or (lambda points: np.ones(len(points), bool))
        for one in marks.words:
            if seen(one.at[None])[0] and not self._has(one):
                what = f"notch number {one.text}" if one.layer == NOTCH else f"text '{one.text}'"
                return f"the {what} of '{name}' is not where it was meant"
        for number, (out, inner) in zip(marks.numbers, marks.notches, strict=True):
            points = np.array([out, (out + inner) / 2, inner])
            off = self.near[NOTCH].off_mm(points[seen(points)])
            if off > NEAR_MM:
                return f"notch {number} of '{name}' {_off(off)}"
        for at, size in marks.dart_ends:
            whole = seen(np.array([at - size, at + size])).all()
            if whole and not (np.hypot(*(self.rings - at).T) <= NEAR_MM).any():
                return f"a dart's end of '{name}' is not where it was meant"
        if marks.tack is not None:
            at, *arms = marks.tack
            points = np.array(
                [at, *(at + side * arm for arm in arms for side in (-ARM_MM, ARM_MM))]
            )
            off = self.near[TACK].off_mm(points[seen(points)])
            if off > NEAR_MM:
                return f"the tack cross of '{name}' {_off(off)}"
        return ""

    def _has(self, one: Words) -> bool:
        if self.strokes:
            drawn = self._drawn[one.layer]
            wide = one.off_mm + len(one.text) * one.off_mm  # half of it, generously
            return bool((np.hypot(*(drawn - one.at).T) <= wide).any())
        return len(self._found(one)) > 0

    def _found(self, one: Words) -> list[int]:
        """Return which texts of the file are these words in this place."""
        found: list[int] = []
        for words in _ways_to_write(one.text):
            some = self._by_words.get((one.layer, words))
            if some is not None:
                off = np.hypot(*(self._places[some] - one.at).T)
                found += some[off <= one.off_mm + NEAR_MM].tolist()
        return found

    def stray(
        self, pieces: Sequence[tuple[MeantMarks, Floats]], shown: Window | None = None
    ) -> str:
        """Return what belongs to none of the pieces, each with its marks and its outline."""
        seen = shown or (lambda points: np.ones(len(points), bool))
        marks = [one for one, _ in pieces]
        return (
            self._stray_tack(marks, seen)
            or ("" if self.strokes else self._stray_notch(marks))
            or ("" if self.strokes else self._stray_words(pieces, seen))
        )

    def _stray_tack(self, marks: Sequence[MeantMarks], seen: Window) -> str:
        tacks = np.array([one.tack[0] for one in marks if one.tack is not None]).reshape(-1, 2)
        for line in self.lines[TACK]:
            points = line.chords()
            off = np.hypot(*(tacks - _middle(points)).T).min(initial=np.inf)
            if off > (NEAR_MM if seen(points).all() else CROSS_MM):  # one may be cut off there
                return _belongs_to_none("a line of a tack cross", points[0])
        return ""

    def _stray_notch(self, marks: Sequence[MeantMarks]) -> str:
        near = Near([ends for one in marks for ends in one.notches])
        ends = [end for one in marks for end in one.dart_ends]
        for line in self.lines[NOTCH]:
            points = line.points[:, :2]
            if near.off_mm(points) > NEAR_MM and not any(
                (np.hypot(*(points - at).T) <= size).all() for at, size in ends
            ):
                return _belongs_to_none("a notch", points[0])
        return ""

    def _stray_words(self, pieces: Sequence[tuple[MeantMarks, Floats]], seen: Window) -> str:
        """Words that are no piece's are found where they would be read as one's: inside it."""
        known = {i for marks, _ in pieces for one in marks.words for i in self._found(one)}
        left = [i for i in range(len(self.texts)) if i not in known]
        if not left:
            return ""
        tree = shapely.STRtree([shapely.Polygon(outline) for _, outline in pieces])
        places = shapely.points(self._places[left])
        inside = set(tree.query(places, predicate="within")[0].tolist())
        for number, i in enumerate(left):
            text = self.texts[i]
            mine = text.layer == NOTCH or number in inside
            if mine and seen(self._places[i][None])[0]:
                return _belongs_to_none(f"the text '{text.text}'", self._places[i])
        return ""


def _belongs_to_none(what: str, at: Floats) -> str:
    return f"{what} at x {at[0]:.1f}, y {at[1]:.1f} mm belongs to no piece"


def _off(off_mm: float) -> str:
    return "is missing" if np.isinf(off_mm) else f"lies up to {off_mm:.3g} mm off"


def _middle(points: Floats) -> Floats:
    middle: Floats = (points.min(axis=0) + points.max(axis=0)) / 2
    return middle


def _ways_to_write(words: str) -> set[str]:
    """Return the words as formats write them: as they are, in Latin letters, in the fonts' own."""
    line = one_line(words)
    ways = {line, "".join(part for _, part in runs(line))}
    with contextlib.suppress(InputError):  # no Latin spelling: then it is in no R12 file either
        ways.add(to_r12(line))
    return {_squeezed(way) for way in ways}


def _squeezed(words: str) -> str:
    """Return the words without blanks: DXF puts some into its own codes."""
    return "".join(words.split())
