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
STEPS = 1025  # of the scale: finer than the 256 a screen shows; its stops fall on steps
UNKNOWN = (0.30, 0.30, 0.30)  # no value here


def colours_of(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Return (n, 4) sRGB for values between `low` and `high`; grey where there is none."""
    import numpy as np

    place = np.clip((values - low) / max(high - low, 1e-12), 0, 1) * (STEPS - 1)
    known = np.isfinite(values)
    shades = _steps()[np.where(known, place, 0).round().astype(np.intp)]
    shades[~known, :3] = UNKNOWN
    return shades


def _steps() -> np.ndarray:
    """Return (STEPS, 4) the scale in even steps."""
    import numpy as np

    scale = np.array(SCALE)
    place = np.linspace(0, len(scale) - 1, STEPS)
    channels = [np.interp(place, np.arange(len(scale)), scale[:, c]) for c in range(3)]
    return np.column_stack([*channels, np.ones(STEPS)])
