"""`mouldply show`: one HTML file of a result that opens anywhere, without a network."""

from __future__ import annotations

import argparse
import base64
import html
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..folder import write_whole
from ..units import span_mm
from .show import OF_THE_PART

HERE = Path(__file__).parent
HELP = """\
Write one HTML file from a folder of results: patterns, roll, tables, findings, and the drape in
3D, to be turned with mouse, finger or arrow keys. It needs no network and loads nothing.

  mouldply show cut/                 writes cut.html beside the folder
  mouldply show my_job/ --out it.html
"""
# Nothing but what the file itself holds may load or run.
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
HEAD = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8">'
    '<meta name="generator" content="mouldply">'
)
FOR_SCREEN = b"<style>path { vector-effect: non-scaling-stroke; stroke-width: 1.3px }</style>\n"
MARKS = {"stop": "stops", "warning": "look at it", "note": "good to know"}
ORDER = tuple(MARKS)
_DAMAGED = (LookupError, TypeError, ValueError, AttributeError, ArithmeticError)


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    show = commands.add_parser(
        "show",
        help="one HTML file to look at a result",
        description=HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    show.add_argument("folder", type=Path, help="a folder of results, or a job folder that was run")
    show.add_argument("--out", type=Path, metavar="FILE", help="the HTML file")
    show.set_defaults(command=show_command)


def show_command(given: argparse.Namespace) -> int:
    """Read the results, write the page."""
    folder = results_in(given.folder)
    whole = folder.resolve()  # `.` has no name of its own
    file = given.out or whole.with_name(f"{whole.name}.html")
    text = page(folder)
    if given.out is None:
        _refuse_stranger(file)
    try:
        write_whole(file, text.encode())
    except OSError as error:
        raise InputError(
            f"'{file}' cannot be written: {error.strerror}.", "Choose another file with --out."
        ) from error
    print(f"{file}: open it in a browser.")
    return 0


def _refuse_stranger(file: Path) -> None:
    """Refuse to put a page in the place of a file nobody named and we did not write."""
    if file.exists():
        with file.open("rb") as there:
            if there.read(len(HEAD)) == HEAD.encode():
                return
        raise InputError(
            f"'{file}' is already there and was not written by mouldply.",
            "Name another file with --out, or move it away.",
        )


def results_in(folder: Path) -> Path:
    """Return the folder of results: this one, or the one a run of this job folder wrote.

    Raises
    ------
    InputError : neither holds results
    """
    from ..folder import INDEX

    for place in (folder, folder / "cut"):
        if (place / INDEX).is_file():
            return place
    raise InputError(
        f"'{folder}' holds no results.", f'Run the job first: mouldply run "{folder}".'
    )


def page(folder: Path) -> str:
    """Return the page of a folder of results.

    Raises
    ------
    InputError : the folder is not whole, or its arrays are damaged
    """
    from ..folder import read_index
    from ..packed import read_arrays

    facts = read_index(folder)
    arrays = read_arrays(folder / "drape.npz")
    try:
        return _page(folder, facts, arrays)
    except _DAMAGED as error:  # the digests are right, and yet no program of ours wrote it
        raise InputError(
            f"The results in '{folder}' are damaged: {error!r:.100}.", "Run the job again."
        ) from error


def _page(folder: Path, facts: Mapping[str, Any], arrays: Mapping[str, Any]) -> str:
    from .page_arrays import mould_of, pieces_of

    findings = sorted(facts["findings"], key=lambda one: ORDER.index(one["severity"]))
    seen = {
        "pieces": pieces_of(facts, findings, arrays),
        "mould": mould_of(facts, findings, arrays),
    }
    part = html.escape(facts["part"])
    body = [
        f"<header><h1>{part}</h1><p>{html.escape(facts['program'])}, job "
        f"<code>{html.escape(facts['job_digest'][:8])}</code></p></header>",
        _viewer(),
        _findings(facts, findings),
        _mould_facts(facts["mould"]),
        _section("Patterns", _picture(folder / "patterns.svg", "All patterns, true to scale")),
        _roll(folder, facts["rolls"]),
        _section(
            "Plies, tool side first",
            f'{_plies(facts["plies"])}<p class="hint">{OF_THE_PART}</p>',
        ),
        _totals(facts.get("totals") or {}, facts.get("laminate_code", "")),
        "<footer>Estimates. Data sheets, local rules and trained people come first.</footer>",
    ]
    return (
        f"{HEAD}<title>{part}</title>"
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        f"<style>{_asset('page.css')}</style></head><body>{''.join(body)}"
        f'<script type="application/json" id="seen">{_script_json(seen)}</script>'
        f"<script>{_asset('page.js')}</script></body></html>\n"
    )


def _asset(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")


def _script_json(value: Any) -> str:
    """Return JSON that cannot end the script element it stands in."""
    return json.dumps(value, ensure_ascii=True, allow_nan=False).replace("<", "\\u003c")


def _viewer() -> str:
    maps = (("shear", "Shear, degrees"), ("warp", "Warp stretch, %"), ("weft", "Weft stretch, %"))
    options = "".join(f'<option value="{key}">{words}</option>' for key, words in maps)
    return _section(
        "The drape",
        '<div class="tools"><label>Piece <select id="piece"></select></label>'
        f'<label>Colours <select id="map">{options}</select></label>'
        '<label><input type="checkbox" id="threads" checked> Threads every 20 mm</label>'
        '<label><input type="checkbox" id="around" checked> Mould around it</label>'
        '<button id="home" type="button">Look from above</button></div>'
        '<canvas id="view" tabindex="0" role="img" aria-label="The cloth on the mould in 3D. '
        'Arrow keys turn it, plus and minus come nearer or go back."></canvas>'
        '<div id="legend" aria-live="polite"></div>'
        '<p class="hint">Drag or use the arrow keys to turn, the wheel, two fingers or + and - to '
        "come nearer. Trim is not shown.</p>",
    )


def _findings(facts: Mapping[str, Any], findings: Sequence[Mapping[str, Any]]) -> str:
    if not findings:
        return _section("Findings", "<p>None.</p>")
    names = {ply["ply_id"]: f"Ply {ply['number']} {ply['name']}: " for ply in facts["plies"]}
    rows = "".join(
        f'<li class="{html.escape(one["severity"])}"><b>{MARKS.get(one["severity"], "")}</b> '
        f"{html.escape(names.get(one['ply_id'], one['ply_id']))}{html.escape(one['message'])}"
        f" <i>{html.escape(one['hint'])}</i>{_where(number, one)}</li>"
        for number, one in enumerate(findings)
    )
    return _section("Findings", f'<ul class="findings">{rows}</ul>')


def _where(number: int, finding: Mapping[str, Any]) -> str:
    if not finding["faces"]:
        return ""
    listed, count = len(finding["faces"]), finding.get("face_count", 0)
    short = f" (the first {listed:,} of {count:,} faces)" if count > listed else ""
    return (
        f' <button type="button" class="where" data-finding="{number}" '
        f'data-ply="{html.escape(finding["ply_id"])}" aria-pressed="false">'
        f"Show where</button>{short}"
    )


def _mould_facts(mould: Mapping[str, Any]) -> str:
    rows = "".join(
        f"<dt>{html.escape(name)}</dt><dd>{html.escape(words)}</dd>"
        for name, words in mould["in_words"]
    )
    lines = "".join(f"<li>{html.escape(line)}</li>" for line in mould["stipple"])
    stipple = f"<h3>Stipple here</h3><ol>{lines}</ol>" if lines else ""
    return _section("The mould", f"<dl>{rows}</dl>{stipple}") if rows else ""


def _roll(folder: Path, rolls: Sequence[Mapping[str, Any]]) -> str:
    if not rolls:
        return _section("Roll", "<p>Not laid out: see the findings.</p>")
    heads = ("Cloth", "Width mm", "Length used mm", "Pieces", "Offcuts kept", "Waste", "Cost")
    rows = [
        (
            roll["fabric_name"], f"{roll['width_mm']:.0f}", f"{roll['used_length_mm']:.0f}",
            *(f"{100 * roll[f'{part}_fraction']:.1f} %" for part in ("pieces", "offcuts", "waste")),
            f"{roll['cost']:.2f}" if roll["cost"] else "-",
        )
        for roll in rolls
    ]  # fmt: skip
    picture = _picture(folder / "roll.svg", "Pieces as they lie on the cloth")
    return _section("Roll", picture + _table(heads, rows))


def _plies(plies: Iterable[Mapping[str, Any]]) -> str:
    heads = ("Ply", "Cloth", "Angle", "Pieces", "Area m²", "Largest shear", "Beyond locking")
    return _table(
        heads,
        [
            (
                f"{ply['number']} {ply['name']}", ply["fabric_name"], f"{ply['angle_deg']:g}°",
                str(ply["pieces"]), f"{ply['area_mm2'] / 1e6:.3f}", f"{ply['max_shear_deg']:.1f}°",
                f"{100 * ply['locked_area_fraction']:.2f} %",
            )
            for ply in plies
        ],
    )  # fmt: skip


def _totals(totals: Mapping[str, Any], code: str) -> str:
    if not totals:
        return ""
    rows = [
        ("Laminate, tool side first", code or "-"),
        ("Resin and hardener to weigh", f"{totals['resin_to_weigh_g']:.0f} g"),
        ("Dry cloth in the part", f"{totals['dry_g']:.0f} g"),
        ("Part mass", f"{totals['part_mass_g']:.0f} g"),
        ("Thickness", span_mm(*totals["thickness_range_mm"])),
    ]
    estimate = totals.get("estimate") or {}
    if estimate:
        rows.append(("Work, without cure", f"{estimate['minutes'] / 60:.1f} h"))
    if estimate.get("cost"):
        rows.append(("Cost", f"{estimate['cost']:.2f} {estimate['currency']}".strip()))
    return _section("Amounts", _table(("", "About"), rows))


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    top = "".join(f"<th>{html.escape(head)}</th>" for head in heads)
    cells = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<div class='wide'><table><tr>{top}</tr>{cells}</table></div>"


def _picture(file: Path, words: str) -> str:
    """Embed a drawing as an image: what is inside an image cannot run.

    True to scale its lines are hairs: on the page they keep one width, however small it is shown.
    """
    if not file.is_file():
        return ""
    start, end, rest = file.read_bytes().partition(b"<title>")
    data = base64.b64encode(start + FOR_SCREEN + end + rest).decode()
    return (
        f'<div class="wide"><img class="drawing" alt="{html.escape(words)}" '
        f'src="data:image/svg+xml;base64,{data}"></div>'
        '<div class="tools"><button type="button" class="larger" aria-pressed="false">Larger'
        "</button></div>"
    )


def _section(title: str, content: str) -> str:
    return f"<section><h2>{html.escape(title)}</h2>{content}</section>"
