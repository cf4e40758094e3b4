"""What the command line shows people: progress, tables, one-line errors."""

from __future__ import annotations

import argparse
import contextlib
import json
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, TextIO

from ..errors import FlattenError, InputError
from ..progress import Progress

MARKS = {"note": "·", "warning": "!", "stop": "X"}
# Below the table of plies: two figures for one thing would look like a mistake.
OF_THE_PART = "Shear and locking are the part's; findings and patterns count the trim in."
WORD = 14  # characters: longer words may be broken in a table
# What is said of a finding; where it is, the page shows.
SAID = ("code", "severity", "message", "hint", "ply_id")


@contextmanager
def interrupt() -> Iterator[Callable[[], bool]]:
    """Yield a question: was Ctrl-C pressed? The second press ends the program at once."""
    pressed: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        pressed.append(number)
        signal.signal(signal.SIGINT, usual)

    usual = signal.signal(signal.SIGINT, note)
    try:
        yield lambda: bool(pressed)
    finally:
        signal.signal(signal.SIGINT, usual)


@contextmanager
def progress(given: argparse.Namespace) -> Iterator[Progress]:
    """Yield a progress that draws a bar on a terminal, and appends to a file where asked."""
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    log = _opened(given.progress) if given.progress else None
    columns = (TextColumn("{task.description:<44}"), BarColumn(), TimeElapsedColumn())
    with Bar(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("", total=1.0)

        def tell(share: float, what: str) -> None:
            bar.update(task, completed=share, description=what[:44])
            if log:
                with contextlib.suppress(OSError):  # a full disk ends the telling, not the work
                    log.write(json.dumps({"share": round(share, 4), "what": what}) + "\n")
                    log.flush()

        try:
            yield tell
        finally:
            if log:
                with contextlib.suppress(OSError):
                    log.close()


def _opened(file: Path) -> TextIO:
    try:
        return file.open("a", encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"'{file}' cannot be written: {error.strerror}.", "Choose another file with --progress."
        ) from error


def tell_error(error: FlattenError, given: argparse.Namespace) -> None:
    """Print the error as one line; beside a progress file also leave it as `error.json`."""
    print(f"mouldply: {error}", file=sys.stderr)
    log: Path | None = getattr(given, "progress", None)
    if log:
        facts = {"message": error.message, "hint": error.hint, "faces": list(error.faces)}
        with contextlib.suppress(OSError):  # the line above has said it
            (log.parent / "error.json").write_text(json.dumps(facts), encoding="utf-8")


def tell_result(facts: Mapping[str, Any], folder: Path) -> None:
    """Print what a run made: plies, rolls, totals, findings, files."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from ..units import show_angle, span_mm

    console = Console()
    plies = Table(
        title=f"{facts['part']}: plies, tool side first",
        title_justify="left",
        caption=OF_THE_PART,
        caption_justify="left",
    )
    for name, key in (("Ply", "name"), ("Cloth", "fabric_name")):
        plies.add_column(name, overflow="fold", min_width=_longest_word(facts["plies"], key))
    for name in ("Angle", "Pieces", "Area m²", "Largest\nshear", "Beyond\nlocking"):
        plies.add_column(name, justify="right", overflow="fold")
    for ply in facts["plies"]:
        plies.add_row(
            f"{ply['number']} {ply['name']}",
            ply["fabric_name"],
            show_angle(ply["angle_deg"]),
            str(ply["pieces"]),
            f"{ply['area_mm2'] / 1e6:.3f}",
            f"{ply['max_shear_deg']:.1f}°",
            f"{100 * ply['locked_area_fraction']:.2f} %",
        )
    console.print(plies)
    for extra in facts["extras"]:
        many = f" x{extra['count']}" if extra["count"] > 1 else ""
        line = f"Besides: {extra['name']}{many}, {extra['where']}"
        console.print(escape(line), highlight=False, soft_wrap=True)
    if facts["rolls"]:
        console.print(_rolls(facts["rolls"]))
    totals = facts.get("totals")
    if totals:
        console.print(
            f"Resin to weigh {totals['resin_to_weigh_g']:.0f} g · thickness "
            f"{span_mm(*totals['thickness_range_mm'])} · part mass {totals['part_mass_g']:.0f} g · "
            f"{escape(facts['laminate_code'] or 'no fibres')}"
        )
        cost = totals["estimate"]
        if cost:
            price = (
                f"{cost['cost']:.2f} {cost['currency']}".strip() if cost["cost"] else "no prices"
            )
            console.print(f"Work about {cost['minutes'] / 60:.1f} h without cure · {price}")
    tell_findings(facts)
    console.print(f"Files are in [bold]{folder}[/bold]", highlight=False, soft_wrap=True)


def _rolls(rolls: list[Mapping[str, Any]]) -> Any:
    from rich.table import Table

    table = Table(title="Rolls", title_justify="left")
    table.add_column("Cloth", min_width=_longest_word(rolls, "fabric_name"))
    for name in ("Width\nmm", "Length\nused mm", "Pieces", "Offcuts\nkept", "Waste", "Cost"):
        table.add_column(name, justify="right")
    for roll in rolls:
        table.add_row(
            roll["fabric_name"],
            f"{roll['width_mm']:.0f}",
            f"{roll['used_length_mm']:.0f}",
            f"{100 * roll['pieces_fraction']:.1f} %",
            f"{100 * roll['offcuts_fraction']:.1f} %",
            f"{100 * roll['waste_fraction']:.1f} %",
            f"{roll['cost']:.2f}" if roll["cost"] else "-",
        )
    return table


def _longest_word(rows: list[Mapping[str, Any]], key: str) -> int:
    """Return the width in which no usual word of a column is broken, characters."""
    return min(max((len(word) for row in rows for word in row[key].split()), default=1), WORD)


def tell_findings(facts: Mapping[str, Any]) -> None:
    """Print the findings, the gravest first, alike ones of several plies as one."""
    from rich.console import Console
    from rich.markup import escape

    from ..finding import Finding, gathered, of_plies

    console = Console()
    findings = facts["findings"]
    if not findings:
        console.print("No findings.")
        return
    plies = {ply["ply_id"]: (ply["number"], ply["name"]) for ply in facts["plies"]}
    order = ("stop", "warning", "note")
    groups = gathered(Finding(**{name: one[name] for name in SAID}) for one in findings)
    many = "1 finding" if len(groups) == 1 else f"{len(groups)} findings"
    console.print(f"{many} (X stops, ! look at it, · good to know)")
    for finding, ids in sorted(groups, key=lambda pair: order.index(pair[0].severity)):
        ply = of_plies([plies[id_] for id_ in ids if id_ in plies])
        ply = ply or (f"{ids[0]}: " if ids[0] else "")
        text = f" {MARKS[finding.severity]} {ply}{finding.message} {finding.hint}"
        console.print(escape(text), highlight=False)


def tell_widths(rows: Mapping[str, Any]) -> None:
    """Print a table a cloth: roll widths and numbers of kits side by side."""
    from rich.console import Console
    from rich.table import Table

    console = Console()
    for cloth, lines in rows.items():
        table = Table(title=f"{cloth}: what if", title_justify="left")
        for name in ("Roll mm", "Kits", "Length m", "Cloth m²", "Waste", "Cost"):
            table.add_column(name, justify="right")
        for line in lines:
            if line.length_mm is None:
                told = f"too narrow for {', '.join(line.too_wide)}"
                table.add_row(f"{line.width_mm:.0f}", str(line.kits), told, "-", "-", "-")
                continue
            table.add_row(
                f"{line.width_mm:.0f}",
                str(line.kits),
                f"{line.length_mm / 1000:.2f}",
                f"{line.cloth_m2:.3f}",
                f"{100 * line.waste_share:.1f} %",
                "-" if line.cost is None else f"{line.cost:.2f}",
            )
        console.print(table)
