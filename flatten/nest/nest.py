"""The nest, in one line: parts, a simple layout at once, then the search; checked, accounted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from shapely import Polygon, box

from ..cloth.fabric import Fabric
from ..errors import InputError, SolveError
from ..progress import Progress, silent
from .account import account
from .check import check_nest
from .clock import Clock, Stop, never
from .digest import nest_digest
from .flaws import flaws_on
from .improve import Shelf, improve, simple_plan
from .kept import free_rectangles
from .layout import Method, Nest, Sheet
from .part import Part, Spot, parts_of
from .piece import NestPiece, check_pieces
from .plan import Plan, offcut_bin, roll_bin, sheets_of
from .roll import Stock
from .search import library_present
from .settings import NestSettings
from .shelf import Strip
from .short import stock_short
from .strips import Watch
from .too_large import too_large
from .turns import may_turn_over

REFUSED = "The searched layout failed its check ({}), so the simple one is given; please report it."
MOST_PIECES = 20_000  # of one nest; beyond, nest fewer kits at a time


def nest(
    pieces: Iterable[NestPiece],
    fabric: Fabric,
    stock: Stock,
    settings: NestSettings,
    *,
    stored: Nest | None = None,
    progress: Progress = silent,
    stop: Stop = never,
    watch: Callable[[Sheet], None] | None = None,
) -> Nest:
    """Lay all pieces of one cloth on the stock, for all kits.

    A simple layout stands at once, the search improves on it for `settings.seconds`. With the
    inputs of a `stored` nest and no more effort asked than it has had, it is returned as it
    is; otherwise it is kept unless beaten. The search is cut off by time, so only a stored
    nest repeats itself: for another try ask for more seconds or another seed.

    Parameters
    ----------
    pieces : outlines in mm, warp along +x; pieces of other cloths are refused
    stock : rolls in the order they are to be used; what is of other cloths is left alone
    stored : an earlier nest of these pieces
    progress : told the share of the time, the length and the density so far; if it raises
        Cancelled, the search ends and nothing is returned
    stop : asked some twenty times a second; once it says True the search ends within a second
        and the best layout so far is returned
    watch : shown about once a second the best layout so far of the strip being searched

    Raises
    ------
    InputError : nothing to nest, no roll, a gap wider than the roll, a piece no roll can take
    StockShort : not enough cloth; it names the pieces left over and the length that is missing
    SolveError : the layout failed the independent check (never seen; it would be our fault)
    """
    ordered = check_pieces(pieces, fabric.id)
    own = stock.of(fabric.id)
    _check_order(ordered, fabric, own, settings)
    digest = nest_digest(ordered, fabric, own, settings)
    kept = stored if _is_sound(stored, ordered, fabric, own, settings) else None
    if kept is not None and kept.digest == digest and _had_effort(kept, settings):
        progress(1.0, "nesting: stored layout kept")
        return kept

    shelf = _shelf(own)
    simple = simple_plan(parts_of(ordered, fabric, settings), shelf, settings.gap_mm)
    plan: Plan = simple
    notes: tuple[str, ...] = ()
    if settings.seconds > 0:
        clock = Clock(settings.seconds, progress, stop)
        plan, notes = improve(
            simple,
            shelf,
            settings,
            clock,
            may_turn=may_turn_over(fabric),
            watch=_watcher(watch, shelf, ordered, settings) if watch else None,
        )
    order = _Order(ordered, fabric, own, settings, digest)
    if plan.missing and kept is not None:  # an earlier search found room for all
        return order.as_of_today(kept)
    if plan.missing:
        raise stock_short(plan, fabric.name, own, settings, stop=stop)
    found = order.filled_by(plan, "simple" if plan is simple else "searched", notes)
    faults = order.faults_of(found)
    if faults and plan is not simple and not simple.missing:
        found = order.filled_by(simple, "simple", (*notes, REFUSED.format(faults[0])))
        faults = order.faults_of(found)
    if faults:
        raise SolveError(
            f"The layout of cloth '{fabric.id}' failed its check: {faults[0]}",
            "Please report this with the job folder.",
        )
    if kept is not None and _taken(kept) <= _taken(found):
        same = kept.digest == digest
        if same:
            return replace(kept, seconds=settings.seconds, seed=settings.seed)
        return order.as_of_today(kept)
    return found


def _check_order(
    pieces: Sequence[NestPiece], fabric: Fabric, stock: Stock, settings: NestSettings
) -> None:
    if not stock.rolls:
        raise InputError(f"There is no roll of cloth '{fabric.id}'.", "Add one to the stock.")
    for roll in stock.rolls:
        if settings.gap_mm >= roll.usable_width_mm:
            raise InputError(
                f"Nest: gap_mm is {settings.gap_mm:g}, roll '{roll.id}' has "
                f"{roll.usable_width_mm:g} mm between its selvedges.",
                "Enter a smaller gap.",
            )
    total = sum(piece.count for piece in pieces) * (settings.kits + settings.mirrored_kits)
    if total > MOST_PIECES:
        raise InputError(
            f"The nest of cloth '{fabric.id}' has {total} pieces.",
            f"Nest fewer kits at a time: up to {MOST_PIECES} pieces.",
        )
    large = too_large(pieces, fabric, stock, turn_tolerance_deg=settings.turn_tolerance_deg)
    if large:
        finding = large[0].finding()
        raise InputError(finding.message, finding.hint)


def _shelf(stock: Stock) -> Shelf:
    offcuts = sorted(
        (offcut_bin(o) for o in stock.offcuts), key=lambda b: (b.region.area, b.stock_id)
    )
    return Shelf(rolls=tuple(roll_bin(roll) for roll in stock.rolls), offcuts=tuple(offcuts))


def _watcher(
    watch: Callable[[Sheet], None],
    shelf: Shelf,
    pieces: Sequence[NestPiece],
    settings: NestSettings,
) -> Watch:
    """Return what turns a strip in search into a sheet to look at."""
    counts = {piece.id: piece.count for piece in pieces}

    def show(parts: Sequence[Part], spots: Sequence[Spot], strip: Strip) -> None:
        bins = shelf.offcuts + shelf.rolls
        bin_ = next(b for b in bins if b.strip.height == strip.height)
        endless = replace(bin_, kind="roll", shape=None, strip=strip)
        plan = Plan(parts=tuple(parts), bins=(endless,), spots=(tuple(spots),))
        watch(sheets_of(plan, counts, settings)[0])

    return show


@dataclass(frozen=True, slots=True)
class _Order:
    """What was ordered: turns a plan into a nest and checks it against the order."""

    pieces: Sequence[NestPiece]
    fabric: Fabric
    stock: Stock
    settings: NestSettings
    digest: str

    def filled_by(self, plan: Plan, method: Method, notes: tuple[str, ...]) -> Nest:
        """Return the nest of a plan, with what is worth keeping of each sheet."""
        shapes = {piece.id: piece.polygon for piece in self.pieces}
        counts = {piece.id: piece.count for piece in self.pieces}
        sheets: list[Sheet] = []
        number = 0
        for sheet in sheets_of(plan, counts, self.settings):
            laid = [place.outline_on_cloth(shapes[place.piece]) for place in sheet.placements]
            kept = []
            for rectangle in free_rectangles(_usable(sheet, plan), laid, self.settings):
                number += 1
                name = f"{_first_word(sheet.stock_id)}-{self.digest[:6]}-{number}"
                kept.append((name, *rectangle))
            sheets.append(replace(sheet, kept=tuple(kept), flaws=flaws_on(sheet, self.stock)))
        return Nest(
            fabric=self.fabric.id,
            sheets=tuple(sheets),
            account=account(sheets, self.pieces, self.stock),
            method=method if library_present() else "simple",
            digest=self.digest,
            seconds=self.settings.seconds,
            seed=self.settings.seed,
            notes=notes,
        )

    def as_of_today(self, kept: Nest) -> Nest:
        """Return an earlier nest with today's prices and the flaws known today."""
        sheets = tuple(replace(s, flaws=flaws_on(s, self.stock)) for s in kept.sheets)
        return replace(kept, sheets=sheets, account=account(sheets, self.pieces, self.stock))

    def faults_of(self, found: Nest) -> list[str]:
        """Return what the independent check finds wrong."""
        return check_nest(found, self.pieces, self.fabric, self.stock, self.settings)


