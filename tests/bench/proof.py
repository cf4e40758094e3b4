"""The proof page: references against ours, generic unwraps and boxes beside us, hostile moulds.

Run: `python3 tasks.py bench proof`. Writes addon/guide/proof.md and prints it. Seconds are of the
machine named on the page; everything else is the same on any.
"""

from __future__ import annotations

import platform
import re
import sys
import time
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(Path(__file__).parent)]

import drape_speed  # noqa: E402
import relief_darts  # noqa: E402
import unwraps  # noqa: E402
from proof_references import TWILL, Row, drape, references  # noqa: E402
from robust import nasty, sound  # noqa: E402
from shapely import box  # noqa: E402
from shapes import irregular_cap  # noqa: E402

from blend_samples import moulds  # noqa: E402
from flatten.cloth.strain import fabric_strain  # noqa: E402
from flatten.cloth.thread_stretch import thread_stretch  # noqa: E402
from flatten.nest.nest import nest  # noqa: E402
from flatten.nest.piece import NestPiece  # noqa: E402
from flatten.nest.roll import Roll, Stock  # noqa: E402
from flatten.nest.settings import NestSettings  # noqa: E402
from flatten.surface.mesh import SurfaceMesh  # noqa: E402

HOSTILE = 40
CUT_PARTS = ("tray 50", "tray 50 flange", "hemisphere")


def dish(mould: moulds.Mould) -> SurfaceMesh:
    """Return the cavity, rim and flange of a sample's mould as triangles."""
    faces = []
    for zone in ("cavity", "rim", "flange"):
        for number in mould.zones[zone]:
            corners = mould.polygons[number]
            faces += [[corners[0], *pair] for pair in pairwise(corners[1:])]
    used, renamed = np.unique(np.array(faces), return_inverse=True)
    return SurfaceMesh(np.array(mould.vertices)[used], renamed.reshape(-1, 3))


def beside_unwraps() -> Iterator[Row]:
    """Yield a row for each part and way of making it flat."""
    parts = {
        "hatch cover": dish(moulds.hatch_cover()),
        "60° cap": irregular_cap(150, 60, 8000, 1),
    }
    for part, mesh in parts.items():
        low = mesh.vertices[np.argmin((mesh.vertices[:, :2] ** 2).sum(axis=1))]
        start = time.perf_counter()
        laid = drape(mesh, tuple(low)).flat
        yield thread_row(part, "draped as cloth", mesh, laid, laid, time.perf_counter() - start)
        for name, flat_of in unwraps.methods().items():
            start = time.perf_counter()
            flat = flat_of(mesh)
            taken = time.perf_counter() - start
            yield thread_row(part, name, mesh, unwraps.turned_to(flat, laid), laid, taken)


def thread_row(part, name, mesh, flat, laid, seconds) -> Row:
    """Return how much threads would have to stretch, and how far the outline lies from ours."""
    straight = fabric_strain(mesh, flat)[:, :2]
    along = 100 * np.abs(thread_stretch(mesh, flat, straight))
    rim = np.unique(mesh.edges.vertices[mesh.edges.boundary])
    off = np.linalg.norm(flat - laid, axis=1)[rim].max()
    rms = np.sqrt((along**2).mean(axis=1) @ mesh.areas / mesh.areas.sum())
    far = "-" if flat is laid else f"{off:.1f}"
    return (part, name, f"{along.max():.2f}", f"{rms:.3f}", far, f"{seconds:.2f}")


def speed() -> Iterator[Row]:
    """Yield seconds of a drape and of the unwraps on the same mesh, medians of three."""
    for triangles in (10_000, 50_000):
        for row in drape_speed.measure(triangles):
            yield (
                row["part"], f"{row['triangles']}", f"{row['cloth_s']:.3f}",
                f"{row['generic_s']:.3f}",
                ", ".join(f"{seconds:.2f}" for seconds in row["blender_s"].values()),
            )  # fmt: skip


def cuts() -> Iterator[Row]:
    """Yield what the proposed cuts gain, laid again with the cuts accepted."""
    for name in CUT_PARTS:
        make, tack, sizes = relief_darts.PARTS[name]
        row = relief_darts.measure(make, tack, sizes[0])
        lengths = ", ".join(f"{length:.0f}" for length in row["length_mm"])
        yield (
            name, f"{row['darts']} x {lengths}", f"{100 * row['locked_before']:.2f} %",
            f"{100 * row['locked_after']:.3f} %", f"{row['accept_deg']:.0f}°",
        )  # fmt: skip


