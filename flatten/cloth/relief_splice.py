"""A piece wider than its roll: where to part it, so that each part fits and the fibres keep on."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import Floats
from ..errors import InputError
from ..surface.cut import Cut
from .drape import Drape
from .fabric import Fabric

TACK_CLEAR_MM = 15.0  # a splice keeps this far from the tack point
SHORTEST_MM = 5.0  # of a splice: a shorter one only clips a corner
PATH_STEP_MM = 40.0  # between the points of a proposed splice
STRAY_MM = 1.0  # a splice keeps this near to its thread
OFF_RIM_MM = 2.0  # and this far from where the rim turns back: no slivers, no cut along the rim
SAME_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpliceProposal:
    """Splices along the warp that make a piece fit the roll.

    `cuts` in the order of `across_mm` (k,), their places across the roll from the tack point;
    `width_mm` of the piece with its allowances; `widths_mm` of its parts with laps; `strips`
    how many parts lie side by side.
    """

    cuts: tuple[Cut, ...]
    across_mm: tuple[float, ...]
    width_mm: float
    widths_mm: tuple[float, ...]
    strips: int

    @property
    def message(self) -> str:
        """One sentence for the panel."""
        parts = ", ".join(f"{width:.0f}" for width in self.widths_mm)
        return (
            f"The piece is {self.width_mm:.0f} mm wide; spliced along the warp into "
            f"{self.strips} strips of {parts} mm it fits the roll."
        )


def propose_splice(
    drape: Drape, fabric: Fabric, *, usable_mm: float, trim_mm: float = 0.0
) -> SpliceProposal | None:
    """Return splices that let a piece too wide for its roll be cut; None where it fits.

    They run along the warp, so that no fibre changes its direction, part the width evenly, and
    keep clear of the tack point. A cloth whose warp and weft are alike may lie across the roll
    instead: then a piece fits as soon as either of its sides does.

    Parameters
    ----------
    drape : of the piece, its trim strip included
    usable_mm : roll width between the selvedges
    trim_mm : flat allowance either side of what the drape covers

    Raises
    ------
    InputError : the roll is narrower than the laps themselves
    """
    flat = drape.fine.flat
    length, width = (np.ptp(flat, axis=0) + 2 * trim_mm).tolist()
    if width <= usable_mm or (fabric.balanced and length <= usable_mm):
        return None
    lap = 0.0 if fabric.kind == "unidirectional" else fabric.lap_mm
    low, high = float(flat[:, 1].min()) - trim_mm, float(flat[:, 1].max()) + trim_mm
    places = _places(drape, low, high, usable_mm, lap)
    cuts = [
        cut
        for number, place in enumerate(places, start=1)
        for cut in splices_at(drape, place, f"splice-{number}", fabric)
    ]
    edges = [low, *places, high]
    widths = [b - a + (lap if i else 0.0) for i, (a, b) in enumerate(pairwise(edges))]
    return SpliceProposal(
        cuts=tuple(cuts),
        across_mm=tuple(places),
        width_mm=width,
        widths_mm=tuple(widths),
        strips=len(places) + 1,
    )


def _places(drape: Drape, low: float, high: float, usable_mm: float, lap_mm: float) -> list[float]:
    """Return the places of the splices across the roll: even, moved off the tack point at 0."""
    room = usable_mm - lap_mm
    if not room > lap_mm:
        raise InputError(
            f"A roll of {usable_mm:g} mm is too narrow for laps of {lap_mm:g} mm.",
            "Use a wider roll, or butt the splices.",
        )
    clear = min(TACK_CLEAR_MM, 0.2 * room)
    for strips in range(int(np.ceil((high - low) / room)), 1000):
        even = np.linspace(low, high, strips + 1)[1:-1]
        for side in (1.0, -1.0):
            moved = np.where(np.abs(even) < clear, side * clear, even)
            moved = np.array([_off_both(drape, place, clear) for place in moved])
            edges = np.concatenate([[low], moved, [high]])
            wide = np.diff(edges)
            wide[1:] += lap_mm
            if (wide <= usable_mm).all():
                return [float(place) for place in moved]
    raise InputError("The piece is too wide to be spliced.", "Check the mould's size.")


def _off_both(drape: Drape, place: float, clear_mm: float) -> float:
    """Return a place off the rim's turns; the one given where that would meet the tack point."""
    moved = off_rim(drape, place)
    return moved if abs(moved) >= clear_mm else place


