"""One scale of colours for every map: even to the eye, and readable without telling red from green.

Dark blue through grey to yellow, its lightness rising evenly; what lies beyond a limit is drawn
round with a line, never told by colour alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

# A straight line through CIELAB from (20, 12, -38) to (91.5, -6, 74), in equal steps; sRGB 0..1.
SCALE = (
    (0.015, 0.180, 0.410),
    (0.241, 0.256, 0.413),
    (0.369, 0.338, 0.414),
    (0.483, 0.425, 0.411),
    (0.592, 0.515, 0.405),
    (0.700, 0.610, 0.393),
    (0.807, 0.707, 0.376),
    (0.915, 0.807, 0.350),
    (1.000, 0.909, 0.313),
)
UNKNOWN = (0.30, 0.30, 0.30)  # no value here


def colours_of(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Return (n, 4) sRGB for values between `low` and `high`; grey where there is none."""
    import numpy as np

    scale = np.array(SCALE)
    place = np.clip((values - low) / max(high - low, 1e-12), 0, 1) * (len(scale) - 1)
    known = np.isfinite(values)
    place = np.where(known, place, 0)
    colours = np.column_stack(
        [np.interp(place, np.arange(len(scale)), scale[:, channel]) for channel in range(3)]
    )
    colours[~known] = UNKNOWN
    return np.column_stack([colours, np.ones(len(colours))])
