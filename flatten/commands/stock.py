"""`mouldply widths`: what each roll width and number of kits would cost in cloth."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from ..errors import InputError
from . import show
from .run import read_mould
from .typed import lengths_mm

SECONDS = 3.0  # of search for each row: enough to compare widths


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    widths = commands.add_parser("widths", help="compare roll widths and numbers of kits")
    widths.add_argument("mould", type=Path, help="a .blend file or a job folder")
    widths.add_argument(
        "--widths",
        metavar="MM,MM",
        help="roll widths, in mm or with units such as 50in,1.27m (default: the usual ones)",
    )
    widths.add_argument("--kits", default="1", metavar="N,N", help="numbers of kits (default: 1)")
    widths.add_argument("--json", action="store_true", help="print the rows as JSON")
    widths.add_argument("--progress", type=Path, metavar="FILE", help=argparse.SUPPRESS)
    widths.set_defaults(command=widths_command)


def widths_command(given: argparse.Namespace) -> int:
    """Drape, then nest every cloth for every width and number of kits."""
    from dataclasses import replace

    from ..nest.what_if import USUAL_WIDTHS_MM, what_if
    from ..progress import part_of
    from ..records import to_plain
    from ..run import nest_piece, run

    widths = lengths_mm("--widths", given.widths) if given.widths else list(USUAL_WIDTHS_MM)
    kits = _counts("--kits", given.kits)
    rows = {}
    with show.progress(given) as progress:
        job = read_mould(given.mould)
        patterns = run(job, progress=part_of(progress, 0.0, 0.3), upto="patterns").patterns
        used = [f for f in job.fabrics if any(p.fabric == f.id for p in patterns)]
        settings = replace(job.settings.nest, seconds=min(job.settings.nest.seconds, SECONDS))
        for number, fabric in enumerate(used):
            prices = {
                roll.width_mm: roll.price_per_m
                for roll in job.stock.of(fabric.id).rolls
                if roll.price_per_m > 0
            }
            rows[fabric.name] = what_if(
                [nest_piece(pattern) for pattern in patterns if pattern.fabric == fabric.id],
                fabric,
                settings,
                widths_mm=widths,
                kits=kits,
                prices_per_m=prices or None,
                progress=part_of(
                    progress, 0.3 + 0.7 * number / len(used), 0.3 + 0.7 * (number + 1) / len(used)
                ),
            )
    if given.json:
        print(json.dumps({name: to_plain(one) for name, one in rows.items()}, indent=1))
    else:
        show.tell_widths(rows)
    return 0


def _counts(option: str, text: str) -> list[int]:
    counts = numbers(option, text)
    if not all(count.is_integer() for count in counts):
        raise InputError(f"{option} is '{text}'.", "Write whole numbers with commas: 1,2,5.")
    return [int(count) for count in counts]


def numbers(option: str, text: str) -> list[float]:
    """Return comma-separated numbers.

    Raises
    ------
    InputError : naming the option and what stands there
    """
    try:
        return [float(word) for word in text.split(",")]
    except ValueError:
        raise InputError(f"{option} is '{text}'.", "Write numbers with commas: 0,45,0.") from None
