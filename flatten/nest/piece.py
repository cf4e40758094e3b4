"""What is to be nested: pieces with their cut outlines, and how many of each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from numpy.typing import ArrayLike
from shapely import Polygon

from ..errors import InputError
from .outline import sound_polygon

MOST_COPIES = 100_000  # of one piece; more is a slip of the hand


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NestPiece:
    """One pattern as the nest sees it: `outline` is its cut outline, mm, warp along +x.

    `outline` may be given as (k, 2) points or as a polygon with holes; it is kept as a valid
    counter-clockwise polygon. `count` copies go into one kit.
    """

    id: str
    outline: Polygon | ArrayLike
    fabric: str  # Fabric.id
    count: int = 1
    label: str = ""

    def __post_init__(self) -> None:
        """Refuse an outline that cannot be cut, or a count that is none."""
        object.__setattr__(self, "outline", sound_polygon(f"Piece '{self.id}'", self.outline))
        if not 1 <= self.count <= MOST_COPIES:
            raise InputError(
                f"Piece '{self.id}': count is {self.count}.", f"Enter 1 to {MOST_COPIES}."
            )

    @property
    def polygon(self) -> Polygon:
        """The cut outline as a polygon."""
        if not isinstance(self.outline, Polygon):
            raise TypeError("the constructor makes a polygon of every outline")
        return self.outline


def check_pieces(pieces: Iterable[NestPiece], fabric: str) -> tuple[NestPiece, ...]:
    """Return the pieces, all of one cloth and each under its own name.

    Raises
    ------
    InputError : no piece, a piece listed twice, a piece of another cloth
    """
    checked = tuple(pieces)
    if not checked:
        raise InputError(f"There is no piece of cloth '{fabric}' to nest.", "Add a ply of it.")
    seen: set[str] = set()
    for piece in checked:
        if piece.id in seen:
            raise InputError(
                f"Piece '{piece.id}' is listed twice.",
                "List it once, with the number of copies as its count.",
            )
        seen.add(piece.id)
        if piece.fabric != fabric:
            raise InputError(
                f"Piece '{piece.id}' is of cloth '{piece.fabric}', the nest of '{fabric}'.",
                "Nest each cloth by itself.",
            )
    return checked
