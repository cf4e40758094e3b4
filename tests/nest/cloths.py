"""Cloths, pieces and stock that the nest tests share."""

import numpy as np

from flatten.cloth.fabric import Fabric
from flatten.nest.piece import NestPiece
from flatten.nest.roll import Roll, Stock
from flatten.nest.settings import NestSettings


def cloth(kind="unidirectional", **changes):
    values = {
        "id": "cloth",
        "name": "cloth",
        "kind": kind,
        "areal_weight_gsm": 200,
        "fibre_density_g_cm3": 1.8,
        "dry_thickness_mm": 0.25,
        "roll_width_mm": 1000,
        "shear_lock_deg": None if kind in ("mat", "film") else 45,
    }
    return Fabric(**{**values, **changes})


def rectangle(length, width, x=0.0, y=0.0):
    return [(x, y), (x + length, y), (x + length, y + width), (x, y + width)]


def piece(name, outline, count=1):
    return NestPiece(id=name, outline=outline, fabric="cloth", count=count)


def roll(width=1000.0, length=None, selvedge=0.0, **more):
    return Roll(
        id=more.pop("id", "roll"),
        fabric="cloth",
        width_mm=width,
        length_mm=length,
        selvedge_mm=selvedge,
        **more,
    )


def stock(*rolls, offcuts=()):
    return Stock(rolls=rolls or (roll(),), offcuts=offcuts)


def simple(**changes):
    """Settings without a search: the same layout every time."""
    return NestSettings(**{"seconds": 0, "gap_mm": 0, **changes})


def searched(seconds=1.0, **changes):
    return NestSettings(**{"seconds": seconds, "gap_mm": 3, **changes})


def blob(seed, radius=120.0, points=60):
    """Return a smooth, not convex outline."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    wave = sum(0.2 / k * np.cos(k * angle + rng.uniform(0, 6)) for k in (1, 2, 3, 4))
    size = radius * (1 + wave)
    return np.column_stack([size * np.cos(angle), 0.7 * size * np.sin(angle)])
