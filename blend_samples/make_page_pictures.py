"""Make the guide's pictures of pages: paper, lay-up sheet, and the result in a browser.

python blend_samples/make_page_pictures.py     needs the `blender` and `test` extras, Chromium
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image, ImageDraw

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

from addon.blend_reader import read_job  # noqa: E402
from flatten.commands.page import page  # noqa: E402
from flatten.deliver import deliver  # noqa: E402
from flatten.run import run  # noqa: E402

SAMPLE, SCALE, GAP = "hatch_cover", 1.1, 18
BROWSER = (1100, 1000)
GROUND, EDGE = (228, 227, 223), (200, 199, 195)
# Pages of each file, from 0: the map and two sheets that meet; what hangs at the bench.
PICTURES = {"paper_sheets": ("templates.pdf", (0, 2, 3)), "layup_sheet": ("layup.pdf", (0, 1))}


def main() -> None:
    """Run the sample and lay its pages side by side."""
    job = read_job(HERE / f"{SAMPLE}.blend")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "cut"
        deliver(run(job), job, folder)
        for name, (file, numbers) in PICTURES.items():
            document = pypdfium2.PdfDocument((folder / file).read_bytes())
            pages = [document[n].render(scale=SCALE).to_pil().convert("RGB") for n in numbers]
            save(side_by_side(pages), name)
        (Path(place) / "it.html").write_text(page(folder), encoding="utf-8")
        save(in_browser(Path(place)), "guide_6_page")
    os._exit(0)  # bpy may hang when it is unloaded


def in_browser(place: Path) -> Image.Image:
    """Return the upper part of `it.html` in this folder, as Chromium shows it."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        raise SystemExit("No Chromium here: the page in a browser was not made.")
    subprocess.run(
        [
            chromium, "--headless=new", "--no-sandbox", "--hide-scrollbars",
            f"--window-size={BROWSER[0]},{BROWSER[1]}", "--virtual-time-budget=5000",
            f"--user-data-dir={place / 'user'}", f"--screenshot={place / 'it.png'}",
            (place / "it.html").as_uri(),
        ],
        check=True, timeout=120, capture_output=True,
    )  # fmt: skip
    return Image.open(place / "it.png").convert("RGB").crop((0, 0, *BROWSER))


def save(picture: Image.Image, name: str) -> None:
    """Write a picture of few colours."""
    target = HERE / "pictures" / f"{name}.png"
    picture.quantize(256, kmeans=1, dither=Image.Dither.NONE).save(target, optimize=True)
    print(f"{target.name}: {target.stat().st_size / 1024:.0f} kB", flush=True)


def side_by_side(pages: list[Image.Image]) -> Image.Image:
    """Return the pages in a row, as sheets on a table."""
    width = sum(one.width for one in pages) + GAP * (len(pages) + 1)
    table = Image.new("RGB", (width, max(one.height for one in pages) + 2 * GAP), GROUND)
    left = GAP
    for one in pages:
        table.paste(one, (left, GAP))
        edge = (left, GAP, left + one.width, GAP + one.height)
        ImageDraw.Draw(table).rectangle(edge, None, EDGE)
        left += one.width + GAP
    return table


if __name__ == "__main__":
    main()
