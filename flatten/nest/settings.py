"""How the user wants the cloth laid out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class NestSettings:
    """Lengths in mm. Defaults are common practice, no source.

    `keep_offcut_mm`: the least width (across the roll) and length (along it) of a rectangle
    worth keeping. `chunk`: pieces searched together where there are more than 150.
    """

    gap_mm: float = 3.0  # between pieces: fray and the width of the cut
    turn_tolerance_deg: float = 0.0  # how far off the warp a piece may lie to save cloth
    kits: int = 1
    mirrored_kits: int = 0  # of the other hand, besides `kits`
    common_edges: bool = False  # two pieces may share one cut along a straight edge
    turn_over: bool = False  # pieces may be cut from the back, where the cloth has no face side
    seconds: float = 10.0  # of search, for one cloth; 0: the simple layout
    seed: int = 1
    keep_offcut_mm: tuple[float, float] = (200.0, 300.0)
    chunk: int = 50
    processes: int = 2  # searched at once, where the nest is in chunks

    def __post_init__(self) -> None:
        """Refuse settings that cannot be cut."""
        self._need("gap_mm", 0 <= self.gap_mm < 1e4, "Enter zero or more.")
        self._need("turn_tolerance_deg", 0 <= self.turn_tolerance_deg <= 15, "Enter 0 to 15.")
        self._need("kits", 0 <= self.kits <= 10_000, "Enter one kit or more.")
        self._need("mirrored_kits", 0 <= self.mirrored_kits <= 10_000, "Enter zero or more.")
        if self.kits + self.mirrored_kits < 1:
            raise InputError("The nest is of 0 kits.", "Enter one kit or more.")
        self._need("seconds", 0 <= self.seconds <= 86_400, "Enter 0 to 86400 seconds.")
        self._need("seed", 0 <= self.seed < 2**31, "Enter a whole number from 0.")
        fine = all(math.isfinite(side) and side > 0 for side in self.keep_offcut_mm)
        self._need("keep_offcut_mm", fine, "Enter a width and a length above zero.")
        self._need("chunk", 5 <= self.chunk <= 1000, "Enter 5 to 1000 pieces.")
        self._need("processes", 1 <= self.processes <= 64, "Enter 1 to 64.")

    def _need(self, field: str, fine: bool, hint: str) -> None:
        if not fine:
            raise InputError(f"Nest: {field} is {getattr(self, field)}.", hint)
