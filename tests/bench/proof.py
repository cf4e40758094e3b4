"""The proof page: references against ours, generic unwraps and boxes beside us, hostile moulds.

Run: `python3 tasks.py bench proof`. Writes addon/guide/proof.md and prints it. Seconds are of the
machine named on the page; everything else is the same on any.
"""

from __future__ import annotations

import platform
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(Path(__file__).parent)]

import unwraps  # noqa: E402
from nets import SphereNet  # noqa: E402
from robust import nasty, sound  # noqa: E402
from shapely import box  # noqa: E402
from shapes import cone_frustum, irregular_cap, translation  # noqa: E402

from blend_samples import moulds  # noqa: E402
from flatten.cloth.drape import Drape, drape_surface  # noqa: E402
from flatten.cloth.library import load_fabrics  # noqa: E402
from flatten.cloth.strain import fabric_strain  # noqa: E402
from flatten.export.drawing import Drawing, Line  # noqa: E402
from flatten.export.dxf import dxf_bytes  # noqa: E402
from flatten.export.layers import CUT  # noqa: E402
from flatten.export.paper import PaperSettings  # noqa: E402
from flatten.export.templates import test_sheet_pdf  # noqa: E402
from flatten.laminate.resin import mix_of  # noqa: E402
from flatten.laminate.settings import LaminateSettings  # noqa: E402
from flatten.laminate.thickness import cured_thickness_mm  # noqa: E402
from flatten.mould.corners import bridge_gap, bridge_section  # noqa: E402
from flatten.nest.nest import nest  # noqa: E402
from flatten.nest.piece import NestPiece  # noqa: E402
from flatten.nest.roll import Roll, Stock  # noqa: E402
from flatten.nest.settings import NestSettings  # noqa: E402
from flatten.surface.mesh import SurfaceMesh  # noqa: E402

TWILL = load_fabrics()["carbon_twill_210"]
AS_GIVEN = 1000.0  # mm: no refinement, the mesh is solved as it is
HOSTILE = 40
Row = tuple[str, ...]


def drape(mesh: SurfaceMesh, tack: tuple, warp: tuple = (1, 0, 0)) -> Drape:
    """Drape twill on the mesh as it is."""
    return drape_surface(mesh, TWILL, tack_mm=tack, warp=warp, max_edge_mm=AS_GIVEN)