def splices_at(
    drape: Drape, across_mm: float, name: str, fabric: Fabric, axis: int = 1
) -> list[Cut]:
    """Return the splices where the flat cloth is parted at one place: one per crossing.

    `axis` 1: along a warp thread, `across_mm` across the roll from the tack point; 0: along a
    weft thread.
    """
    lines = [line for line in _level_lines(drape, across_mm, axis) if _length(line) > SHORTEST_MM]
    lap = 0.0 if fabric.kind == "unidirectional" else fabric.lap_mm
    return [
        Cut(
            id=name if len(lines) == 1 else f"{name}-{number}",
            kind="splice",
            path=_thinned(line),
            joint="lap" if lap > 0 else "butt",
            lap_mm=lap,
        )
        for number, line in enumerate(lines, start=1)
    ]


def off_rim(drape: Drape, across_mm: float, axis: int = 1) -> float:
    """Return the place nearest to this one where a thread meets the rim only to cross it.

    Where the rim turns back a thread touches it, or leaves a sliver: `OFF_RIM_MM` are kept.
    """
    turns = _rim_turns(drape, axis)
    steps = np.arange(0, 10 * OFF_RIM_MM, 0.25 * OFF_RIM_MM)
    places = across_mm + np.column_stack([steps, -steps]).ravel()
    away = np.abs(places[:, None] - turns).min(axis=1) if len(turns) else np.full(1, np.inf)
    clear = np.flatnonzero(away >= OFF_RIM_MM)
    return float(places[clear[0]] if len(clear) else places[away.argmax()])


def _rim_turns(drape: Drape, axis: int) -> Floats:
    """Return (k,) mm where the flat rim turns back across the threads, or runs along them."""
    fine = drape.fine
    turns = []
    for loop in fine.surface.edges.boundary_loops(fine.surface.faces):
        place = fine.flat[loop, axis]
        onward, back = np.roll(place, -1) - place, place - np.roll(place, 1)
        turns.append(place[onward * back <= SAME_MM])
    return np.concatenate(turns) if turns else np.zeros(0)


def _level_lines(drape: Drape, across_mm: float, axis: int) -> list[Floats]:
    """Return the mould lines (k, 3) along which the flat cloth has one place across its threads."""
    fine = drape.fine
    faces, places = fine.surface.faces, fine.flat[:, axis] - across_mm
    places = np.where(np.abs(places) < SAME_MM, SAME_MM, places)  # no line through a vertex
    above = places > 0
    edges = fine.surface.edges
    ends = edges.vertices
    crossed = np.flatnonzero(above[ends[:, 0]] != above[ends[:, 1]])
    share = places[ends[crossed, 0]] / (places[ends[crossed, 0]] - places[ends[crossed, 1]])
    start, end = fine.surface.vertices[ends[crossed, 0]], fine.surface.vertices[ends[crossed, 1]]
    point = dict(zip(crossed.tolist(), start + share[:, None] * (end - start), strict=True))
    beside: dict[int, list[int]] = {edge: [] for edge in crossed.tolist()}
    across = np.isin(edges.of_face, crossed).reshape(faces.shape)
    for face in np.flatnonzero(across.sum(axis=1) == 2):
        one, two = edges.of_face[face][across[face]].tolist()
        beside[one].append(two)
        beside[two].append(one)
    return [np.array([point[edge] for edge in chain]) for chain in _walk(beside)]


def _walk(beside: dict[int, list[int]]) -> list[list[int]]:
    """Return the chains of neighbours that run from end to end; closed ones part nothing here."""
    left, chains = set(beside), []
    for start in sorted(edge for edge, near in beside.items() if len(near) == 1):
        if start not in left:
            continue
        chain = [start]
        left.discard(start)
        while True:
            onward = [edge for edge in beside[chain[-1]] if edge in left]
            if not onward:
                break
            chain.append(onward[0])
            left.discard(onward[0])
        chains.append(chain)
    return chains


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _thinned(line: Floats) -> Floats:
    """Return points along a line that keep to it, so close that the way between is straight.

    Source: Ramer, An iterative procedure for the polygonal approximation of plane curves, 1972.
    """
    at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    keep, open_ = {0, len(line) - 1}, [(0, len(line) - 1)]
    while open_:
        low, high = open_.pop()
        if high - low < 2:
            continue
        along = line[high] - line[low]
        along = along / max(float(np.linalg.norm(along)), SAME_MM)
        off = line[low + 1 : high] - line[low]
        off = off - np.outer(off @ along, along)
        away = np.linalg.norm(off, axis=1)
        if away.max() > STRAY_MM:
            middle = low + 1 + int(away.argmax())
        elif at[high] - at[low] > PATH_STEP_MM:
            middle = low + 1 + int(np.abs(at[low + 1 : high] - (at[low] + at[high]) / 2).argmin())
        else:
            continue
        keep.add(middle)
        open_ += [(low, middle), (middle, high)]
    return line[sorted(keep)]