def _first_word(stock_id: str) -> str:
    """Return the name new offcuts of a roll or offcut begin with: that of the first roll."""
    return stock_id.split("-", 1)[0]


def _usable(sheet: Sheet, plan: Plan) -> Polygon:
    bin_ = next(b for b in plan.bins if (b.kind, b.stock_id) == (sheet.kind, sheet.stock_id))
    if bin_.shape is not None:
        return bin_.shape
    margin = sheet.selvedge_mm
    return box(0, margin, sheet.used_length_mm, bin_.width_mm - margin).intersection(
        bin_.region_to(sheet.used_length_mm)
    )


def _is_sound(
    stored: Nest | None,
    pieces: Sequence[NestPiece],
    fabric: Fabric,
    stock: Stock,
    settings: NestSettings,
) -> bool:
    """Return whether a stored nest may be cut with these inputs."""
    if stored is None or stored.fabric != fabric.id:
        return False
    return not check_nest(stored, pieces, fabric, stock, settings)


def _had_effort(stored: Nest, settings: NestSettings) -> bool:
    return stored.seconds >= settings.seconds and stored.seed == settings.seed


def _taken(found: Nest) -> tuple[float, float]:
    rolls = sum(sheet.area_mm2 for sheet in found.sheets if sheet.kind == "roll")
    return round(rolls, 1), round(found.account.cloth_mm2, 1)
