"""Lengths people type, and numbers as people read them.

Inside, everything is mm and degrees; this file and the Blender bridge convert, nothing else
does. The inch is exact by definition. Source: NIST Special Publication 811 (2008), appendix B.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from .errors import InputError

MM_PER_INCH = 25.4
MM_PER_FOOT = 12 * MM_PER_INCH
MM_PER_YARD = 36 * MM_PER_INCH
POINTS_PER_INCH = 72.0  # of a PDF

LENGTHS: Mapping[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "ft": MM_PER_FOOT,
    "yd": MM_PER_YARD,
}
OTHER_SPELLINGS: Mapping[str, str] = {
    '"': "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "foot": "ft",
    "feet": "ft",
    "yard": "yd",
    "yards": "yd",
    "metre": "m",
    "metres": "m",
}

# "12", "1.5", "3/8", "1 1/2", "1e3"; the unit is what follows
_NUMBER = re.compile(
    r"([+-]?)(?:(\d{1,12})[ -]+)?(\d{1,12})/(\d{1,12})|([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)",
    re.IGNORECASE,
)


def parse_length_mm(text: str, *, field: str = "Length") -> float:
    """Return mm from '10 in', '3/8"', '1 1/2 in', '0.5 m', or a bare number of mm.

    Raises
    ------
    InputError : not a number and a length unit; a decimal comma, which could mean thousands
    """
    hint = f"Write a number and one of {', '.join(LENGTHS)}, for example '10 mm'."
    line = text.strip()
    found = _NUMBER.match(line)
    if found is None:
        raise InputError(f"{field} is '{line[:60]}', which does not start with a number.", hint)
    value = _value(found)
    if value is None or not math.isfinite(value):
        raise InputError(f"{field} is '{line[:60]}', which is no number.", hint)
    rest = line[found.end() :].strip()
    if rest.startswith(","):
        raise InputError(
            f"{field} is '{line[:60]}'; a comma may mean tenths or thousands.",
            "Write a decimal point and no thousands mark.",
        )
    name = rest.lower() or "mm"
    name = OTHER_SPELLINGS.get(name, name)
    if name not in LENGTHS:
        raise InputError(f"{field} is '{line[:60]}'; '{rest[:20]}' is not its unit.", hint)
    return value * LENGTHS[name]


def _value(found: re.Match[str]) -> float | None:
    sign, whole, top, bottom, plain = found.groups()
    if plain is not None:
        return float(plain)
    if int(bottom) == 0:
        return None
    size = int(whole or 0) + int(top) / int(bottom)
    return -size if sign == "-" else size


def show_angle(angle_deg: float) -> str:
    """Return a fibre angle as the trade writes it: '+45°', '0°', '90°'."""
    return f"{angle_deg:+g}°" if angle_deg % 90 else f"{angle_deg:g}°"


def percent(share: float) -> str:
    """Return a share 0..1 in per cent for people: "13 %", "4.2 %", "under 0.1 %"."""
    value = 100 * share
    if 0 < value < 0.1:
        return "under 0.1 %"
    return f"{value:.0f} %" if value >= 9.95 or value == 0 else f"{value:.2g} %"


def span_mm(low: float, high: float) -> str:
    """Return a thickness for people, as a range where it differs by a tenth: "1.31 mm"."""
    return f"{high:.2f} mm" if high - low < 0.1 else f"{low:.1f}-{high:.1f} mm"
