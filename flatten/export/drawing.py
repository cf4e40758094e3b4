"""Drawing: layers, lines and texts in mm. Knows no file format."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..arrays import Floats, frozen_floats
from ..errors import InputError

Anchor = Literal["left", "middle"]
LONGEST_TEXT = 300  # characters on one line of a drawing
BLANKS = ("Cc", "Cs", "Zl", "Zp")  # kinds of characters that come out as a blank
NO_XML = "\ufffe\uffff"  # no characters, and no XML holds them: XML 1.0, section 2.2
# A chord is this far from its arc where a format knows no arcs: below what a blade can follow.
ARC_CHORD_MM = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A kind of line, named for what it does.

    `name` plain capitals, digits and _ (fits every DXF version); `title` for people; `rgb` 0..1;
    `pen` order in which a machine should draw: lowest first; `cuts` a knife follows it.
    """

    name: str
    title: str
    rgb: tuple[float, float, float]
    width_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()
    pen: int = 0
    cuts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A polyline: `points` (k, 2) mm; `bulge` (k,) as in DXF, tan of a quarter of the arc's angle.

    bulge[i] belongs to the stretch from point i to the next; 0 is straight, positive turns left.
    `piece` names what it belongs to.
    """

    layer: str
    points: Floats
    closed: bool = False
    bulge: Floats | None = None
    piece: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no line."""
        points = frozen_floats(f"line on {self.layer}", self.points, (None, 2))
        if len(points) < 2:
            raise InputError(f"A line on {self.layer} has {len(points)} points.", "Draw two.")
        object.__setattr__(self, "points", points)
        if self.bulge is not None:
            bulge = frozen_floats(f"arcs on {self.layer}", self.bulge, (len(points),))
            object.__setattr__(self, "bulge", bulge)

    def straightened(self, chord_mm: float = ARC_CHORD_MM) -> Floats:
        """Return (k, 2) the points with arcs as chords that keep within `chord_mm`; not closed."""
        if self.bulge is None:
            return self.points
        parts = []
        count = len(self.points) if self.closed else len(self.points) - 1
        for i in range(count):
            start, end = self.points[i], self.points[(i + 1) % len(self.points)]
            parts.append(_chords(start, end, float(self.bulge[i]), chord_mm))
        if not self.closed:
            parts.append(self.points[-1:])
        return np.concatenate(parts)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Text:
    """One line of text: `height_mm` of a capital, turned counter-clockwise by `turn_deg`.

    `at` (2,) mm is the left end of the base line, or the middle of the text's box.
    """

    layer: str
    text: str
    at: Floats
    height_mm: float
    turn_deg: float = 0.0
    anchor: Anchor = "middle"
    piece: str = ""

    def __post_init__(self) -> None:
        """Make the text safe for any format: one line, no control characters."""
        object.__setattr__(self, "text", one_line(self.text))
        object.__setattr__(self, "at", frozen_floats(f"text '{self.text}'", self.at, (2,)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """Lines and texts on layers, mm, y upwards. `pieces` maps a piece's id to its title."""

    title: str
    layers: tuple[Layer, ...]
    lines: tuple[Line, ...] = ()
    texts: tuple[Text, ...] = ()
    pieces: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        """Refuse lines on layers that are not there."""
        names = {layer.name for layer in self.layers}
        used = {line.layer for line in self.lines} | {text.layer for text in self.texts}
        if used - names:
            raise InputError(
                f"The drawing uses the layer {min(used - names)}, which it does not define.",
                f"Use one of {', '.join(sorted(names))}.",
            )
        object.__setattr__(self, "title", one_line(self.title))

    def layer(self, name: str) -> Layer:
        """Return the layer of this name."""
        return next(layer for layer in self.layers if layer.name == name)

    def bounds(self) -> tuple[float, float, float, float]:
        """Return the box around all lines and text anchors: left, bottom, right, top in mm."""
        points = [line.straightened() for line in self.lines] + [t.at[None] for t in self.texts]
        if not points:
            return (0.0, 0.0, 0.0, 0.0)
        every = np.concatenate(points)
        low, high = every.min(axis=0), every.max(axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))

    def moved(
        self, x_mm: float, y_mm: float, turn_deg: float = 0.0, *, mirrored: bool = False
    ) -> Drawing:
        """Return the drawing mirrored about its x axis, then turned, then shifted.

        Texts move along but are never mirrored.
        """
        turn = rotation(turn_deg)
        flip = np.array([1.0, -1.0 if mirrored else 1.0])
        shift = np.array([x_mm, y_mm])

        def move(points: Floats) -> Floats:
            moved: Floats = (points * flip) @ turn.T + shift
            return moved

        def move_text(text: Text) -> Text:
            own = -text.turn_deg if mirrored else text.turn_deg
            return replace(text, at=move(text.at), turn_deg=own + turn_deg)

        sign = -1.0 if mirrored else 1.0
        return replace(
            self,
            lines=tuple(
                replace(
                    line,
                    points=move(line.points),
                    bulge=None if line.bulge is None else sign * line.bulge,
                )
                for line in self.lines
            ),
            texts=tuple(move_text(text) for text in self.texts),
        )

    def only(self, layers: Iterable[str]) -> Drawing:
        """Return the drawing with these layers alone."""
        names = set(layers)
        return replace(
            self,
            layers=tuple(layer for layer in self.layers if layer.name in names),
            lines=tuple(line for line in self.lines if line.layer in names),
            texts=tuple(text for text in self.texts if text.layer in names),
        )


def together(title: str, drawings: Iterable[Drawing]) -> Drawing:
    """Return one drawing with the content of all; the layers in order of first appearance."""
    parts = list(drawings)
    layers = {layer.name: layer for part in parts for layer in part.layers}
    return Drawing(
        title=title,
        layers=tuple(layers.values()),
        lines=tuple(line for part in parts for line in part.lines),
        texts=tuple(text for part in parts for text in part.texts),
        pieces=tuple(dict(pair for part in parts for pair in part.pieces).items()),
    )


def one_line(text: str, longest: int = LONGEST_TEXT) -> str:
    """Return the text as one line without control, formatting or unpaired characters.

    A text longer than `longest` characters is cut, the cut shown by an ellipsis.
    """
    kept = (
        " " if unicodedata.category(char) in BLANKS or char in NO_XML else char
        for char in unicodedata.normalize("NFC", str(text))
        if unicodedata.category(char) != "Cf"
    )
    line = " ".join("".join(kept).split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def rotation(turn_deg: float) -> Floats:
    """Return the (2, 2) rotation; quarter turns exact."""
    quarter = {0: (1.0, 0.0), 90: (0.0, 1.0), 180: (-1.0, 0.0), 270: (0.0, -1.0)}
    exact = quarter.get(turn_deg % 360)  # type: ignore[call-overload]
    angle = np.radians(turn_deg)
    cosine, sine = exact or (np.cos(angle), np.sin(angle))
    return np.array([[cosine, -sine], [sine, cosine]])


def ring_area(line: Line) -> float:
    """Return the signed area in mm2 of a closed line, its arcs exact."""
    x, y = line.points.T
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    if line.bulge is None:
        return area
    chord = np.linalg.norm(np.roll(line.points, -1, axis=0) - line.points, axis=1)
    angle = 4 * np.arctan(line.bulge)
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.where(line.bulge != 0, chord / (2 * np.sin(angle / 2)), 0.0)
    return area + float(np.sum(0.5 * radius**2 * (angle - np.sin(angle))))


def _chords(start: Floats, end: Floats, bulge: float, chord_mm: float) -> Floats:
    """Return the points of one stretch, its end left out."""
    if abs(bulge) < 1e-12:
        return start[None]
    angle = 4 * np.arctan(bulge)
    along = end - start
    radius = np.linalg.norm(along) / (2 * np.sin(abs(angle) / 2))
    step = 2 * np.arccos(max(1 - chord_mm / radius, 0.0))
    count = max(int(np.ceil(abs(angle) / step)), 2)
    left = np.array([-along[1], along[0]])
    centre = (start + end) / 2 + left * (1 - bulge**2) / (4 * bulge)
    turns = angle * np.arange(count) / count
    spoke = start - centre
    cosine, sine = np.cos(turns), np.sin(turns)
    x = centre[0] + cosine * spoke[0] - sine * spoke[1]
    y = centre[1] + sine * spoke[0] + cosine * spoke[1]
    return np.column_stack([x, y])
