"""Pages as pictures: compared with ones that were looked at and found good.

A picture that no longer fits is written to the temporary folder and its path is in the message.
Look at it; if it is what it should be, run with MOULDPLY_KEEP_PICTURES=1 to keep it.
"""

import os
from pathlib import Path

import numpy as np
import pytest
from export.bench_sheet import full_sheet
from export.kit import kit_of_patterns, pdf_pages
from PIL import Image, ImageFilter

from flatten.export.paper import PaperSettings
from flatten.export.sheet import layup_pdf
from flatten.export.templates import templates_pdf, test_sheet_pdf

FOLDER = Path(__file__).with_name("pictures")
DPI = 60
# Renderers smooth edges differently: pictures are blurred before they are compared, so that a
# hair's breadth does not count; a word that moved or a line that is missing does.
BLUR_PX, DIFFERS, MOST_DIFFERENT = 1.2, 40, 0.004

MAKERS = {
    "layup": lambda paper: layup_pdf(full_sheet(), paper),
    "templates": lambda paper: templates_pdf(kit_of_patterns(), paper),
    "test_sheet": lambda paper: test_sheet_pdf(paper, printer="studio"),
}
PAGES = {"layup": (0, 1, 2), "templates": (0, 1, 4), "test_sheet": (0,)}


def blurred(image: Image.Image) -> np.ndarray:
    return np.asarray(image.filter(ImageFilter.GaussianBlur(BLUR_PX)), float)


def share_different(one: Image.Image, other: Image.Image) -> float:
    """Return the share of pixels that differ clearly."""
    return float((np.abs(blurred(one) - blurred(other)) > DIFFERS).mean())


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
@pytest.mark.parametrize("kind", MAKERS)
def test_pages_look_as_they_did_when_looked_at(kind, sheet, tmp_path):
    pages = pdf_pages(MAKERS[kind](PaperSettings(sheet=sheet)), DPI)

    for number in PAGES[kind]:
        if number >= len(pages):
            continue
        now = Image.fromarray(pages[number]).convert("L")
        file = FOLDER / f"{kind}_{sheet}_{number + 1}.png"
        if os.environ.get("MOULDPLY_KEEP_PICTURES"):
            FOLDER.mkdir(exist_ok=True)
            now.quantize(16).save(file, optimize=True)
        kept = Image.open(file).convert("L")
        now.save(tmp_path / file.name)
        assert now.size == kept.size
        assert share_different(now, kept) <= MOST_DIFFERENT, tmp_path / file.name


def test_a_moved_word_would_be_seen():
    """The comparison can fail: a label moved by 2 mm, a line taken away."""
    page = Image.fromarray(pdf_pages(layup_pdf(full_sheet(), PaperSettings()), DPI)[0]).convert("L")
    pixels = np.asarray(page).copy()
    moved = pixels.copy()
    moved[0:90, 5:250] = pixels[0:90, 0:245]  # the title, two millimetres to the right

    assert share_different(page, Image.fromarray(moved)) > MOST_DIFFERENT
    assert share_different(page, page) == 0
