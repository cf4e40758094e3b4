"""What offcuts, holes, flaws and common edges do to the roll length, against the same nest without.

    python tests/bench/nest_stock.py [offcuts|odd|holes|flaws|edges ...] --seconds 10

Written as JSON. Compare only within one run: times depend on the machine.
"""

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from shapely import Polygon

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from nest_density import CLOTH  # noqa: E402
from nest_shapes import ply_pieces  # noqa: E402

from flatten.nest.layout import Nest  # noqa: E402
from flatten.nest.nest import nest  # noqa: E402
from flatten.nest.piece import NestPiece  # noqa: E402
from flatten.nest.roll import Defect, Offcut, Roll, Stock  # noqa: E402
from flatten.nest.settings import NestSettings  # noqa: E402

ROLL = Roll(id="roll", fabric="cloth", width_mm=1250)
ENDLESS = Stock(rolls=(ROLL,))
BOXES = [
    np.array([(0.0, 0), (1, 0), (1, 1), (0, 1)]) * size
    for size in [(900, 700), (1200, 400), (600, 600), (500, 300)]
]
ODD = [
    np.array(outline, float)
    for outline in (
        [(0, 0), (1100, 0), (1100, 300), (500, 300), (500, 800), (0, 800)],  # an L
        [(0, 0), (900, 0), (900, 250), (450, 700), (0, 700)],  # cut slantwise
        [(0, 0), (1200, 120), (1150, 520), (600, 600), (80, 430)],
    )
]
FLAWS = ([(900, 400, 40)], [(900, 600, 40), (2000, 200, 60)])


def offcuts(seconds: float, outlines: list[np.ndarray]) -> dict:
    """Return the roll length with and without some offcuts, and how full they get."""
    pieces = ply_pieces(40)
    shelf = Stock(
        rolls=ENDLESS.rolls,
        offcuts=tuple(
            Offcut(id=f"offcut {number}", fabric="cloth", outline=outline)
            for number, outline in enumerate(outlines)
        ),
    )
    without, found = (
        nest(pieces, CLOTH, stock, NestSettings(seconds=seconds)) for stock in (ENDLESS, shelf)
    )
    areas = {piece.id: piece.polygon.area for piece in pieces}
    sheets = [sheet for sheet in found.sheets if sheet.kind == "offcut"]
    placed = sum(areas[place.piece] for sheet in sheets for place in sheet.placements)
    offered = sum(Polygon(outline).area for outline in outlines)
    return {
        "roll_without_mm": round(without.used_length_mm),
        "roll_with_mm": round(found.used_length_mm),
        "roll_saved_m2": round((without.used_length_mm - found.used_length_mm) * 1.25e-3, 3),
        "placed_in_offcuts_m2": round(placed / 1e6, 3),
        "offcuts_filled_percent": round(100 * placed / offered, 1),
    }


def holes(seconds: float) -> dict:
    """Return the roll length with frames whose holes are used, and with the same frames closed."""
    small = ply_pieces(40)[::2]
    frame = np.array([(0.0, 0), (700, 0), (700, 500), (0, 500)])
    opening = 60 + frame * [580 / 700, 380 / 500]
    open_frame = NestPiece(id="frame", outline=Polygon(frame, [opening]), fabric="cloth", count=4)
    closed = NestPiece(id="frame", outline=Polygon(frame), fabric="cloth", count=4)
    settings = NestSettings(seconds=seconds)
    used, unused = (nest([f, *small], CLOTH, ENDLESS, settings) for f in (open_frame, closed))
    return _lengths("holes_used", used, "holes_closed", unused)


def flaws(seconds: float) -> dict:
    """Return the roll length with flaws on the roll, and on the same roll without."""
    pieces, settings = ply_pieces(30), NestSettings(seconds=seconds)
    plain, rows = nest(pieces, CLOTH, ENDLESS, settings), {}
    for places in FLAWS:
        marks = tuple(Defect(x_mm=x, y_mm=y, radius_mm=r) for x, y, r in places)
        found = nest(pieces, CLOTH, Stock(rolls=(replace(ROLL, defects=marks),)), settings)
        rows[f"{len(places)} flaws"] = _lengths("flaws", found, "none", plain)
    return rows


def edges(seconds: float) -> dict:
    """Return the roll length of slats with common edges, at a gap of 15 mm, and apart."""
    sizes = [(600, 80), (600, 120), (400, 150), (400, 90), (250, 250)]
    corners = np.array([(0.0, 0), (1, 0), (1, 1), (0, 1)])
    pieces = [
        NestPiece(id=f"panel {a} x {b}", outline=corners * (a, b), fabric="cloth", count=6)
        for a, b in sizes
    ]
    settings = NestSettings(seconds=seconds, gap_mm=15)
    shared, apart = (
        nest(pieces, CLOTH, ENDLESS, replace(settings, common_edges=common))
        for common in (True, False)
    )
    return _lengths("common_edges", shared, "apart", apart)


def _lengths(name: str, one: Nest, other_name: str, other: Nest) -> dict:
    share = 100 * (one.used_length_mm / other.used_length_mm - 1)
    return {
        f"{name}_mm": round(one.used_length_mm),
        f"{other_name}_mm": round(other.used_length_mm),
        "more_percent": round(share, 2),
    }


def main() -> None:
    """Run what is asked for and write the figures beside each other."""
    reader = argparse.ArgumentParser(description=__doc__)
    every = {
        "offcuts": lambda seconds: offcuts(seconds, BOXES),
        "odd": lambda seconds: offcuts(seconds, ODD),
        "holes": holes,
        "flaws": flaws,
        "edges": edges,
    }
    reader.add_argument("what", nargs="*", default=list(every))
    reader.add_argument("--seconds", type=float, default=10)
    asked = reader.parse_args()
    result = {}
    for name in asked.what:
        result[name] = every[name](asked.seconds)
        print(name, result[name], flush=True)
    print(json.dumps(result, indent=1))


if __name__ == "__main__":
    main()
