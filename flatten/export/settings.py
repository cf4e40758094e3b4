"""Which files are written, and how: what differs between cutters, not between parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSettings:
    """The cutter files, and the engraved mould. Lengths in mm."""

    dxf: Literal["R2010", "R12"] = "R2010"
    one_file_per_piece: bool = False  # besides the file of all pieces
    only_cut_lines: bool = False  # nothing but what a knife follows
    text_as_strokes: bool = False  # for machines that draw no text
    arcs: bool = False  # arcs where chords lie on one circle
    engrave: bool = False  # a copy of the mould with ply outlines and tack points as grooves
    groove_depth_mm: float = 0.4
    groove_width_mm: float = 0.8

    def __post_init__(self) -> None:
        """Refuse grooves that cannot be printed."""
        if not 0 < self.groove_width_mm <= 20:
            raise InputError(
                f"Files: groove_width_mm is {self.groove_width_mm}.", "Enter more than 0, up to 20."
            )
        if not 0 < self.groove_depth_mm <= self.groove_width_mm:
            raise InputError(
                f"Files: groove_depth_mm is {self.groove_depth_mm}.",
                "Enter more than 0, and no more than the groove's width.",
            )
