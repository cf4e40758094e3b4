"""Make `pictures/way_through.png` from a sample: mould, drape, patterns, roll, taped paper.

Longer than most files: one picture, its five panels drawn with the same pens.

python blend_samples/make_pictures.py                 the way through
python blend_samples/make_pictures.py --window SHOTS  the guide's, cut from the screenshots that
                                                      tests/window/guide*.py leave in SHOTS

Needs the `blender` and `test` extras.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
from PIL import Image, ImageDraw, ImageFilter, ImageFont

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

from addon.blend_reader import read_job  # noqa: E402
from flatten.export import fonts as font_files  # noqa: E402
from flatten.export.paper import FOOTER_MM  # noqa: E402
from flatten.export.pattern_drawing import pattern_drawing  # noqa: E402
from flatten.export.render import Picture, render, view_from, visible  # noqa: E402
from flatten.export.roll_drawing import roll_drawing  # noqa: E402
from flatten.export.templates import templates_pdf  # noqa: E402
from flatten.export.tiles import plan_tiles  # noqa: E402
from flatten.run import run  # noqa: E402

SAMPLE = "hatch_cover"
WIDTH, HEIGHT = 1760, 1120
OVER = 2  # drawn larger by this and then shrunk, for smooth lines
THREAD_MM = 16.0
PAPER_WHITE, GROUND, INK = (255, 255, 255), (246, 245, 242), (28, 31, 36)
SOFT, ACCENT, OCHRE = (110, 114, 120), (18, 84, 107), (193, 120, 20)
CLOTH, CLOTH_DEEP = np.array([0.80, 0.88, 0.89]), np.array([0.30, 0.60, 0.66])
BARE = np.array([0.87, 0.86, 0.83])
LAYER_COLOURS = {
    "CUT": INK, "NET_LINE": (33, 92, 168), "ARROW": (33, 92, 168), "NOTCH": (26, 122, 92),
    "TACK": OCHRE, "TEXT": SOFT, "ROLL_EDGE": (140, 145, 153), "SELVEDGE": (180, 184, 190),
}  # fmt: skip

WINDOW = (0, 24, 1188, 822)  # of a screenshot: menus, 3D view and sidebar
MAP = (0, 24, 905, 822)  # and without the sidebar, for a map
# Left, top, right, bottom of what is drawn in each step, in pixels of the finished picture.
PANELS = {
    "mould": (30, 25, 560, 405),
    "drape": (605, 25, 1150, 405),
    "patterns": (1215, 25, 1735, 405),
    "roll": (30, 535, 1010, 1000),
    "paper": (1120, 535, 1730, 1000),
}
CAPTIONS = {
    "mould": ("1", "Mould", "a block to print, and where the cloth is to lie"),
    "drape": ("2", "Drape", "threads keep their length; the weave shears"),
    "patterns": ("3", "Patterns", "part edge, trim, warp arrow, tack point"),
    "roll": ("4", "Roll", "all plies on the cloth there is, for the cutter"),
    "paper": ("5", "Paper", "true size, trimmed and taped, for scissors"),
}


def main(arguments: list[str]) -> None:
    """Run the sample and draw its five steps, or cut the window's pictures."""
    if arguments[:1] == ["--window"]:
        window_pictures(Path(arguments[1]))
        return
    job = read_job(HERE / f"{SAMPLE}.blend")
    result = run(job)
    sheet = Image.new("RGB", (WIDTH * OVER, HEIGHT * OVER), GROUND)
    draw_mould(sheet, job, result)
    draw_drape(sheet, job, result)
    draw_patterns(sheet, result)
    draw_roll(sheet, result)
    draw_paper(sheet, job, result)
    for step, words in CAPTIONS.items():
        caption(sheet, PANELS[step], *words)
    arrows(sheet)
    small = sheet.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS)
    file = HERE / "pictures" / "way_through.png"
    small.quantize(160, dither=Image.Dither.NONE).save(file, optimize=True)
    print(f"{file.name}: {file.stat().st_size / 1024:.0f} kB", flush=True)
    os._exit(0)  # bpy may hang when it is unloaded


