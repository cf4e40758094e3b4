"""Units people type and read: inch, metre, oz/yd2 and the like, to and from mm, g/m2, g, °C.

Inside, everything is mm, g/m2, g and °C; this file and the Blender bridge convert, nothing else
does. The inch, the pound and the degree Fahrenheit are exact by definition. Source: NIST Special
Publication 811 (2008), appendix B.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from .errors import InputError

MM_PER_INCH = 25.4
MM_PER_FOOT = 12 * MM_PER_INCH
MM_PER_YARD = 36 * MM_PER_INCH
G_PER_POUND = 453.59237
G_PER_OUNCE = G_PER_POUND / 16
M2_PER_YD2 = (MM_PER_YARD / 1000) ** 2
POINTS_PER_INCH = 72.0  # of a PDF

LENGTHS: Mapping[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "ft": MM_PER_FOOT,
    "yd": MM_PER_YARD,
}
AREAS: Mapping[str, float] = {
    "mm2": 1.0,
    "cm2": 100.0,
    "m2": 1e6,
    "in2": MM_PER_INCH**2,
    "ft2": MM_PER_FOOT**2,
    "yd2": MM_PER_YARD**2,
}
AREAL_WEIGHTS: Mapping[str, float] = {
    "g/m2": 1.0,
    "oz/yd2": G_PER_OUNCE / M2_PER_YD2,
    "oz/ft2": 9 * G_PER_OUNCE / M2_PER_YD2,
}
MASSES: Mapping[str, float] = {
    "g": 1.0,
    "kg": 1000.0,
    "oz": G_PER_OUNCE,
    "lb": G_PER_POUND,
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
    "gsm": "g/m2",
    "lbs": "lb",
}
DIGITS: Mapping[str, int] = {"mm": 1, "cm": 2, "m": 3, "in": 3, "ft": 3, "yd": 3, "g/m2": 0}

# "12", "1.5", "3/8", "1 1/2", "1e3"; the unit is what follows
_NUMBER = re.compile(
    r"([+-]?)(?:(\d{1,12})[ -]+)?(\d{1,12})/(\d{1,12})|([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)",
    re.IGNORECASE,
)


def parse_length_mm(text: str, *, field: str = "Length", unit: str = "mm") -> float:
    """Return mm from '10 in', '3/8"', '1 1/2 in', '0.5 m', or a bare number in `unit`.

    Raises
    ------
    InputError : not a number and a length unit; a decimal comma, which could mean thousands
    """
    return _parse(text, LENGTHS, field, unit)


def parse_areal_weight_gsm(text: str, *, field: str = "Areal weight", unit: str = "g/m2") -> float:
    """Return g/m2 from '6 oz/yd2', '210 gsm', or a bare number in `unit`."""
    return _parse(text, AREAL_WEIGHTS, field, unit)


def parse_area_mm2(text: str, *, field: str = "Area", unit: str = "m2") -> float:
    """Return mm2 from '1.2 m2', '3 ft2', or a bare number in `unit`."""
    return _parse(text, AREAS, field, unit)


def parse_mass_g(text: str, *, field: str = "Weight", unit: str = "g") -> float:
    """Return grams from '2 lb', '8 oz', '1.5 kg', or a bare number in `unit`."""
    return _parse(text, MASSES, field, unit)


def show(value: float, unit: str, *, digits: int | None = None) -> str:
    """Return a value (mm, mm2, g/m2 or g) as text in `unit`, rounded to `digits` decimals.

    Raises
    ------
    InputError : a unit not known here
    """
    unit = _spelled(unit)
    for units in (LENGTHS, AREAS, AREAL_WEIGHTS, MASSES):
        if unit in units:
            places = DIGITS.get(unit, 2) if digits is None else digits
            return f"{value / units[unit]:.{places}f} {unit.replace('2', '²')}"
    raise InputError(f"Unit '{unit[:20]}' is not known.", "Use mm, m, in, g/m2, oz/yd2, g or lb.")


def show_angle(angle_deg: float) -> str:
    """Return a fibre angle as the trade writes it: '+45°', '0°', '90°'."""
    return f"{angle_deg:+g}°" if angle_deg % 90 else f"{angle_deg:g}°"


def celsius(fahrenheit: float) -> float:
    """Return degrees Celsius from degrees Fahrenheit."""
    return (fahrenheit - 32) / 1.8


def _parse(text: str, units: Mapping[str, float], field: str, unit: str) -> float:
    hint = f"Write a number and one of {', '.join(units)}, for example '10 {unit}'."
    if not isinstance(text, str):
        raise InputError(f"{field} is {text!r:.60}, not a text.", hint)
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
    name = _spelled(rest or unit)
    if name not in units:
        raise InputError(f"{field} is '{line[:60]}'; '{rest[:20]}' is not its unit.", hint)
    return value * units[name]


def _value(found: re.Match[str]) -> float | None:
    sign, whole, top, bottom, plain = found.groups()
    if plain is not None:
        return float(plain)
    if int(bottom) == 0:
        return None
    size = int(whole or 0) + int(top) / int(bottom)
    return -size if sign == "-" else size


def _spelled(unit: str) -> str:
    """Return the unit as the tables spell it: lower case, figures for superscripts."""
    name = unit.strip().lower().replace("²", "2").replace("^", "").replace(" ", "")
    return OTHER_SPELLINGS.get(name, name)


def percent(share: float) -> str:
    """Return a share 0..1 in per cent for people: "13 %", "4.2 %", "under 0.1 %"."""
    value = 100 * share
    if 0 < value < 0.1:
        return "under 0.1 %"
    return f"{value:.0f} %" if value >= 9.95 or value == 0 else f"{value:.2g} %"


def span_mm(low: float, high: float) -> str:
    """Return a thickness for people, as a range where it differs by a tenth: "1.31 mm"."""
    return f"{high:.2f} mm" if high - low < 0.1 else f"{low:.1f}-{high:.1f} mm"
