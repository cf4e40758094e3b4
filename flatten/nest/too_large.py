"""Pieces that no turn brings onto the cloth: named, with the best turn and what is too much."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shapely.affinity import affine_transform

from ..cloth.fabric import Fabric
from ..finding import Finding
from .geometry import laid
from .piece import NestPiece
from .roll import Roll, Stock
from .shelf import FIT_MM
from .turns import allowed_turns, flush_turns


@dataclass(frozen=True, slots=True, kw_only=True)
class TooLarge:
    """A piece that fits on no roll, as it lies best on the roll that comes nearest.

    `cut_y_mm`: in the piece's own frame turned by `turn_deg`, the lines along which it would
    have to be parted so that each strip fits the width; empty where its length is too much.
    """

    piece: str
    roll: str
    turn_deg: float
    excess_mm: float
    across: bool  # True: too wide for the roll; False: too long for what is left on it
    size_mm: tuple[float, float]  # along and across the roll, at that turn
    cut_y_mm: tuple[float, ...] = ()

    def finding(self) -> Finding:
        """Return it as a finding that stops the cutting files."""
        way = "wider than" if self.across else "longer than what is left on"
        turned = f" even turned by {self.turn_deg:g}°" if self.turn_deg else ""
        return Finding(
            code="piece_too_large",
            severity="stop",
            message=(
                f"Piece '{self.piece}' is {self.excess_mm:.0f} mm {way} roll '{self.roll}'{turned}."
            ),
            hint=(
                "Part it with a splice, or use a wider roll."
                if self.across
                else "Use a longer roll, or part it with a splice."
            ),
        )


def too_large(
    pieces: Iterable[NestPiece], fabric: Fabric, stock: Stock, *, turn_tolerance_deg: float = 0.0
) -> list[TooLarge]:
    """Return the pieces that fit on no roll of the stock (offcuts are not counted on)."""
    rolls = stock.of(fabric.id).rolls
    turns = allowed_turns(fabric, turn_tolerance_deg)
    found = []
    for piece in pieces:
        if rolls and piece.fabric == fabric.id:
            angles = turns.to_try() or (0.0, 90.0, *flush_turns(piece.polygon))
            worst = _nearest(piece, rolls, angles)
            if worst is not None:
                found.append(worst)
    return found


def _nearest(piece: NestPiece, rolls: Sequence[Roll], angles: Sequence[float]) -> TooLarge | None:
    """Return the least excess over all rolls and turns, None where the piece fits somewhere."""
    best: TooLarge | None = None
    for angle in angles:
        x0, y0, x1, y1 = affine_transform(piece.polygon, laid(0, 0, angle)).bounds
        for roll in rolls:
            wide = y1 - y0 - roll.usable_width_mm
            long = -1.0 if roll.length_mm is None else x1 - x0 - roll.length_mm
            if max(wide, long) <= FIT_MM:
                return None
            if best is None or max(wide, long) < best.excess_mm - FIT_MM:
                best = TooLarge(
                    piece=piece.id,
                    roll=roll.id,
                    turn_deg=angle,
                    excess_mm=max(wide, long),
                    across=wide >= long,
                    size_mm=(x1 - x0, y1 - y0),
                    cut_y_mm=_even_cuts(y0, y1, roll.usable_width_mm) if wide > FIT_MM else (),
                )
    return best


def _even_cuts(low: float, high: float, width: float) -> tuple[float, ...]:
    """Return the lines that part low..high into the fewest equal strips no wider than `width`."""
    strips = int(-(-(high - low) // width))
    return tuple(low + (high - low) * i / strips for i in range(1, strips))