def window_pictures(shots: Path) -> None:
    """Cut the 3D view and the sidebar out of screenshots of 1440 x 900."""
    for file in sorted(shots.glob("guide_*.png")):
        view = Image.open(file).convert("RGB")
        view = view.crop(MAP if file.stem.endswith(("shear", "locks", "proposed")) else WINDOW)
        view.save(HERE / "pictures" / file.name, optimize=True)


def draw_mould(sheet: Image.Image, job, result) -> None:
    """Draw the mould, the ply's region tinted and outlined."""
    ply = result.pieces[0].ply
    colours = np.tile(BARE, (len(job.mould.faces), 1))
    colours[ply.faces] = CLOTH
    picture = shaded(job, job.mould.vertices, job.mould.faces, colours, PANELS["mould"])
    paste_shaded(sheet, picture, PANELS["mould"])


def draw_drape(sheet: Image.Image, job, result) -> None:
    """Draw the cloth on the mould: darker where it shears, its threads, the tack point."""
    piece = result.pieces[0]
    fine = piece.drape.fine
    shear = np.abs(fine.strain[:, 2])
    share = (shear / np.quantile(shear, 0.995)).clip(0, 1)[:, None] ** 0.8
    cloth = CLOTH * (1 - share) + CLOTH_DEEP * share
    vertices = np.vstack([job.mould.vertices, lifted(fine.surface, 0.6)])
    faces = np.vstack([job.mould.faces, fine.surface.faces + len(job.mould.vertices)])
    colours = np.vstack([np.tile(BARE, (len(job.mould.faces), 1)), cloth])
    picture = shaded(job, vertices, faces, colours, PANELS["drape"])
    paste_shaded(sheet, picture, PANELS["drape"])
    pen = ImageDraw.Draw(sheet)
    raised = lifted(fine.surface, 1.2)
    for axis, colour in ((1, ACCENT), (0, OCHRE)):
        for level in np.arange(-40, 41) * THREAD_MM:
            for ends in thread(raised, fine.surface.faces, fine.flat, axis, level):
                if visible(picture, ends.mean(axis=0)[None], 4.0)[0]:
                    width = 5 if level == 0 else 2
                    pen.line(in_panel(picture, ends, PANELS["drape"]), colour, width)
    (x, y), *_ = in_panel(picture, piece.drape.tack_mm[None], PANELS["drape"])
    pen.ellipse((x - 13, y - 13, x + 13, y + 13), PAPER_WHITE, OCHRE, 6)


def draw_patterns(sheet: Image.Image, result) -> None:
    """Draw two of the patterns, one below the other."""
    left, top, right, bottom = PANELS["patterns"]
    middle = (top + bottom) // 2
    chosen = [result.patterns[0], result.patterns[1]]
    widest = max(p.cut.bounds[2] - p.cut.bounds[0] for p in chosen)
    tallest = max(p.cut.bounds[3] - p.cut.bounds[1] for p in chosen)
    scale = min((right - left) / widest / 1.45, (middle - top - 6) / tallest * 1.34) * OVER
    places = ((left, top, left + int(widest * scale / OVER), top + int(tallest * scale / OVER)),)
    size = places[0][2] - left, places[0][3] - top
    places += ((right - size[0], bottom - size[1], right, bottom),)
    for pattern, place in zip(reversed(chosen), reversed(places), strict=True):
        at = to_panel(pattern.cut.bounds, place)
        fill_shadow(sheet, at(np.array(pattern.cut.exterior.coords)), PAPER_WHITE)
        draw_drawing(sheet, pattern_drawing(pattern), at)


