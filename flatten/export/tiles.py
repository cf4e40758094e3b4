"""Which part of which pattern is printed on which sheet of paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon
from shapely.affinity import affine_transform
from shapely.ops import unary_union

from ..errors import InputError
from ..finding import Finding
from ..pattern.pattern import Pattern
from .grid import filled
from .paper import PageSize, PaperSettings

TOO_MANY_SHEETS = "too_many_sheets"
LESS_PAPER = "Use larger paper or a roll plotter, cut the ply in two, or allow more sheets."
BETWEEN_MM = 8.0  # two pieces on one sheet
EDGE_MM = 3.0  # a piece keeps off the edge of what is printed: half a line, a notch tab
OFFSETS = (
    0.5,
    0.375,
    0.625,
    0.25,
    0.75,
    0.125,
    0.875,
    0.0,
    1.0,
)  # of the slack: where the grid may start; first is centred
MOST_TRIED = 1000  # places of a grid: for a larger one nobody tapes, the centred one is enough

FAR = 10  # times as many sheets as allowed: not worth counting


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPattern:
    """A pattern on the paper: turned by 0 or 90 degrees, then shifted by (x, y) mm."""

    pattern: Pattern
    x_mm: float
    y_mm: float
    turn_deg: float

    @property
    def area(self) -> Polygon:
        """Its cut outline on the paper."""
        return _moved(self.pattern.cut, self.x_mm, self.y_mm, self.turn_deg)


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet: place in its grid (row 0 on top) and the left lower corner of what it shows."""

    row: int
    column: int
    x_mm: float
    y_mm: float

    @property
    def name(self) -> str:
        """Row letter and column number: B3."""
        return f"{row_letters(self.row)}{self.column + 1}"


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Sheets that belong together: one large pattern, or several small ones on one sheet."""

    number: int
    placed: tuple[PlacedPattern, ...]
    rows: int
    columns: int
    tiles: tuple[Tile, ...]
    tile_mm: tuple[float, float]  # what a sheet shows, laps counted in

    def name_of(self, tile: Tile) -> str:
        """Return the sheet's name among all: group and place."""
        return f"{self.number}-{tile.name}"


@dataclass(frozen=True, slots=True, eq=False)
class TilePlan:
    """All sheets of a templates file, in printing order."""

    page: PageSize
    lap_mm: float
    groups: tuple[Group, ...]

    @property
    def sheets(self) -> int:
        """How many sheets are printed, the map not counted."""
        return sum(len(group.tiles) for group in self.groups)


def plan_tiles(patterns: Sequence[Pattern], paper: PaperSettings) -> TilePlan:
    """Return the sheets for all patterns, upright or lengthwise, whichever needs fewer.

    Raises
    ------
    InputError : no pattern, or more sheets than allowed
    """
    if not patterns:
        raise InputError("There is no pattern to print.", "Flatten a ply first.")
    plan, why = _fewest(patterns, paper)
    if plan is None:
        raise InputError(why, LESS_PAPER)
    return plan


def check_sheets(patterns: Sequence[Pattern], paper: PaperSettings) -> list[Finding]:
    """Return the finding that no templates are written, where they need too many sheets."""
    plan, why = _fewest(patterns, paper)
    if plan is not None:
        return []
    message = f"{why} No templates are written."
    return [Finding(code=TOO_MANY_SHEETS, severity="warning", message=message, hint=LESS_PAPER)]


def _fewest(patterns: Sequence[Pattern], paper: PaperSettings) -> tuple[TilePlan | None, str]:
    """Return the plan of fewest sheets, or why there is none."""
    allowed = f"{paper.most_sheets} are allowed."
    pages = paper.pages()
    room = max(page.room_mm(0) * page.room_mm(1) for page in pages)
    # Covered areas first: a slip in the unit makes a part of kilometres, and a grid of millions.
    least = [max(int(pattern.cut.area / room), 1) for pattern in patterns]
    if sum(least) > FAR * paper.most_sheets:
        most = int(np.argmax(least))
        return None, (
            f"The templates need more than {sum(least) - 1} sheets, {least[most]} or more of them "
            f"for '{patterns[most].title}'; {allowed}"
        )
    plan = min((_plan(patterns, page, paper.lap_mm) for page in pages), key=lambda p: p.sheets)
    if plan.sheets <= paper.most_sheets:
        return plan, ""
    largest = max(plan.groups, key=lambda group: len(group.tiles))
    return None, (
        f"The templates need {plan.sheets} sheets, {len(largest.tiles)} of them for "
        f"'{largest.placed[0].pattern.title}'; {allowed}"
    )


def row_letters(row: int) -> str:
    """Return A, B, ... Z, AA, AB, ..."""
    name = ""
    row += 1
    while row:
        row, rest = divmod(row - 1, 26)
        name = chr(65 + rest) + name
    return name


def _plan(patterns: Sequence[Pattern], page: PageSize, lap_mm: float) -> TilePlan:
    room = (page.room_mm(0), page.room_mm(1))
    large, small = [], []
    for pattern in patterns:
        turn = _turn_to_fit(pattern, room)
        if turn is None:
            large.append(pattern)
        else:
            small.append((pattern, turn))
    groups = [_large_group(pattern, room, lap_mm) for pattern in large]
    groups += _shared_sheets(small, room)
    order = {pattern.id: i for i, pattern in enumerate(patterns)}
    groups.sort(key=lambda group: min(order[p.pattern.id] for p in group.placed))
    numbered = tuple(
        Group(i + 1, g.placed, g.rows, g.columns, g.tiles, g.tile_mm) for i, g in enumerate(groups)
    )
    return TilePlan(page, lap_mm, numbered)