def beside_boxes() -> Iterator[Row]:
    """Yield roll length of ovals nested by outline and by their bounding boxes, same seconds."""
    mould = moulds.instrument_pod()
    mesh = dish(mould)
    flat = drape(mesh, tuple(mesh.vertices[0])).flat
    loop = max(mesh.edges.boundary_loops(mesh.faces), key=len)
    from shapely import Polygon

    oval = Polygon(flat[loop]).simplify(0.1)
    roll = Stock(rolls=(Roll(id="roll", fabric=TWILL.id, width_mm=1000.0),))
    for count in (6, 20):
        used = []
        for outline in (oval, box(*oval.bounds)):
            piece = NestPiece(id="piece", outline=outline, fabric=TWILL.id, count=count)
            used.append(nest([piece], TWILL, roll, NestSettings(seconds=10.0)).used_length_mm)
        saved = f"{100 * (1 - used[0] / used[1]):.1f} %"
        yield (f"{count} pods", f"{used[0]:.0f}", f"{used[1]:.0f}", saved)


def hostile() -> Iterator[Row]:
    """Yield what came of damaged moulds, made from recipes with fixed seeds."""
    counts = Counter()
    for seed in range(HOSTILE):
        recipe = nasty.recipe(np.random.default_rng(seed), most_cells=4)
        recipe["faults"].sort(key="wrong_index".__eq__)  # the others need sound indices
        try:
            counts[sound.outcome(lambda recipe=recipe: nasty.job_of(recipe), deliver=False)] += 1
        except sound.Unsound:
            counts["UNSOUND"] += 1
    meaning = {
        "refused": "refused with a message that names the fault",
        "named": "refused later, with a message",
        "stopped": "files kept back, the finding says why",
        "result": "a result that passed every check",
        "UNSOUND": "something untrue was said",
    }
    for outcome, words in meaning.items():
        yield (words, str(counts.get(outcome, 0)))


def long_runs() -> Iterator[Row]:
    """Yield what the long runs tried, as the tests' own page begins to tell it."""
    lines = (ROOT / "tests" / "README.md").read_text(encoding="utf-8").splitlines()
    start = lines.index("| What | Tried | Found | Done about it |")
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            return
        what, tried = (cell.strip() for cell in line.strip("|").split("|")[:2])
        yield what, re.split(r"[:;.] ", re.sub(r" \([^)]*\)", "", tried))[0]


def table(heads: Row, rows: Iterator[Row]) -> str:
    """Return a Markdown table."""
    lines = [heads, ("---",) * len(heads), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def main() -> None:
    """Write the page."""
    parts = [
        "# Proof\n\nRemade by `python3 tasks.py bench proof`. "
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}.\n",
        "## References against ours\n",
        table(("Case", "From", "Wanted", "Ours", "Allowed", "Within"), references()),
        "## Cloth beside generic unwraps\n\nThreads do not stretch: what an unwrap asks of them is "
        "its error. Outlines are laid on ours as well as they go.\n",
        table(
            (
                "Part",
                "Made flat by",
                "Worst thread stretch %",
                "RMS %",
                "Outline off mm",
                "Seconds",
            ),
            beside_unwraps(),
        ),
        "## Seconds beside generic unwraps\n\nlibigl: a conformal start and ten rounds of "
        "as-rigid-as-possible. Blender: angle based, conformal, minimum stretch.\n",
        table(("Part", "Triangles", "Draped as cloth", "libigl", "Blender"), speed()),
        "## What proposed cuts gain\n\nA twill that locks at 50°, on trays of so many mm and a "
        "hemisphere of R 150: flat area beyond locking, 3 mm round the tips left out; and the "
        "shear to accept instead of cutting.\n",
        table(("Part", "Cuts, mm", "Locked before", "After", "Or accept"), cuts()),
        "## Outlines beside bounding boxes\n\nSame search, same seconds, a roll 1000 mm wide.\n",
        table(("Pieces", "By outline mm", "By box mm", "Saved"), beside_boxes()),
        f"## {HOSTILE} damaged moulds\n\nTwisted, torn, doubled, folded, far away, not a number.\n",
        table(("What came of it", "Moulds"), hostile()),
        "## The long runs\n\nToo long for this page's command: the counts kept in "
        "[tests/README.md](../../tests/README.md).\n",
        table(("What", "Tried"), long_runs()),
    ]
    text = "\n".join(parts)
    (ROOT / "addon" / "guide" / "proof.md").write_text(text, encoding="utf-8")
    print(text, flush=True)


if __name__ == "__main__":
    main()
