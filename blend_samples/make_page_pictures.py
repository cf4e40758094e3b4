"""Make the guide's pictures of paper: `paper_sheets.png` and `layup_sheet.png`, of the hatch cover.

python blend_samples/make_page_pictures.py            needs the `blender` and `test` extras
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pypdfium2
from PIL import Image, ImageDraw

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

from addon.blend_reader import read_job  # noqa: E402
from flatten.deliver import files_of  # noqa: E402
from flatten.run import run  # noqa: E402

SAMPLE, SCALE, GAP = "hatch_cover", 1.1, 18
GROUND, EDGE = (228, 227, 223), (200, 199, 195)
# Pages of each file, from 0: the map and two sheets that meet; what hangs at the bench.
PICTURES = {"paper_sheets": ("templates.pdf", (0, 2, 3)), "layup_sheet": ("layup.pdf", (0, 1))}


def main() -> None:
    """Run the sample and lay its pages side by side."""
    job = read_job(HERE / f"{SAMPLE}.blend")
    files = files_of(run(job), job)
    for name, (file, numbers) in PICTURES.items():
        document = pypdfium2.PdfDocument(files[file])
        pages = [document[n].render(scale=SCALE).to_pil().convert("RGB") for n in numbers]
        target = HERE / "pictures" / f"{name}.png"
        few = side_by_side(pages).quantize(96, dither=Image.Dither.NONE)
        few.save(target, optimize=True)
        print(f"{target.name}: {target.stat().st_size / 1024:.0f} kB", flush=True)
    os._exit(0)  # bpy may hang when it is unloaded


def side_by_side(pages: list[Image.Image]) -> Image.Image:
    """Return the pages in a row, as sheets on a table."""
    width = sum(page.width for page in pages) + GAP * (len(pages) + 1)
    table = Image.new("RGB", (width, max(page.height for page in pages) + 2 * GAP), GROUND)
    left = GAP
    for page in pages:
        table.paste(page, (left, GAP))
        edge = (left, GAP, left + page.width, GAP + page.height)
        ImageDraw.Draw(table).rectangle(edge, None, EDGE)
        left += page.width + GAP
    return table


if __name__ == "__main__":
    main()
