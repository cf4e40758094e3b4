"""The nest, in one line: parts, a simple layout at once, then the search; checked, accounted."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence

from ..cloth.fabric import Fabric
from ..errors import InputError, SolveError
from ..progress import Progress, silent
from ..records import to_plain
from .account import account
from .check import check_nest
from .layout import Method, Nest
from .part import Part, parts_of
from .piece import NestPiece, check_pieces
from .plan import Plan, cloth_taken, roll_bin, sheets_of
from .roll import Stock
from .settings import NestSettings
from .shelf import shelve
from .strips import improve
from .too_large import too_large

Stop = Callable[[], bool]


def never() -> bool:
    """Let the search have all its time."""
    return False


def nest(
    pieces: Iterable[NestPiece],
    fabric: Fabric,
    stock: Stock,
    settings: NestSettings,
    *,
    stored: Nest | None = None,
    progress: Progress = silent,
    stop: Stop = never,
) -> Nest:
    """Lay all pieces of one cloth on the stock, for all kits.

    A simple layout stands at once, the search improves on it for `settings.seconds`. With the
    inputs of a `stored` nest and no more effort asked than it has had, it is returned as it
    is; otherwise it is kept unless beaten. The search is cut off by time, so only a stored
    nest repeats itself.

    Parameters
    ----------
    pieces : outlines in mm, warp along +x; pieces of other cloths are refused
    stock : rolls in the order they are to be used; what is of other cloths is left alone
    stored : an earlier nest of these pieces
    progress : told the share of the time, the length and the density so far; if it raises
        Cancelled, the search ends and nothing is returned
    stop : asked some twenty times a second; once it says True the search ends within a second
        and the best layout so far is returned

    Raises
    ------
    InputError : nothing to nest, no roll, a gap wider than the roll, a piece no roll can take,
        not enough cloth
    SolveError : a layout failed the independent check (never seen; it would be our fault)
    """
    ordered = check_pieces(pieces, fabric.id)
    shelf = stock.of(fabric.id)
    _check_stock(ordered, fabric, shelf, settings)
    digest = nest_digest(ordered, fabric, shelf, settings)
    kept = _still_good(stored, ordered, fabric, shelf, settings)
    if kept is not None and kept.digest == digest and _had_effort(kept, settings):
        progress(1.0, "stored layout kept")
        return kept

    parts = parts_of(ordered, fabric, settings)
    plan = _simple_plan(parts, shelf, settings)
    simple = cloth_taken(parts, plan, settings.gap_mm)
    notes: tuple[str, ...] = ()
    if settings.seconds > 0:
        plan, notes = improve(parts, plan, settings, progress, stop)
    if plan.missing:
        raise _not_enough(plan, shelf)
    method: Method = "simple"
    if cloth_taken(parts, plan, settings.gap_mm) < simple:
        method = "searched"
    found = _finish(parts, plan, ordered, shelf, settings, (method, digest, notes, fabric))
    _prove(found, ordered, fabric, shelf, settings)
    if kept is not None and _taken(kept) <= _taken(found):
        return kept
    return found


def nest_digest(
    pieces: Sequence[NestPiece], fabric: Fabric, stock: Stock, settings: NestSettings
) -> str:
    """Return the fingerprint of all a layout depends on, but for the effort of the search."""
    effort = ("seconds", "seed", "chunk", "processes")
    plain = {
        "pieces": [
            [
                p.id,
                p.count,
                [list(ring.coords) for ring in (p.polygon.exterior, *p.polygon.interiors)],
            ]
            for p in pieces
        ],
        "fabric": to_plain(fabric),
        "stock": to_plain(stock),
        "settings": {k: v for k, v in to_plain(settings).items() if k not in effort},
    }
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def _check_stock(
    pieces: Sequence[NestPiece], fabric: Fabric, stock: Stock, settings: NestSettings
) -> None:
    if not stock.rolls:
        raise InputError(f"There is no roll of cloth '{fabric.id}'.", "Add one to the stock.")
    for roll in stock.rolls:
        if settings.gap_mm >= roll.usable_width_mm:
            raise InputError(
                f"Nest: gap_mm is {settings.gap_mm}, roll '{roll.id}' has "
                f"{roll.usable_width_mm:g} mm between its selvedges.",
                "Enter a smaller gap.",
            )
    large = too_large(pieces, fabric, stock, turn_tolerance_deg=settings.turn_tolerance_deg)
    if large:
        finding = large[0].finding()
        raise InputError(finding.message, finding.hint)


def _simple_plan(parts: Sequence[Part], stock: Stock, settings: NestSettings) -> Plan:
    left = [part.count for part in parts]
    bins = tuple(roll_bin(roll, settings.gap_mm) for roll in stock.rolls)
    laid = []
    for bin_ in bins:
        spots, left = shelve(parts, left, bin_.strip, settings.gap_mm)
        laid.append(tuple(spots))
    return Plan(bins, tuple(laid), sum(left))


def _finish(
    parts: Sequence[Part],
    plan: Plan,
    pieces: Sequence[NestPiece],
    stock: Stock,
    settings: NestSettings,
    facts: tuple[Method, str, tuple[str, ...], Fabric],
) -> Nest:
    method, digest, notes, fabric = facts
    counts = {piece.id: piece.count for piece in pieces}
    sheets = sheets_of(parts, plan, counts, settings)
    return Nest(
        fabric=fabric.id,
        sheets=sheets,
        account=account(sheets, pieces, stock),
        method=method,
        digest=digest,
        seconds=settings.seconds,
        seed=settings.seed,
        notes=notes,
    )


def _prove(
    found: Nest,
    pieces: Sequence[NestPiece],
    fabric: Fabric,
    stock: Stock,
    settings: NestSettings,
) -> None:
    faults = check_nest(found, pieces, fabric, stock, settings)
    if faults:
        raise SolveError(
            f"The layout of cloth '{fabric.id}' failed its check: {faults[0]}",
            "Please report this with the job folder; search with 0 seconds meanwhile.",
        )


def _still_good(
    stored: Nest | None,
    pieces: Sequence[NestPiece],
    fabric: Fabric,
    stock: Stock,
    settings: NestSettings,
) -> Nest | None:
    """Return the stored nest where it is sound for these inputs, None where it is not."""
    if stored is None or stored.fabric != fabric.id:
        return None
    return None if check_nest(stored, pieces, fabric, stock, settings) else stored


def _had_effort(stored: Nest, settings: NestSettings) -> bool:
    return stored.seconds >= settings.seconds and stored.seed == settings.seed


def _taken(found: Nest) -> tuple[float, float]:
    rolls = sum(sheet.area_mm2 for sheet in found.sheets if sheet.kind == "roll")
    return round(rolls, 1), round(found.account.cloth_mm2, 1)


def _not_enough(plan: Plan, stock: Stock) -> InputError:
    lengths = ", ".join(
        f"'{roll.id}' {roll.length_mm:g} mm" for roll in stock.rolls if roll.length_mm
    )
    return InputError(
        f"The stock is too short: {plan.missing} pieces find no place (rolls: {lengths}).",
        "Add a roll, or nest fewer kits.",
    )
