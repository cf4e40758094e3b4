"""What if: the same pieces on other roll widths and for more kits, side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..cloth.fabric import Fabric
from ..errors import InputError
from ..progress import Progress, part_of, silent
from .clock import Stop, never
from .nest import nest
from .piece import NestPiece, check_pieces
from .roll import Roll, Stock
from .settings import NestSettings
from .too_large import too_large

USUAL_WIDTHS_MM = (1000.0, 1250.0, 1270.0, 1500.0)  # common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """One row: a roll width and a number of kits. No figures where a piece is too wide."""

    width_mm: float
    kits: int
    too_wide: tuple[str, ...] = ()  # pieces that do not fit
    length_mm: float | None = None
    cloth_m2: float | None = None
    waste_share: float | None = None  # of the cloth, offcuts worth keeping not counted as waste
    cost: float | None = None  # None also where the width has no price


def what_if(
    pieces: Iterable[NestPiece],
    fabric: Fabric,
    settings: NestSettings,
    *,
    widths_mm: Sequence[float] = USUAL_WIDTHS_MM,
    kits: Sequence[int] = (1,),
    prices_per_m: Mapping[float, float] | None = None,
    selvedge_mm: float = 10.0,
    progress: Progress = silent,
    stop: Stop = never,
) -> list[WhatIf]:
    """Return a row for every width and number of kits, from endless rolls without offcuts.

    `settings.seconds` is the time of each row; mirrored kits come along with every number of
    kits as the settings have them. Once `stop` says True the rows still open get the simple
    layout.

    Raises
    ------
    InputError : no width, no number of kits, or what `nest` refuses
    """
    ordered = check_pieces(pieces, fabric.id)
    cases = [(float(width), number) for width in widths_mm for number in kits]
    if not cases:
        raise InputError("There is nothing to compare.", "Give a roll width and a kit count.")
    rows = []
    for number, (width, count) in enumerate(cases):
        price = (prices_per_m or {}).get(width)
        shelf = Stock(
            rolls=(
                Roll(
                    id=f"{width:g} mm",
                    fabric=fabric.id,
                    width_mm=width,
                    selvedge_mm=selvedge_mm,
                    price_per_m=price or 0.0,
                ),
            )
        )
        asked = replace(settings, kits=count, seconds=0 if stop() else settings.seconds)
        part = part_of(progress, number / len(cases), (number + 1) / len(cases))
        rows.append(_row(ordered, fabric, shelf, asked, part, stop, priced=price is not None))
    return rows


def _row(
    pieces: Sequence[NestPiece],
    fabric: Fabric,
    shelf: Stock,
    settings: NestSettings,
    progress: Progress,
    stop: Stop,
    *,
    priced: bool,
) -> WhatIf:
    width = shelf.rolls[0].width_mm
    large = too_large(pieces, fabric, shelf, turn_tolerance_deg=settings.turn_tolerance_deg)
    if large:
        names = tuple(found.piece for found in large)
        return WhatIf(width_mm=width, kits=settings.kits, too_wide=names)
    account = nest(pieces, fabric, shelf, settings, progress=progress, stop=stop).account
    return WhatIf(
        width_mm=width,
        kits=settings.kits,
        length_mm=account.roll_length_mm,
        cloth_m2=account.cloth_mm2 / 1e6,
        waste_share=account.waste_mm2 / account.cloth_mm2,
        cost=account.cost if priced else None,
    )
