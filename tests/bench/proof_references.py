"""The rows of the proof page that compare published and exact values with ours; see proof.py."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(Path(__file__).parent)]

from nets import SphereNet  # noqa: E402
from pattern import solids  # noqa: E402
from shapely import LineString  # noqa: E402
from shapes import cap, cone_frustum, irregular_cap, translation  # noqa: E402

from flatten.cloth.drape import Drape, drape_surface  # noqa: E402
from flatten.cloth.library import load_fabrics  # noqa: E402
from flatten.cloth.shear_limit import bias_extension_shear_deg  # noqa: E402
from flatten.export.drawing import Drawing, Line  # noqa: E402
from flatten.export.dxf import dxf_bytes  # noqa: E402
from flatten.export.layers import CUT  # noqa: E402
from flatten.export.paper import PaperSettings  # noqa: E402
from flatten.export.templates import test_sheet_pdf  # noqa: E402
from flatten.laminate.resin import mix_of  # noqa: E402
from flatten.laminate.settings import LaminateSettings  # noqa: E402
from flatten.laminate.thickness import cured_thickness_mm  # noqa: E402
from flatten.mould.corners import bridge_gap, bridge_section  # noqa: E402
from flatten.pattern.settings import Dressing  # noqa: E402
from flatten.surface.mesh import SurfaceMesh  # noqa: E402

TWILL = load_fabrics()["carbon_twill_210"]
AS_GIVEN = 1000.0  # mm: no refinement, the mesh is solved as it is
Row = tuple[str, ...]


def drape(mesh: SurfaceMesh, tack: tuple, warp: tuple = (1, 0, 0)) -> Drape:
    """Drape twill on the mesh as it is."""
    return drape_surface(mesh, TWILL, tack_mm=tack, warp=warp, max_edge_mm=AS_GIVEN)


def references() -> Iterator[Row]:
    """Yield what, where from, published or exact, ours, allowed difference."""
    yield from developed()
    yield from nets()
    yield from at_the_bench()
    yield from in_the_files()


def developed() -> Iterator[Row]:
    """Yield bodies that unroll, and gores that nearly do."""
    edge = 60.0
    (net,) = solids.dressed(solids.patches_of(*solids.cube(edge)), [(30, 30, 0)], (1, 0, 0))
    yield check("Cube of 60 mm opened to its net, area mm²", "6 a²", 21_600, net.net.area, 0.02)
    yield check("The same, length round it, mm", "14 a", 840, net.net.length, 1e-3)
    cone = cone_frustum(40, 100, 80, 360, 12)
    flat = drape(cone, tuple(cone.vertices[len(cone.vertices) // 2])).flat
    a, b, c = np.moveaxis(flat[cone.faces], 1, 0)
    (x1, y1), (x2, y2) = (b - a).T, (c - a).T
    area = 0.5 * np.abs(x1 * y2 - x2 * y1).sum()
    yield check("Cone 40/100 x 80 mm, flat area mm²", "closed form", 43_982.3, area, 5.6)

    body = solids.patches_of(*solids.gored_sphere(100, 8), joint="lap", lap_mm=12, refined=False)
    tops = [one.surface.vertices for one in body]
    tacks = [v[np.argmin(np.linalg.norm(v - 100 * unit(v.mean(axis=0)), axis=1))] for v in tops]
    gore = solids.dressed(body, tacks, (0, 0, 1), dressing=Dressing())[0].net
    for latitude_deg, half_mm in ((0, 39.27), (30, 34.01), (45, 27.77), (60, 19.64)):
        at = 100 * np.radians(latitude_deg)
        across = LineString([(at, -100), (at, 100)]).intersection(gore).length / 2
        yield check(
            f"Sphere R 100 in 8 gores: half width at {latitude_deg}°, mm",
            "(π R / n) cos latitude", half_mm, across, 0.3,
        )  # fmt: skip


def nets() -> Iterator[Row]:
    """Yield surfaces whose net of threads is known."""
    cells = 40
    carried = drape(translation(100, 100, 45, cells), (0, 0, 0))
    middle = np.sin(np.radians(45) * (2 * (np.arange(cells) + 0.5) / cells - 1))
    exact_deg = np.tile(np.degrees(np.arcsin(np.outer(middle, middle))).ravel(), 2)
    rms = np.sqrt(((np.degrees(carried.strain[:, 2]) - exact_deg) ** 2).mean())
    yield check(
        "Arc carried along an arc, R 100, to 30° of shear: error, degrees rms",
        "sin g = sin u sin v", 0.0, rms, 0.1,
    )  # fmt: skip

    net, sixty = SphereNet(2.3, 500), irregular_cap(150, 60, 8000, 1)
    laid = drape(sixty, (0, 0, 150))
    exact = 150 * net.flat(sixty.vertices / 150, laid.flat / 150)
    rim = np.unique(sixty.edges.vertices[sixty.edges.boundary])
    off = np.linalg.norm(laid.flat - exact, axis=1)[rim].max()
    yield check(
        "60° cap of R 150: outline from the exact net, mm", "Chebyshev 1878; ODE", 0.0, off, 0.4
    )
    stretch = np.linalg.svd(gradients(sixty, laid.flat), compute_uv=False)
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

    bowl = cap(150, 90, 40)
    half = drape(bowl, (0, 0, 150))
    rim = np.unique(bowl.edges.vertices[bowl.edges.boundary])
    r, phi = np.hypot(*half.flat[rim].T) / 150, np.arctan2(*half.flat[rim].T[::-1])
    bias = r[np.abs(phi - np.pi / 4).argmin()]
    yield check(
        "Hemisphere: outline on the bias, in radii", "Chebyshev 1878; ODE", 1.3866, bias, 1e-3
    )
    most = np.degrees(np.abs(half.strain[:, 2]).max())
    yield check("Hemisphere: largest shear, degrees", "Chebyshev 1878; ODE", 52.425, most, 0.3)


def at_the_bench() -> Iterator[Row]:
    """Yield cloth, laminate and resin."""
    turned = bias_extension_shear_deg(length_mm=200, width_mm=100, extension_mm=20)
    yield check(
        "Bias extension, gauge 100 mm, pulled 20 mm: shear, degrees",
        "Cao et al. 2008", 26.10, turned, 0.01,
    )  # fmt: skip
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


def in_the_files() -> Iterator[Row]:
    """Yield lengths and areas read back by other programs."""
    yield check(
        "Arrowhead cut line in the DXF, area as GDAL reads it, mm²", "GDAL", *dxf_areas(), 0.01
    )
    yield check("Side of the printed 100 mm square, mm", "PDF at 254 dpi", 100.0, square_mm(), 0.2)


def unit(vector: np.ndarray) -> np.ndarray:
    """Return the vector made one long."""
    return vector / np.linalg.norm(vector)


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