def draw_roll(sheet: Image.Image, result) -> None:
    """Draw the nest of the first cloth, the roll's length upwards."""
    nest = next(iter(result.nests.values()))
    drawing = roll_drawing(nest, result.patterns).moved(0, 0, 90)
    lines = np.vstack([line.straightened() for line in drawing.lines if line.layer == "CUT"])
    edges = [line for line in drawing.lines if line.layer in ("ROLL_EDGE", "SELVEDGE")]
    every = np.vstack([lines, *(line.straightened() for line in edges)])
    at = to_panel((*every.min(axis=0), *every.max(axis=0)), PANELS["roll"])
    pen = ImageDraw.Draw(sheet)
    cloth = Image.new("L", sheet.size, 0)
    for sheet_mm in cloth_areas(drawing):
        ImageDraw.Draw(cloth).polygon(tuples(at(sheet_mm)), 255)
    sheet.paste(weave(sheet.size), (0, 0), cloth)
    for line in drawing.lines:
        if line.layer == "CUT":
            pen.polygon(tuples(at(line.straightened())), PAPER_WHITE)
    draw_drawing(sheet, replace(drawing, texts=()), at)
    titles = dict(drawing.pieces)
    face = ImageFont.truetype(font_file("bold"), 17 * OVER)
    for line in drawing.lines:
        if line.layer == "CUT":
            low, high = (end(at(line.straightened()), axis=0) for end in (np.min, np.max))
            x, y = (low + high) / 2
            title = titles[line.piece].replace("latch doubler, ", "")
            halo = {"stroke_width": 4 * OVER, "stroke_fill": PAPER_WHITE}  # an arrow may run here
            pen.text((x, y + 26 * OVER), title, INK, face, anchor="mm", **halo)


def cloth_areas(drawing) -> list[np.ndarray]:
    """Return the outlines of the rolls and offcuts in a drawing of rolls, mm."""
    return [
        line.straightened()
        for line in drawing.lines
        if line.layer == "ROLL_EDGE" and line.closed and len(line.points) > 3
    ]


def draw_paper(sheet: Image.Image, job, result) -> None:
    """Draw the first pattern's sheets as they come from the printer, trimmed and taped."""
    paper = job.settings.paper
    plan = plan_tiles(result.patterns, paper)
    document = pypdfium2.PdfDocument(templates_pdf(result.patterns, paper))
    maps = len(document) - plan.sheets
    group = plan.groups[0]
    width = max(tile.x_mm for tile in group.tiles) + group.tile_mm[0]
    height = max(tile.y_mm for tile in group.tiles) + group.tile_mm[1]
    left, top, right, bottom = (side * OVER for side in PANELS["paper"])
    scale = min((right - left) / width, (bottom - top) / height)
    x0 = left + (right - left - scale * width) / 2
    y0 = top + (bottom - top - scale * height) / 2
    joints = []
    for number, tile in enumerate(group.tiles):
        page = document[maps + number].render(scale=3).to_pil().convert("RGB")
        mm = page.width / plan.page.width_mm
        low = page.height - (plan.page.margin_mm + FOOTER_MM) * mm
        edge = plan.page.margin_mm * mm
        box = (edge, low - group.tile_mm[1] * mm, edge + group.tile_mm[0] * mm, low)
        size = tuple(int(side * scale) for side in group.tile_mm)
        part = page.crop(tuple(int(side) for side in box)).resize(size, Image.Resampling.LANCZOS)
        x = int(x0 + tile.x_mm * scale)
        y = int(y0 + (height - tile.y_mm - group.tile_mm[1]) * scale)
        shadow(sheet, (x, y, x + size[0], y + size[1]))
        sheet.paste(part, (x, y))
        ImageDraw.Draw(sheet).rectangle((x, y, x + size[0], y + size[1]), None, (205, 205, 200), 2)
        joints.append((tile, x, y, size))
    tape(sheet, joints)
    pen = ImageDraw.Draw(sheet)
    outline = np.array(group.placed[0].area.exterior.coords)
    places = [x0, y0] + (outline * [1, -1] + [0, height]) * scale
    pen.line(tuples(places), INK, 5, joint="curve")


