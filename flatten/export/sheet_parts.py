"""The parts of the lay-up sheet, each a block or a few."""

from __future__ import annotations

from collections.abc import Sequence

from ..finding import SEVERITIES, Finding, gathered, of_plies
from .canvas import ACCENT, INK, SOFT, WARN, WASH, WHITE, Canvas, wrapped
from .flow import BODY, HEAD, STEP, Flow
from .fonts import width_mm
from .layup_facts import Batch, Kit, LayupSheet, StackRow
from .mould_picture import draw_mould
from .sheet_table import Column, table

Fact = tuple[str, str]  # what it is, and its value

TICK_MM = 5.5  # a box a gloved hand can tick


def header(flow: Flow, sheet: LayupSheet) -> None:
    """Part, job and date."""

    def draw(x: float, y: float) -> None:
        canvas, width = flow.canvas, flow.width
        wide = canvas.text(x + width, y - 6.5, "lay-up sheet", HEAD, ACCENT, bold=True,
                           anchor="right")  # fmt: skip
        canvas.text(x, y - 7, sheet.part, 6.2, INK, bold=True, most=width - wide - 8)
        facts = ", ".join(filter(None, (sheet.process, sheet.job and f"job {sheet.job}")))
        canvas.text(x, y - 14.5, facts, BODY, SOFT, most=width - 92)
        date = sheet.date or "______________"
        words = f"date {date}   laid by ______________"
        canvas.text(x + width, y - 14.5, words, BODY, SOFT, anchor="right")
        canvas.line([(x, y - 18.5), (x + width, y - 18.5)], INK, 0.5)

    flow.block(22.0, draw)


def key_facts(flow: Flow, sheet: LayupSheet) -> None:
    """The numbers asked for first, in a strip."""
    facts = [("plies", str(len(sheet.stack)))]
    if sheet.thickness:
        facts.append(("thickness", sheet.thickness))
    if sheet.mass_g is not None:
        facts.append(("part", f"{sheet.mass_g:.0f} g"))
    if sheet.cloth_g:
        facts.append(("cloth", f"{sheet.cloth_g:.0f} g"))
    if sheet.batches:
        total = sum(batch.resin_g + batch.hardener_g for batch in sheet.batches)
        facts.append(("mixed resin", f"{total:.0f} g"))
    if sheet.mix:
        facts.append(("mix", sheet.mix))
    if sheet.pot_life_min is not None:
        facts.append(("pot life", f"{sheet.pot_life_min:.0f} min"))
    for row in _rows_of(facts, flow.width):
        flow.block(15.0, lambda x, y, row=row: _fact_row(flow, row, x, y))  # type: ignore[misc]
    flow.gap(3.0)


