"""Lines and texts read back from the files a cutter gets; shares nothing with the writers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import shapely

from .arrays import Floats

# A file keeps 1e-4 mm or better; an arc may leave the chords it stands for by 0.002 mm, and
# corners within 0.005 mm of another outline are made one with it. A knife repeats 0.02 mm.
NEAR_MM = 0.01
CHORD_MM = 0.001  # a chord of an arc stays this near to it
STEP = re.compile(r"([MLAZ])([^MLAZ]*)")
TURN = re.compile(r"rotate\((\S+) (\S+) (\S+)\)")
SVG = "{http://www.w3.org/2000/svg}"
CAPITAL = 0.714  # capitals as a share of the type size, of the fonts these files are set in


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadLine:
    """A line of a file: `points` (k, 3) x, y in mm, y upwards, and bulge to the next point.

    The bulge is the tangent of a quarter of the arc's angle, positive to the left, 0 for straight.
    """

    layer: str
    closed: bool
    points: Floats

    def chords(self) -> Floats:
        """Return (k, 2) mm, arcs as chords; a closed line ends where it starts."""
        rows = np.vstack([self.points, self.points[:1]]) if self.closed else self.points
        if not rows[:-1, 2].any():
            return rows[:, :2]
        parts = [_arc(start, end[:2]) for start, end in pairwise(rows)]
        return np.vstack([*parts, rows[-1:, :2]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadText:
    """A line of text: `at` (2,) mm is its middle, or its start if it is written from there."""

    layer: str
    text: str
    at: Floats


class Near:
    """Straight stretches of some lines (k, 2), to find how far a point is off them."""

    def __init__(self, lines: Sequence[Floats]) -> None:
        ends = [np.stack([line[:-1], line[1:]], axis=1) for line in lines]
        self.tree = shapely.STRtree(shapely.linestrings(np.concatenate(ends)) if ends else [])

    def off_mm(self, points: Floats) -> float:
        """Return mm from the lines to the point that is farthest off, infinite without lines."""
        if not len(self.tree):
            return np.inf if len(points) else 0.0
        spots = shapely.points(points)
        near = self.tree.query(spots, predicate="dwithin", distance=NEAR_MM)[0]
        left = np.setdiff1d(np.arange(len(spots)), near)
        if not len(left):
            return 0.0
        _, distance = self.tree.query_nearest(spots[left], return_distance=True, all_matches=False)
        return float(distance.max())


def shifted(lines: Iterable[ReadLine], shift: Floats) -> Iterator[ReadLine]:
    """Yield the lines moved by (2,) mm."""
    for line in lines:
        yield replace(line, points=line.points + [*shift, 0.0])


def shifted_texts(texts: Iterable[ReadText], shift: Floats) -> Iterator[ReadText]:
    """Yield the texts moved by (2,) mm."""
    for text in texts:
        yield replace(text, at=text.at + shift)


def _arc(start: Floats, end: Floats) -> Floats:
    """(k, 2) points of one stretch, its end left out."""
    angle = 4 * float(np.arctan(start[2]))
    chord = end - start[:2]
    radius = float(np.hypot(*chord)) / max(2 * abs(np.sin(angle / 2)), 1e-12)
    if abs(angle) < 1e-9 or not radius > 0:
        return start[None, :2]
    step = 2 * np.arccos(max(1 - CHORD_MM / radius, 0.0))
    turn = angle * np.arange(max(int(np.ceil(abs(angle) / step)), 2)) / 2
    turn /= max(len(turn), 1)
    # Seen from its start, an arc's point at the angle 2 t lies at 2 R sin t, turned by t.
    length = 2 * radius * np.abs(np.sin(turn))
    ahead = np.arctan2(chord[1], chord[0]) - angle / 2 + turn
    points: Floats = start[:2] + length[:, None] * np.column_stack([np.cos(ahead), np.sin(ahead)])
    return points


def dxf_lines(content: bytes) -> Iterator[ReadLine]:
    """Yield the polylines of a DXF text.

    Source: the DXF reference: groups of a code and a value; LWPOLYLINE 10, 20, 42, 70; the
    older POLYLINE with its VERTEX entities.
    """
    kind, layer, closed, points = "", "", False, list[list[float]]()
    for code, value in [*_groups(content), ("0", "EOF")]:
        if code == "0" and not (value in ("VERTEX", "SEQEND") and layer):
            if len(points) > 1:
                yield ReadLine(layer=layer, closed=closed, points=np.array(points))
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


def dxf_texts(content: bytes) -> Iterator[ReadText]:
    """Yield the texts of a DXF text.

    Source: the DXF reference: TEXT 1 words, 10 and 20 where it starts, 11 and 21 the point it is
    aligned to where 72 or 73 say so, as they do here for texts placed by their middle.
    """
    given: dict[str, str] = {}
    for code, value in [*_groups(content), ("0", "EOF")]:
        if code != "0":
            given.setdefault(code, value)
            continue
        if given.get("0") == "TEXT":
            x, y = ("11", "21") if given.get("73", "0") != "0" else ("10", "20")
            at = np.array([float(given[x]), float(given[y])])
            yield ReadText(layer=given.get("8", ""), text=given.get("1", ""), at=at)
        given = {"0": value}


def _groups(content: bytes) -> list[tuple[str, str]]:
    lines = content.decode("utf-8", errors="replace").splitlines()
    return [
        (code.strip(), value.strip()) for code, value in zip(lines[::2], lines[1::2], strict=False)
    ]


def svg_texts(content: bytes) -> Iterator[ReadText]:
    """Yield the texts of such an SVG. Source: SVG 1.1, 7.6 and 10.5: rotate(a x y), x, y."""
    for group in ElementTree.fromstring(content):  # our own, from memory: nothing to resolve
        for text in group.iter(f"{SVG}text"):
            x, y, size = (float(text.get(name, "nan")) for name in ("x", "y", "font-size"))
            if text.get("text-anchor") == "middle":
                y -= size * CAPITAL / 2  # from the base line to the middle
            turn = TURN.match(text.get("transform", ""))
            if turn:
                angle, px, py = (float(number) for number in turn.groups())
                cosine, sine = np.cos(np.radians(angle)), np.sin(np.radians(angle))
                x, y = x - px, y - py
                x, y = px + cosine * x - sine * y, py + sine * x + cosine * y
            yield ReadText(
                layer=group.get("id", ""), text="".join(text.itertext()), at=np.array([x, -y])
            )


def svg_lines(content: bytes) -> Iterator[ReadLine]:
    """Yield the paths of an SVG in mm whose groups of the top level are the layers.

    Source: SVG 1.1, 8.3: M, L, A and Z with absolute coordinates, y downwards.
    """
    root = ElementTree.fromstring(content)  # our own, from memory: nothing to resolve
    for group in root:
        for path in group.iter(f"{SVG}path"):
            points = _path_points(path.get("d", ""))
            closed = path.get("d", "").rstrip().endswith("Z")
            if closed and len(points) > 1 and points[0][:2] == points[-1][:2]:
                points.pop()  # an arc back to the start
            rows = np.array(points) * [1.0, -1.0, 1.0]
            yield ReadLine(layer=group.get("id", ""), closed=closed, points=rows)


def _path_points(path: str) -> list[list[float]]:
    points: list[list[float]] = []
    for step, text in STEP.findall(path):
        numbers = [float(number) for number in text.split()]
        if step == "A":
            radius, _, _, large, sweep, x, y = numbers
            half = np.hypot(x - points[-1][0], y - points[-1][1]) / 2
            angle = 2 * np.arcsin(min(half / max(radius, 1e-12), 1.0))
            angle = 2 * np.pi - angle if large else angle
            points[-1][2] = float(np.tan(angle / 4)) * (-1 if sweep else 1)
            numbers = [x, y]
        if step != "Z":
            points.append([*numbers, 0.0])
    return points
