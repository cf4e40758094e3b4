"""The paper templates are printed on."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import InputError

# ISO 216 and the US sizes, width x height in mm
SHEETS_MM = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperSettings:
    """Sheet and printer. Lengths in mm."""

    sheet: str = "A4"
    roll_width_mm: float | None = None  # a roll plotter instead of sheets
    margin_mm: float = 10.0  # what the printer cannot reach
    lap_mm: float = 10.0  # strip under the neighbouring sheet
    scale_x: float = 1.0  # printer calibration: printed length of 100 mm, / 100
    scale_y: float = 1.0
    most_sheets: int = 200

    def __post_init__(self) -> None:
        """Refuse a sheet nothing fits on."""
        if self.sheet not in SHEETS_MM:
            raise InputError(
                f"Paper: sheet is '{self.sheet}'.", f"Use one of {', '.join(SHEETS_MM)}."
            )