def _rows_of(facts: Sequence[Fact], width: float) -> list[list[Fact]]:
    """Return the facts in as few rows as hold them, the rows about equally full."""
    count = 1
    while True:
        size = -(-len(facts) // count)
        rows = [list(facts[i : i + size]) for i in range(0, len(facts), size)]
        if size == 1 or all(sum(map(_fact_width, row)) <= width for row in rows):
            return rows
        count += 1


def _fact_width(fact: Fact) -> float:
    return max(width_mm(fact[1], 3.4, bold=True), width_mm(fact[0], 2.8)) + 6.0


def _fact_row(flow: Flow, row: Sequence[Fact], x: float, y: float) -> None:
    flow.canvas.box(x, y - 15.2, flow.width, 15.2, line=0, fill=WASH)
    spare = max(flow.width - sum(map(_fact_width, row)), 0.0) / len(row)
    left = x + 3.0 + spare / 2
    for name, value in row:
        most = flow.width - (left - x) - 3.0
        flow.canvas.text(left, y - 5.6, name, 2.8, SOFT, most=most)
        flow.canvas.text(left, y - 12, value, 3.4, INK, bold=True, most=most)
        left += _fact_width((name, value)) + spare


def mould(flow: Flow, sheet: LayupSheet) -> None:
    """The picture of the mould, if there is one."""
    picture = sheet.mould
    if picture is None:
        return
    height = flow.sizes.mould_mm
    flow.block(height, lambda x, y: draw_mould(flow.canvas, picture, x, y - height, flow.width,
                                               height))  # fmt: skip


def stack(flow: Flow, sheet: LayupSheet) -> None:
    """The stack in laying order, with ticks, resin batch and time."""
    columns = (
        Column("", 8.5, "tick"), Column("ply", 9.0, "middle", bold=True), Column("name, cloth", 0),
        Column("angle", 16.0, "middle", bold=True), Column("pieces", 14.5, "middle"),
        Column("side", 33.0), Column("cloth", 15.0, "right"), Column("resin", 15.0, "right"),
        Column("pot", 11.0, "blank"), Column("time", 15.0, "blank"),
    )  # fmt: skip
    rows = [_stack_cells(row) for row in sheet.stack]
    title = "Stack, in laying order: ply 1 goes on the mould first"
    table(flow, title, columns, rows, row_mm=flow.sizes.row_mm)


def _stack_cells(row: StackRow) -> list[tuple[str, ...]]:
    return [
        (), (str(row.number),), (row.name, row.fabric), (row.angle,), (str(row.pieces),),
        (row.side,), (f"{row.cloth_g:.0f} g",), (f"{row.resin_g:.0f} g",), (), (),
    ]  # fmt: skip


def batches(flow: Flow, sheet: LayupSheet) -> None:
    """The pots of resin, with room for batch numbers and times."""
    if not sheet.batches:
        return
    columns = (
        Column("", 8.5, "tick"), Column("pot", 10.0, "middle", bold=True),
        Column("resin g", 20.0, "right"), Column("hardener g", 24.0, "right"), Column("for ply", 0),
        Column("resin batch", 28.0, "blank"), Column("hardener batch", 32.0, "blank"),
        Column("mixed at", 20.0, "blank"),
    )  # fmt: skip
    rows = [_batch_cells(batch) for batch in sheet.batches]
    title = "Resin, weighed, one pot after the other"
    if sheet.mix:
        title = f"Resin, weighed {sheet.mix}, one pot after the other"
    table(flow, title, columns, rows, row_mm=9.5)


def _batch_cells(batch: Batch) -> list[tuple[str, ...]]:
    return [
        (), (str(batch.number),), (f"{batch.resin_g:.1f}",), (f"{batch.hardener_g:.1f}",),
        (batch.plies,), (), (), (),
    ]  # fmt: skip


def joints(flow: Flow, sheet: LayupSheet) -> None:
    """Laps, butts, notches, and where to stipple."""
    if sheet.joints:
        flow.heading("Joints and notches", 8)
        for words in sheet.joints:
            bullet(flow, words)
    if sheet.stipple:
        flow.heading("Stipple here: the cloth bridges unless it is worked in", 8)
        for words in sheet.stipple:
            bullet(flow, words, tick=True)


def extras(flow: Flow, sheet: LayupSheet) -> None:
    """Patches, sheets on top, cores and tapes, ticked off as they are laid."""
    if not sheet.extras:
        return
    flow.heading("Besides the plies: what goes where", 8)
    for words in sheet.extras:
        bullet(flow, words, tick=True)


def cutting(flow: Flow, sheet: LayupSheet) -> None:
    """Cutting order, ticked off."""
    if not sheet.cutting:
        return
    flow.heading("Cutting order", 8)
    for number, words in enumerate(sheet.cutting, start=1):
        bullet(flow, f"{number}  {words}", tick=True)


def findings(flow: Flow, sheet: LayupSheet) -> None:
    """What the checks say, the gravest first."""
    if not sheet.findings:
        return
    flow.heading("What the checks say", 12)
    own = [pattern for pattern in sheet.patterns if pattern.role == "ply"]
    plies = {p.ply_id: (p.ply_number, p.ply_name) for p in own}
    groups = gathered(sheet.findings)
    for finding, ids in sorted(groups, key=lambda pair: -SEVERITIES.index(pair[0].severity)):
        _finding(flow, finding, of_plies([plies[id_] for id_ in ids if id_ in plies]))


def _finding(flow: Flow, finding: Finding, ply: str) -> None:
    colour = {"stop": WARN, "warning": (0.76, 0.47, 0.08), "note": SOFT}[finding.severity]
    words = f"{ply}{finding.message} {finding.hint}".strip()
    lines = wrapped(words, BODY, flow.width - 28)

    def draw(x: float, y: float) -> None:
        flow.canvas.box(x, y - 5.2, 22, 5.6, line=0, fill=colour)
        flow.canvas.text(x + 11, y - 2.4, finding.severity, 2.8, WHITE, bold=True, anchor="centre")
        _lines(flow.canvas, lines, x + 27, y)

    flow.block(STEP * max(len(lines), 1) + 2.6, draw)


def consumables(flow: Flow, sheet: LayupSheet) -> None:
    """What else must lie ready."""
    if not sheet.consumables:
        return
    flow.heading("Have ready", 12)
    half = (flow.width - 8) / 2
    for start in range(0, len(sheet.consumables), 2):
        pair = sheet.consumables[start : start + 2]

        def draw(x: float, y: float, pair: Sequence[tuple[str, str]] = pair) -> None:
            for i, (name, amount) in enumerate(pair):
                left = x + i * (half + 8)
                tick_box(flow.canvas, left, y - 6.0)
                wide = flow.canvas.text(left + 9, y - 4.8, name, BODY, INK, most=half * 0.6)
                flow.canvas.text(
                    left + 13 + wide, y - 4.8, amount, BODY, SOFT, most=half - wide - 13
                )

        flow.block(8.0, draw)


def kits(flow: Flow, sheet: LayupSheet) -> None:
    """Labels to cut out and put on the bundles of pieces."""
    if not sheet.kits:
        return
    flow.heading("Kit labels: cut out, one on each bundle", 28)
    width, height = flow.width / 2, 28.0
    for start in range(0, len(sheet.kits), 2):
        pair = sheet.kits[start : start + 2]

        def draw(x: float, y: float, pair: Sequence[Kit] = pair) -> None:
            for i, kit in enumerate(pair):
                _label(flow.canvas, sheet, kit, x + i * width, y - height, width, height)

        flow.block(height, draw)


def _label(
    canvas: Canvas, sheet: LayupSheet, kit: Kit, x: float, y: float, width: float, height: float
) -> None:
    canvas.box(x, y, width, height, colour=SOFT, line=0.2, dash=(1.5, 1.2))
    most = width - 10
    canvas.text(x + 5, y + height - 8, sheet.part, 3.3, INK, bold=True, most=most)
    title = kit.title.removeprefix(sheet.part).lstrip(", ")
    canvas.text(x + 5, y + height - 14, title, BODY, INK, bold=True, most=most)
    canvas.text(x + 5, y + height - 19.5, kit.fabric, BODY, INK, most=most)
    count = "1 piece" if kit.pieces == 1 else f"{kit.pieces} pieces"
    many = "plies" if "," in kit.plies else "ply"
    plies = f"{many} {kit.plies}" if kit.plies[:1].isdigit() else kit.plies
    canvas.text(x + 5, y + height - 25, f"{plies}: {count}", BODY, INK, most=most)


def cautions(flow: Flow, sheet: LayupSheet) -> None:
    """What can hurt someone."""
    if not sheet.cautions:
        return
    lines = sum(len(wrapped(words, BODY, flow.width - 5)) for words in sheet.cautions)
    flow.heading("Take care", min(lines * STEP + 1.2 * len(sheet.cautions), 150.0))  # in one piece
    for words in sheet.cautions:
        bullet(flow, words)


def bullet(flow: Flow, words: str, *, tick: bool = False) -> None:
    """Draw one sentence behind a dot or a tick box."""
    indent = 9.0 if tick else 5.0
    lines = wrapped(words, BODY, flow.width - indent)
    spare = 2.4 if tick else 1.2

    def draw(x: float, y: float) -> None:
        if tick:
            tick_box(flow.canvas, x, y - TICK_MM + 0.6)
        else:
            flow.canvas.box(x + 0.6, y - 2.9, 1.3, 1.3, line=0, fill=ACCENT)
        _lines(flow.canvas, lines, x + indent, y)

    flow.block(STEP * max(len(lines), 1) + spare, draw)


def paragraph(flow: Flow, words: str) -> None:
    """Draw one sentence over the full width."""
    lines = wrapped(words, BODY, flow.width)
    flow.block(STEP * len(lines) + 1.5, lambda x, y: _lines(flow.canvas, lines, x, y))


def tick_box(canvas: Canvas, x: float, y: float) -> None:
    """Draw an empty box to tick, its left lower corner at (x, y)."""
    canvas.box(x, y, TICK_MM, TICK_MM, line=0.35, colour=INK, fill=WHITE)


def _lines(canvas: Canvas, lines: Sequence[str], x: float, y: float) -> None:
    for i, words in enumerate(lines):
        canvas.text(x, y - 3.6 - STEP * i, words, BODY, INK)
