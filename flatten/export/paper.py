"""The paper templates are printed on, and the printer's own scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError

# ISO 216 and the US sizes, width x height in mm
SHEETS_MM = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
# PDF 1.7 reference, appendix C: a page side is at most 14 400 units of 1/72 inch.
LONGEST_PAGE_MM = 5080.0
# Printers miss the scale by a few per mille; "fit to page" misses it by 3 to 6 % (A4, Letter).
MOST_OFF = 0.02
SMALLEST_ROOM_MM = 110.0  # the check square and its names
FOOTER_MM = 13.0  # under the drawing: what the sheet is and how to print it

Orientation = Literal["auto", "portrait", "landscape"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperSettings:
    """Sheet and printer. Lengths in mm.

    `scale_x`, `scale_y`: the length a 100 mm bar has when this printer printed it, / 100, across
    and along the paper as it runs through the printer (the short and the long side of a sheet).
    """

    sheet: str = "A4"
    roll_width_mm: float | None = None  # a roll plotter instead of sheets
    margin_mm: float = 10.0  # what the printer cannot reach
    lap_mm: float = 10.0  # strip under the neighbouring sheet
    scale_x: float = 1.0  # printer calibration: printed length of 100 mm, / 100
    scale_y: float = 1.0
    most_sheets: int = 1000  # more is a slip of the finger: a boat's worth of plies is 350
    orientation: Orientation = "auto"  # auto: whichever needs fewer sheets

    def __post_init__(self) -> None:
        """Refuse a sheet nothing fits on."""
        if self.sheet not in SHEETS_MM:
            raise InputError(
                f"Paper: sheet is '{self.sheet}'.", f"Use one of {', '.join(SHEETS_MM)}."
            )
        if self.roll_width_mm is not None and not 150 <= self.roll_width_mm <= LONGEST_PAGE_MM:
            raise InputError(
                f"Paper: roll_width_mm is {self.roll_width_mm}.", "Enter 150 to 5080 mm."
            )
        for name, low, high in (("margin_mm", 0.0, 1e4), ("lap_mm", 3.0, 1e4)):
            value = getattr(self, name)
            if not low <= value <= high:
                raise InputError(f"Paper: {name} is {value}.", f"Enter {low:g} mm or more.")
        for axis in ("x", "y"):
            refuse_scale(axis, 100 * getattr(self, f"scale_{axis}"))
        if not 1 <= self.most_sheets <= 10_000:
            raise InputError(
                f"Paper: most_sheets is {self.most_sheets}.", "Enter 1 to 10000 sheets."
            )
        room = min(page.room_mm(0) for page in self.pages())
        room = min(room, *(page.room_mm(1) - self.lap_mm for page in self.pages()))
        if room - self.lap_mm < SMALLEST_ROOM_MM - 10:
            raise InputError(
                f"Paper: margins of {self.margin_mm:g} mm and laps of {self.lap_mm:g} mm leave "
                f"{max(room, 0):.0f} mm of the sheet.",
                "Enter smaller ones, or use larger paper.",
            )

    def pages(self) -> tuple[PageSize, ...]:
        """Return the page as it may lie: upright and lengthwise, or the roll."""
        if self.roll_width_mm is not None:
            return (self._page(self.roll_width_mm, LONGEST_PAGE_MM, False),)
        width, height = SHEETS_MM[self.sheet]
        upright = self._page(width, height, False)
        lengthwise = self._page(height, width, True)
        choice = {"portrait": (upright,), "landscape": (lengthwise,)}
        return choice.get(self.orientation, (upright, lengthwise))

    def _page(self, width: float, height: float, turned: bool) -> PageSize:
        scale = (self.scale_y, self.scale_x) if turned else (self.scale_x, self.scale_y)
        return PageSize(width, height, self.margin_mm, *scale)


@dataclass(frozen=True, slots=True)
class PageSize:
    """One page: paper size and margin as the file counts them, and the printer's scale on it."""

    width_mm: float
    height_mm: float
    margin_mm: float
    scale_x: float
    scale_y: float

    def room_mm(self, axis: int) -> float:
        """Return the room for the drawing in true mm; a printer that shrinks reaches less far."""
        if axis == 0:
            return (self.width_mm - 2 * self.margin_mm) * min(1.0, self.scale_x)
        return (self.height_mm - 2 * self.margin_mm) * min(1.0, self.scale_y) - FOOTER_MM


def refuse_scale(axis: str, measured_mm: float) -> None:
    """Refuse a measured 100 mm square no honest printer prints.

    Raises
    ------
    InputError : more than 2 % off, or no number
    """
    if not abs(measured_mm / 100 - 1) <= MOST_OFF + 1e-9:  # also for NaN
        raise InputError(
            f"The 100 mm square measures {measured_mm:g} mm in {axis}: the printer is fitting "
            "to the page.",
            "Print at 100 % (actual size, no fitting), then measure again.",
        )