def _size(pattern: Pattern) -> tuple[float, float]:
    """Return width and height of the cut outline with the clear edge around it."""
    left, bottom, right, top = pattern.cut.bounds
    return right - left + 2 * EDGE_MM, top - bottom + 2 * EDGE_MM


def _turn_to_fit(pattern: Pattern, room: tuple[float, float]) -> float | None:
    width, height = _size(pattern)
    if width <= room[0] and height <= room[1]:
        return 0.0
    return 90.0 if height <= room[0] and width <= room[1] else None


def _large_group(pattern: Pattern, room: tuple[float, float], lap_mm: float) -> Group:
    """Return the grid for one pattern, shifted within its slack so that most corners stay empty."""
    width, height = _size(pattern)
    step = (room[0] - lap_mm, room[1] - lap_mm)
    columns = _count(width, room[0], step[0])
    rows = _count(height, room[1], step[1])
    slack_x = (columns - 1) * step[0] + room[0] - width
    slack_y = (rows - 1) * step[1] + room[1] - height
    choices = []
    offsets = OFFSETS if columns * rows <= MOST_TRIED else OFFSETS[:1]
    for share_x in offsets if columns > 1 else OFFSETS[:1]:
        for share_y in offsets if rows > 1 else OFFSETS[:1]:
            placed = _place(pattern, share_x * slack_x, share_y * slack_y, 0.0)
            tiles = _filled(placed.area, rows, columns, room, step)
            choices.append((len(tiles), _cut_marks(placed, rows, columns, step), placed, tiles))
    _, _, placed, tiles = min(choices, key=lambda choice: choice[:2])
    return Group(0, (placed,), rows, columns, tiles, room)


def _cut_marks(placed: PlacedPattern, rows: int, columns: int, step: tuple[float, float]) -> int:
    """Return how many seams run through the label, the tack point or another mark."""
    pattern, count = placed.pattern, 0
    spots = [(mark.at, 2.5 * mark.height_mm) for mark in pattern.marks]
    if pattern.tack is not None:
        spots.append((pattern.tack, 10.0))
    for at, reach in spots:
        x, y = at[0] + placed.x_mm, at[1] + placed.y_mm
        count += sum(abs(x - column * step[0]) < 4 * reach for column in range(1, columns))
        count += sum(abs(y - row * step[1]) < reach for row in range(1, rows))
    return count


def _filled(
    area: Polygon, rows: int, columns: int, room: tuple[float, float], step: tuple[float, float]
) -> tuple[Tile, ...]:
    """Return the sheets a piece shows on, counting to each what no lap strip already shows."""
    return tuple(Tile(*place) for place in filled(area, rows, columns, room, step))


def _shared_sheets(
    small: Sequence[tuple[Pattern, float]], room: tuple[float, float]
) -> list[Group]:
    """Return the small patterns in rows on as few sheets as first-fit by height finds."""

    def height_of(item: tuple[Pattern, float]) -> float:
        return _size(item[0])[item[1] == 0.0]

    sheets: list[list[_Shelf]] = []
    for pattern, turn in sorted(small, key=height_of, reverse=True):
        width, height = _size(pattern) if turn == 0 else _size(pattern)[::-1]
        shelf = _shelf_for(sheets, width, height, room)
        shelf.items.append((pattern, turn, shelf.used))
        shelf.used += width + BETWEEN_MM
    groups = []
    for shelves in sheets:
        placed = tuple(
            _place(pattern, x, shelf.bottom, turn)
            for shelf in shelves
            for pattern, turn, x in shelf.items
        )
        groups.append(Group(0, placed, 1, 1, (Tile(0, 0, 0.0, 0.0),), room))
    return groups


@dataclass(slots=True)
class _Shelf:
    """A row of pieces on a shared sheet."""

    bottom: float
    height: float
    items: list[tuple[Pattern, float, float]]
    used: float = 0.0


def _shelf_for(
    sheets: list[list[_Shelf]], width: float, height: float, room: tuple[float, float]
) -> _Shelf:
    for shelves in sheets:
        for shelf in shelves:
            if height <= shelf.height and shelf.used + width <= room[0]:
                return shelf
        bottom = shelves[-1].bottom + shelves[-1].height + BETWEEN_MM
        if bottom + height <= room[1]:
            shelves.append(_Shelf(bottom, height, []))
            return shelves[-1]
    sheets.append([_Shelf(0.0, height, [])])
    return sheets[-1][0]


def _place(pattern: Pattern, x: float, y: float, turn: float) -> PlacedPattern:
    """Return the pattern with the left lower corner of its box, edge counted in, at (x, y)."""
    left, bottom, _, _ = _moved(pattern.cut, 0.0, 0.0, turn).bounds
    return PlacedPattern(pattern, x + EDGE_MM - left, y + EDGE_MM - bottom, turn)


def _moved(shape: Polygon, x: float, y: float, turn: float) -> Polygon:
    matrix = [1, 0, 0, 1, x, y] if turn == 0 else [0, -1, 1, 0, x, y]
    return affine_transform(shape, matrix)


def _count(length: float, room: float, step: float) -> int:
    return 1 if length <= room else int(np.ceil((length - room) / step - 1e-9)) + 1


def whole_area(group: Group) -> Polygon:
    """Return the area of all pieces of a group."""
    return unary_union([placed.area for placed in group.placed])