def tape(sheet: Image.Image, joints: list) -> None:
    """Lay strips of tape over the joints of neighbouring sheets."""
    over = Image.new("RGBA", sheet.size, (0, 0, 0, 0))
    pen = ImageDraw.Draw(over)
    taken = {(tile.row, tile.column) for tile, *_ in joints}
    for tile, x, y, size in joints:
        half, long = 13, 46
        if (tile.row, tile.column + 1) in taken:
            cx, cy = x + size[0] - 8, y + size[1] // 2
            pen.rectangle((cx - long, cy - half, cx + long, cy + half), (233, 205, 130, 150))
        if (tile.row + 1, tile.column) in taken:
            cx, cy = x + size[0] // 4, y + size[1] - 8  # the middle is the label's
            pen.rectangle((cx - half, cy - long, cx + half, cy + long), (233, 205, 130, 150))
    sheet.paste(over, (0, 0), over)


def shaded(job, vertices, faces, colours, panel) -> Picture:
    """Render into the size of a panel."""
    axes = view_from(job.rosette.zero, job.rosette.normal, turn_deg=-24, height_deg=46)
    width, height = ((panel[2] - panel[0]) * OVER, (panel[3] - panel[1]) * OVER)
    return render(vertices, faces, colours, axes, width, height)


def lifted(surface, by_mm: float) -> np.ndarray:
    """Return the vertices moved off the mould, so that nothing flickers through."""
    corners = surface.vertices[surface.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = np.zeros_like(surface.vertices)
    for corner in range(3):
        np.add.at(total, surface.faces[:, corner], normal)
    return surface.vertices + by_mm * total / np.linalg.norm(total, axis=1)[:, None]


def thread(vertices, faces, flat, axis: int, level: float) -> np.ndarray:
    """Return (k, 2, 3): the pieces on the mould of one thread, a straight line in the flat."""
    side = flat[faces][:, :, axis] - level
    crossed = (side.min(axis=1) < 0) & (side.max(axis=1) > 0)
    pieces = []
    for face, off in zip(faces[crossed], side[crossed], strict=True):
        ends = []
        for a, b in ((0, 1), (1, 2), (2, 0)):
            if off[a] * off[b] < 0:
                share = off[a] / (off[a] - off[b])
                ends.append((1 - share) * vertices[face[a]] + share * vertices[face[b]])
        if len(ends) == 2:
            pieces.append(ends)
    return np.array(pieces).reshape(-1, 2, 3)


def paste_shaded(sheet: Image.Image, picture: Picture, panel) -> None:
    rgba = (np.dstack([picture.rgb, picture.alpha]) * 255 + 0.5).astype(np.uint8)
    image = Image.fromarray(rgba, "RGBA")
    sheet.paste(image, (panel[0] * OVER, panel[1] * OVER), image)


def in_panel(picture: Picture, points, panel) -> list[tuple[float, float]]:
    seen = picture.view.project(points)
    return [(panel[0] * OVER + x, panel[3] * OVER - y) for x, y in seen[:, :2]]


def to_panel(bounds, panel) -> Callable[[np.ndarray], np.ndarray]:
    """Return the map from mm to pixels that centres a drawing in a panel."""
    left, top, right, bottom = (side * OVER for side in panel)
    scale = min((right - left) / (bounds[2] - bounds[0]), (bottom - top) / (bounds[3] - bounds[1]))
    middle = np.array([(bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2])
    centre = np.array([(left + right) / 2, (top + bottom) / 2])
    return lambda points: centre + (np.asarray(points) - middle) * [scale, -scale]


def draw_drawing(sheet: Image.Image, drawing, at) -> None:
    """Draw the lines and larger texts of a drawing of the engine."""
    pen = ImageDraw.Draw(sheet)
    one_mm = float(at(np.array([[1.0, 0.0]]))[0, 0] - at(np.array([[0.0, 0.0]]))[0, 0])
    for line in drawing.lines:
        colour = LAYER_COLOURS.get(line.layer)
        if colour is None:
            continue
        points = at(line.straightened())
        if line.closed:
            points = np.vstack([points, points[:1]])
        width = 4 if line.layer == "CUT" else 3
        dashed(pen, points, colour, width) if line.layer == "NET_LINE" else pen.line(
            tuples(points), colour, width, joint="curve"
        )
    for text in drawing.texts:
        height = text.height_mm * one_mm * 1.35
        if height < 9 or text.layer == "CHECK_SQUARE":
            continue
        face = ImageFont.truetype(font_file(), int(height))
        x, y = at(np.array([text.at]))[0]
        anchor = "mm" if text.anchor == "middle" else "ls"
        pen.text((x, y), text.text, SOFT, face, anchor=anchor)


def dashed(pen: ImageDraw.ImageDraw, points, colour, width: int) -> None:
    """Draw a dashed polyline."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0], np.cumsum(step)])
    for start in np.arange(0, along[-1], 22):
        places = np.linspace(start, min(start + 13, along[-1]), 4)
        x, y = (np.interp(places, along, points[:, axis]) for axis in (0, 1))
        pen.line(list(zip(x, y, strict=True)), colour, width)


def weave(size: tuple[int, int]) -> Image.Image:
    """Return a hint of woven cloth."""
    cloth = Image.new("RGB", size, (222, 229, 230))
    pen = ImageDraw.Draw(cloth)
    for x in range(8, size[0], 16):
        pen.line(((x, 0), (x, size[1])), (209, 219, 220), 2)
    for y in range(8, size[1], 16):
        pen.line(((0, y), (size[0], y)), (209, 219, 220), 2)
    return cloth


def fill_shadow(sheet: Image.Image, points, colour) -> None:
    """Fill an outline, with a soft shadow under it."""
    mask = Image.new("L", sheet.size, 0)
    ImageDraw.Draw(mask).polygon(tuples(points + [3, 7]), 70)
    mask = mask.filter(ImageFilter.GaussianBlur(7))
    sheet.paste(Image.new("RGB", sheet.size, (90, 92, 96)), (0, 0), mask)
    ImageDraw.Draw(sheet).polygon(tuples(points), colour)


def shadow(sheet: Image.Image, box) -> None:
    corners = np.array([(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])])
    fill_shadow(sheet, corners, PAPER_WHITE)


def caption(sheet: Image.Image, panel, number: str, title: str, words: str) -> None:
    """Write the step's number, name and one line under its panel."""
    pen = ImageDraw.Draw(sheet)
    x, y = panel[0] * OVER, (panel[3] + 24) * OVER
    radius = 17 * OVER
    pen.ellipse((x, y, x + 2 * radius, y + 2 * radius), ACCENT)
    bold = ImageFont.truetype(font_file("bold"), 21 * OVER)
    pen.text((x + radius, y + radius), number, PAPER_WHITE, bold, anchor="mm")
    heading = ImageFont.truetype(font_file("bold"), 25 * OVER)
    pen.text((x + 2 * radius + 14 * OVER, y + radius), title, INK, heading, anchor="lm")
    line = ImageFont.truetype(font_file(), 21 * OVER)
    pen.text((x, y + 2 * radius + 21 * OVER), words, SOFT, line, anchor="lm")


def arrows(sheet: Image.Image) -> None:
    """Lead the eye from step to step."""
    pen = ImageDraw.Draw(sheet)
    for x, y in ((582, 215), (1182, 215), (1065, 770)):
        x, y = x * OVER, y * OVER
        pen.line(((x - 24, y - 34), (x + 16, y), (x - 24, y + 34)), ACCENT, 12, joint="curve")


def font_file(weight: str = "regular") -> str:
    return str(Path(font_files.__file__).parent / "fonts" / f"bench_sans_{weight}.ttf")


def tuples(points) -> list[tuple[float, float]]:
    return [tuple(point) for point in np.asarray(points).tolist()]


if __name__ == "__main__":
    main(sys.argv[1:])