def references() -> Iterator[Row]:
    """Yield what, where from, published or exact, ours, allowed difference."""
    cone = cone_frustum(40, 100, 80, 360, 12)
    flat = drape(cone, tuple(cone.vertices[len(cone.vertices) // 2])).flat
    a, b, c = np.moveaxis(flat[cone.faces], 1, 0)
    (x1, y1), (x2, y2) = (b - a).T, (c - a).T
    area = 0.5 * np.abs(x1 * y2 - x2 * y1).sum()
    yield check("Cone 40/100 x 80 mm, flat area mm²", "closed form", 43_982.3, area, 5.6)

    cells = 40
    carried = drape(translation(100, 100, 45, cells), (0, 0, 0))
    middle = np.sin(np.radians(45) * (2 * (np.arange(cells) + 0.5) / cells - 1))
    exact_deg = np.tile(np.degrees(np.arcsin(np.outer(middle, middle))).ravel(), 2)
    rms = np.sqrt(((np.degrees(carried.strain[:, 2]) - exact_deg) ** 2).mean())
    yield check(
        "Arc carried along an arc, R 100, to 30° of shear: error, degrees rms",
        "sin g = sin u sin v", 0.0, rms, 0.1,
    )  # fmt: skip

    net, cap = SphereNet(2.3, 500), irregular_cap(150, 60, 8000, 1)
    laid = drape(cap, (0, 0, 150))
    exact = 150 * net.flat(cap.vertices / 150, laid.flat / 150)
    rim = np.unique(cap.edges.vertices[cap.edges.boundary])
    off = np.linalg.norm(laid.flat - exact, axis=1)[rim].max()
    yield check(
        "60° cap, R 150: outline from the exact net, mm", "Chebyshev 1878; ODE", 0.0, off, 0.75
    )
    stretch = np.linalg.svd(gradients(cap, laid.flat), compute_uv=False)
    least = np.radians(60) / np.sin(np.radians(60))
    ratio = stretch.max() / stretch.min()
    told = f"at least {least:.4f}"
    yield (
        "60° cap: largest over least stretch",
        "Milnor 1969",
        told,
        f"{ratio:.3f}",
        "not below",
        good(ratio >= least),
    )

    hand = LaminateSettings(fibre_volume_fraction=0.35)
    thick = 3 * cured_thickness_mm(TWILL, hand)
    yield check(
        "3 plies carbon twill 210 at 35 % fibre, mm",
        "areal mass / density; trade: about 1 mm",
        1.011,
        thick,
        0.012,
    )
    part = mix_of(LaminateSettings(mix_resin=100, mix_hardener=30)).split(300)[1]
    yield check("300 g at 100:30 by weight, hardener g", "300 x 30 / 130", 69.2308, part, 1e-3)
    turn = np.array([np.pi / 2])
    gap = float(bridge_gap(np.array([3.0]), np.array([0.0]), turn)[0])
    fill = float(bridge_section(np.array([3.0]), np.array([0.0]), turn)[0])
    yield check(
        "Cloth of 3 mm radius over a sharp corner: gap, mm", "(R-r)(√2-1)", 1.2426, gap, 1e-4
    )
    yield check("The resin that fills it, mm²", "(R²-r²)(1-π/4)", 1.9314, fill, 1e-4)

    yield check(
        "Arrowhead cut line in the DXF, area as GDAL reads it, mm²", "GDAL", *dxf_areas(), 0.01
    )
    yield check("Side of the printed 100 mm square, mm", "PDF at 254 dpi", 100.0, square_mm(), 0.2)


def dxf_areas() -> tuple[float, float]:
    """Return the area of an outline, and of what GDAL reads from its DXF."""
    import pyogrio
    import shapely

    points = np.array([[0.0, 0.0], [310.0, 40.0], [120.0, 260.0], [90.0, 100.0]])
    line = Line(layer=CUT.name, points=points, closed=True)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "it.dxf"
        file.write_bytes(dxf_bytes(Drawing(title="it", layers=(CUT,), lines=(line,))))
        read = pyogrio.raw.read(file)
    rings = [shapely.from_wkb(one) for one in read[2]]
    return float(shapely.Polygon(points).area), sum(
        shapely.Polygon(one.coords).area for one in rings
    )


def square_mm() -> float:
    """Return the width of the test sheet's square, measured in its pixels: 10 to the mm."""
    import pypdfium2

    page = pypdfium2.PdfDocument(test_sheet_pdf(PaperSettings()))[0]
    dark = np.asarray(page.render(scale=254 / 72).to_pil().convert("L")) < 128
    sides = np.flatnonzero(dark.sum(axis=1) > 1000)  # rows of the upper and the lower side
    between = np.flatnonzero(dark[(3 * sides[0] + sides[-1]) // 4])
    return float(between[-1] - between[0]) / 10


def gradients(mesh: SurfaceMesh, flat: np.ndarray) -> np.ndarray:
    """Return (m, 3, 2): the map from the flat to the mould in each triangle."""
    p, q = mesh.vertices[mesh.faces], flat[mesh.faces]
    return np.stack([p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]], -1) @ np.linalg.inv(
        np.stack([q[:, 1] - q[:, 0], q[:, 2] - q[:, 0]], -1)
    )


def check(what: str, source: str, wanted: float, ours: float, allowed: float) -> Row:
    """Return a row; the last column says whether ours is within what is allowed."""
    within = abs(ours - wanted) <= allowed
    return (what, source, f"{wanted:g}", f"{ours:.6g}", f"{allowed:g}", good(within))


def good(true: bool) -> str:
    """Return the word of the last column."""
    return "yes" if true else "NO"


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
        "60° cap, R 150": irregular_cap(150, 60, 8000, 1),
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
    along = 100 * np.abs(fabric_strain(mesh, flat)[:, :2])
    rim = np.unique(mesh.edges.vertices[mesh.edges.boundary])
    off = np.linalg.norm(flat - laid, axis=1)[rim].max()
    rms = np.sqrt((along**2).mean(axis=1) @ mesh.areas / mesh.areas.sum())
    far = "-" if flat is laid else f"{off:.1f}"
    return (part, name, f"{along.max():.2f}", f"{rms:.3f}", far, f"{seconds:.2f}")


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
    """Yield what the long runs tried, as the tests' own page tells it."""
    lines = (ROOT / "tests" / "README.md").read_text(encoding="utf-8").splitlines()
    start = lines.index("| What | Tried | Found | Done about it |")
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            return
        yield tuple(cell.strip() for cell in line.strip("|").split("|")[:2])


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
