"""What is added to a net outline before it is cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Dressing:
    """Allowances and marks. Lengths in mm. Defaults are common practice, no source."""

    trim_mm: float = 15.0  # past the part's edge, where the ply names none of its own
    corner: Literal["mitre", "round"] = "round"
    trim_on_mould: bool = True  # the allowance is draped over the neighbouring faces first
    notch_every_mm: float = 100.0
    notch_style: Literal["mark", "tab"] = "mark"
    notch_length_mm: float = 6.0
    text_mm: float = 8.0
    smooth_mm: float = 0.05
    relieve: bool = True  # slit the trim, never the net, at tight concave curves
    patch_gaps: bool = True  # cut a patch where a dart opens on the mould and no lap covers it

    def __post_init__(self) -> None:
        """Refuse what cannot be cut."""
        for field in ("trim_mm", "notch_every_mm", "notch_length_mm", "text_mm", "smooth_mm"):
            value = getattr(self, field)
            low = 0.0 if field in ("trim_mm", "smooth_mm") else 0.1
            if not low <= value <= 1e4:
                raise InputError(f"Allowances: {field} is {value}.", f"Enter {low:g} mm or more.")
