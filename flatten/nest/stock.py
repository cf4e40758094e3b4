"""The shelf between jobs: one JSON file, written whole or not at all, the last state beside it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..folder import write_whole
from ..json_file import read_json
from ..records import from_plain, to_plain
from .layout import Nest, Sheet
from .roll import Defect, Roll, Stock

VERSION = 1
LARGEST_BYTES = 20_000_000  # a stock file beyond this is not one
SHORTEST_LEFT_MM = 1.0  # a roll with less left is used up


def read_stock(path: Path) -> Stock:
    """Return the stock in a file. The file is only read.

    Raises
    ------
    InputError : missing, not readable, not JSON, of another version, or values no cloth has
    """
    data = _read_json(path)
    version = data.get("version")
    if version != VERSION or isinstance(version, bool):
        raise InputError(
            f"Stock file '{path.name}': version is {version!r}, this program reads {VERSION}.",
            "Open it with the program that wrote it, or go back to its backup.",
        )
    shelf = {key: value for key, value in data.items() if key != "version"}
    return from_plain(Stock, shelf, f"Stock file '{path.name}'")


def write_stock(path: Path, stock: Stock) -> None:
    """Write the stock: first beside the file, then in its place, the old one kept as backup.

    A file that is there and cannot be read as stock is left alone.

    Raises
    ------
    InputError : the file there is corrupt, or the place cannot be written to
    """
    if path.exists():
        read_stock(path)
    text = json.dumps({"version": VERSION, **to_plain(stock)}, indent=1) + "\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            write_whole(backup_of(path), path.read_bytes())
        write_whole(path, text.encode("utf-8"))
    except OSError as error:
        raise InputError(
            f"Stock file '{path.name}' cannot be written: {error.strerror or error}.",
            "Choose a folder you may write to.",
        ) from error


def backup_of(path: Path) -> Path:
    """Return where the state before the last change is kept."""
    return path.with_name(path.name + ".backup")


def book(stock: Stock, nest: Nest) -> Stock:
    """Return the stock after a nest has been cut: lengths taken off, offcuts gone and new ones.

    Defects of a roll move with its free end; those cut off are gone.

    Raises
    ------
    InputError : the stock is not the one the nest was made for (cut already, or sold)
    """
    for sheet in nest.sheets:
        there = stock.rolls if sheet.kind == "roll" else stock.offcuts
        if all((item.id, item.fabric) != (sheet.stock_id, nest.fabric) for item in there):
            raise _gone(sheet, f"there is no {sheet.kind} '{sheet.stock_id}' of '{nest.fabric}'")
    rolls = [_cut_off(roll, nest) for roll in stock.rolls]
    used = {sheet.stock_id for sheet in nest.sheets if sheet.kind == "offcut"}
    offcuts = [offcut for offcut in stock.offcuts if offcut.id not in used]
    taken = {roll.id for roll in stock.rolls} | {offcut.id for offcut in offcuts}
    for new in nest.new_offcuts():
        offcuts.append(replace(new, id=_free_name(new.id, taken)))
        taken.add(offcuts[-1].id)
    return Stock(rolls=tuple(roll for roll in rolls if roll), offcuts=tuple(offcuts))


def _cut_off(roll: Roll, nest: Nest) -> Roll | None:
    """Return what is left of a roll, None where it is used up."""
    used = sum(
        sheet.used_length_mm
        for sheet in nest.sheets
        if (sheet.kind, sheet.stock_id) == ("roll", roll.id)
    )
    if not used:
        return roll
    defects = tuple(
        Defect(x_mm=flaw.x_mm - used, y_mm=flaw.y_mm, radius_mm=flaw.radius_mm)
        for flaw in roll.defects
        if flaw.x_mm + flaw.radius_mm > used
    )
    if roll.length_mm is None:
        return replace(roll, defects=defects)
    left = roll.length_mm - used
    if left < -0.001:
        sheet = next(sheet for sheet in nest.sheets if sheet.stock_id == roll.id)
        raise _gone(sheet, f"roll '{roll.id}' has {roll.length_mm:g} mm, {used:g} are needed")
    return replace(roll, length_mm=left, defects=defects) if left > SHORTEST_LEFT_MM else None


def _gone(sheet: Sheet, what: str) -> InputError:
    return InputError(
        f"The nest cannot be booked: {what}.",
        f"Nest again with the stock as it is now; '{sheet.stock_id}' may have been cut already.",
    )


def _free_name(name: str, taken: Iterable[str]) -> str:
    number, free = 2, name
    while free in taken:
        free, number = f"{name}-{number}", number + 1
    return free


def _read_json(path: Path) -> dict[str, Any]:
    name = f"Stock file '{path.name}'"
    try:
        data = read_json(path, LARGEST_BYTES)
    except FileNotFoundError as error:
        raise InputError(f"{name} is not there.", "Choose another, or start a new one.") from error
    except OSError as error:
        raise InputError(
            f"{name} cannot be read: {error.strerror or error}.", "Check its folder and rights."
        ) from error
    except ValueError as error:  # too large, not UTF-8, not JSON, absurdly nested
        raise InputError(
            f"{name} is damaged: {str(error)[:100]}.",
            f"It was left as it is; its last good state may be in '{backup_of(path).name}'.",
        ) from error
    if not isinstance(data, dict):
        raise InputError(f"{name} is damaged: it holds no named fields.", "Use its backup.")
    return data
