"""Tack points and 0 degrees on the lay-up sheet, as tape distances from named edges."""

from __future__ import annotations

from .flow import Flow
from .layup_facts import LayupSheet, TackPlace
from .sheet_parts import paragraph

SAME_BY_TAPE_MM = 3.0  # what a tape over a curved mould can be read to; common practice


def places(flow: Flow, sheet: LayupSheet) -> None:
    """Tack point and 0 degrees as tape distances; plies a tape cannot tell apart together."""
    groups: list[list[TackPlace]] = []
    for place in sheet.places:
        for group in groups:
            if _same_by_tape(group[0], place):
                group.append(place)
                break
        else:
            groups.append([place])
    for group in groups:
        place, (first, second) = group[0], group[0].edges
        names = _together([one.plies for one in group])
        words = (
            f"Tack point ({names}): {place.tack_mm[0]:.0f} mm from edge {first}, "
            f"{place.tack_mm[1]:.0f} mm from edge {second}. 0° runs from it to the point "
            f"{place.ahead_by_mm:.0f} mm on: {place.ahead_mm[0]:.0f} mm from edge {first}, "
            f"{place.ahead_mm[1]:.0f} mm from edge {second}."
        )
        paragraph(flow, words)
    if sheet.places:
        flow.gap(1.0)


def _together(names: list[str]) -> str:
    """Return 'plies 1, 5' and 'ply 2' as 'plies 1, 2, 5'."""
    heads = ("plies ", "ply ")
    if len(set(names)) == 1 or not all(name.startswith(heads) for name in names):
        return ", ".join(dict.fromkeys(names))
    numbers = [word for name in names for word in name.split(" ", 1)[1].split(", ")]
    ordered = sorted(dict.fromkeys(numbers), key=lambda word: (int(word.split()[0]), word))
    return "plies " + ", ".join(ordered)


def _same_by_tape(one: TackPlace, other: TackPlace) -> bool:
    if one.edges != other.edges:
        return False
    mine = (*one.tack_mm, *one.ahead_mm, one.ahead_by_mm)
    theirs = (*other.tack_mm, *other.ahead_mm, other.ahead_by_mm)
    return all(abs(a - b) <= SAME_BY_TAPE_MM for a, b in zip(mine, theirs, strict=True))
