"""Where the cloth goes: pieces, offcuts worth keeping, waste; and what it costs."""

from __future__ import annotations

from collections.abc import Sequence

from .layout import Account, Sheet
from .piece import NestPiece
from .roll import Stock


def account(sheets: Sequence[Sheet], pieces: Sequence[NestPiece], stock: Stock) -> Account:
    """Return the account of the sheets: areas in mm2, selvedges counted in as cloth used."""
    areas = {piece.id: piece.polygon.area for piece in pieces}
    prices = {roll.id: roll.price_per_m for roll in stock.rolls}
    length = sum(sheet.used_length_mm for sheet in sheets)
    cost = sum(
        sheet.used_length_mm / 1000 * prices[sheet.stock_id]
        for sheet in sheets
        if sheet.kind == "roll"
    )
    return Account(
        cloth_mm2=sum(sheet.area_mm2 for sheet in sheets),
        pieces_mm2=sum(areas[p.piece] for sheet in sheets for p in sheet.placements),
        kept_mm2=sum((x1 - x0) * (y1 - y0) for sheet in sheets for _, x0, y0, x1, y1 in sheet.kept),
        roll_length_mm=length,
        cost=cost,
    )
