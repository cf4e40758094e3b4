"""Make `pictures/beside_unwrap.png`: one cap laid as cloth, and made flat by a generic unwrap.

python blend_samples/make_unwrap_picture.py           needs the `test` extra
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent / "tests"), str(HERE.parent / "tests" / "bench")]

from proof_references import drape  # noqa: E402
from shapes import irregular_cap  # noqa: E402
from unwraps import arap, turned_to  # noqa: E402

from flatten.cloth.strain import fabric_strain  # noqa: E402
from flatten.export import fonts as font_files  # noqa: E402

WIDTH, HEIGHT, OVER = 1500, 640, 2  # drawn larger by OVER and then shrunk, for smooth lines
GROUND, INK, SOFT = (246, 245, 242), (28, 31, 36), (110, 114, 120)
CLOTH_LINE, UNWRAP_LINE = (18, 84, 107), (193, 82, 20)
WORST = 0.15  # of a thread's length, where the scale ends
# Dark blue through grey to yellow, lightness rising evenly: told apart without red and green.
SCALE = np.array(
    [[4, 46, 105], [61, 65, 105], [94, 86, 106], [123, 108, 105], [151, 131, 103],
     [179, 156, 100], [206, 180, 96], [233, 206, 89], [255, 232, 80]], float,
)  # fmt: skip


def main() -> None:
    """Lay the cap both ways and draw them, and one outline on the other."""
    mesh = irregular_cap(150, 60, 8000, 1)
    laid = drape(mesh, (0, 0, 150)).flat
    unwrapped = turned_to(arap(mesh), laid)
    rim = max(mesh.edges.boundary_loops(mesh.faces), key=len)
    sheet = Image.new("RGB", (WIDTH * OVER, HEIGHT * OVER), GROUND)
    pen = ImageDraw.Draw(sheet)
    widest = max(np.abs(laid).max(), np.abs(unwrapped).max())
    scale = 205 * OVER / widest
    for number, (flat, title) in enumerate(
        ((laid, "Laid as cloth"), (unwrapped, "Unwrapped, as rigid as possible"))
    ):
        middle = np.array([(250 + 500 * number) * OVER, 245 * OVER])
        stretched = np.abs(fabric_strain(mesh, flat)[:, :2]).max(axis=1)
        places = middle + flat * [scale, -scale]
        for face, colour in zip(mesh.faces, coloured(stretched), strict=True):
            pen.polygon([tuple(places[corner]) for corner in face], colour, colour)
        line(pen, places[rim], (CLOTH_LINE, UNWRAP_LINE)[number])
        words = f"threads would stretch by up to {100 * stretched.max():.1f} %"
        write(pen, middle[0], title, words)
    both = np.array([1250 * OVER, 245 * OVER])
    for flat, colour in ((laid, CLOTH_LINE), (unwrapped, UNWRAP_LINE)):
        line(pen, both + flat[rim] * [scale, -scale], colour)
    off = np.linalg.norm(unwrapped - laid, axis=1)[rim].max()
    write(pen, both[0], "One on the other", f"the cut is off by up to {off:.0f} mm")
    legend(pen)
    file = HERE / "pictures" / "beside_unwrap.png"
    small = sheet.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS)
    small.quantize(256, kmeans=1, dither=Image.Dither.NONE).save(file, optimize=True)
    print(f"{file.name}: {file.stat().st_size / 1024:.0f} kB")


def coloured(stretched: np.ndarray) -> list[tuple[int, ...]]:
    """Return a colour for each share of stretch."""
    place = np.clip(stretched / WORST, 0, 1) * (len(SCALE) - 1)
    steps = np.arange(len(SCALE))
    return [
        tuple(int(c) for c in rgb)
        for rgb in np.column_stack([np.interp(place, steps, SCALE[:, c]) for c in range(3)])
    ]


def line(pen: ImageDraw.ImageDraw, points: np.ndarray, colour: tuple[int, int, int]) -> None:
    """Draw a closed outline."""
    pen.line([tuple(p) for p in np.vstack([points, points[:2]])], colour, 3 * OVER, joint="curve")


def write(pen: ImageDraw.ImageDraw, x: float, title: str, words: str) -> None:
    """Write a title and a line under a drawing."""
    bold = ImageFont.truetype(font("bold"), 22 * OVER)
    pen.text((x, 500 * OVER), title, INK, bold, anchor="mm")
    pen.text((x, 532 * OVER), words, SOFT, ImageFont.truetype(font(), 18 * OVER), anchor="mm")


def legend(pen: ImageDraw.ImageDraw) -> None:
    """Draw the scale of stretch."""
    left, right, top = 560 * OVER, 940 * OVER, 578 * OVER
    for x in range(left, right):
        (colour,) = coloured(np.array([WORST * (x - left) / (right - left)]))
        pen.line(((x, top), (x, top + 16 * OVER)), colour)
    small = ImageFont.truetype(font(), 17 * OVER)
    pen.text((left - 10 * OVER, top + 8 * OVER), "0", SOFT, small, anchor="rm")
    told = f"{100 * WORST:.0f} % of a thread's length"
    pen.text((right + 10 * OVER, top + 8 * OVER), told, SOFT, small, anchor="lm")


def font(weight: str = "regular") -> str:
    """Return the file of our own letters."""
    return str(Path(font_files.__file__).parent / "fonts" / f"bench_sans_{weight}.ttf")


if __name__ == "__main__":
    main()
