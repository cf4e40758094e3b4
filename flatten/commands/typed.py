"""Lengths as people type them at the command line: 300, '12 in', '1.27 m'."""

from __future__ import annotations

import argparse

from ..errors import InputError
from ..units import parse_length_mm

MM_OR_UNIT = ", in mm or with a unit such as '8 in'"  # ends an option's help


def length_mm(text: str) -> float:
    """Return mm; an argparse type, whose refusal argparse prints beside the option's name."""
    try:
        return parse_length_mm(text)
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def lengths_mm(option: str, text: str) -> list[float]:
    """Return mm from lengths with commas between them: '50 in,1.27 m,1000'.

    Raises
    ------
    InputError : naming the option and what stands there
    """
    return [parse_length_mm(word, field=option) for word in text.split(",")]
