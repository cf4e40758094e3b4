"""Templates on paper: true scale, sheets that meet, nothing cut off, honest printers only.

Longer than most files: the whole paper, read back as pixels.
"""

import io
from dataclasses import replace

import numpy as np
import pypdf
import pytest
from export.kit import kit_of_patterns, pattern, pdf_pages, wavy
from numpy.testing import assert_allclose
from scipy.ndimage import binary_closing, maximum_filter
from shapely import LineString, Point, Polygon, box

from flatten.errors import InputError
from flatten.export.calibration import (
    Calibration,
    calibrated,
    printers_text,
    read_printers,
    with_printer,
)
from flatten.export.grid import filled
from flatten.export.paper import FOOTER_MM, SHEETS_MM, PaperSettings
from flatten.export.pattern_drawing import CHECK_MM
from flatten.export.templates import templates_pdf, test_sheet_pdf
from flatten.export.tiles import plan_tiles

DPI = 254  # ten pixels a millimetre
DARK = 70  # the cut line; the square, the laps, trim lines and marks are paler


def dark(page: np.ndarray, level: int = DARK) -> np.ndarray:
    """Return where a page is inked: every colour below the level."""
    return page.max(axis=2) < level


def square_px(page: np.ndarray) -> tuple[float, float]:
    """Return width and height of the test sheet's square, line middle to line middle, px.

    The square's lines go on for 7 mm past its corners, so its sides are found as the two rows
    and the two columns with the most ink.
    """
    ink = dark(page, 200)
    rows, columns = ink.sum(axis=1), ink.sum(axis=0)
    return _between_two_peaks(columns), _between_two_peaks(rows)


def _between_two_peaks(ink: np.ndarray) -> float:
    strong = np.flatnonzero(ink > 0.8 * ink.max())
    low, high = strong[strong < strong.mean()], strong[strong > strong.mean()]
    return float(high.mean() - low.mean())


@pytest.mark.parametrize("sheet", SHEETS_MM)
def test_a_hundred_millimetres_are_a_thousand_pixels_at_254_dpi(sheet):
    """254 dots an inch are ten a millimetre: an inch is 25.4 mm by definition (ISO 31-1)."""
    (page,) = pdf_pages(test_sheet_pdf(PaperSettings(sheet=sheet)), DPI)

    assert square_px(page) == pytest.approx((1000, 1000), abs=1)


@pytest.mark.parametrize(("x_mm", "y_mm"), [(99.0, 100.5), (101.3, 98.4), (100.0, 100.0)])
@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
def test_templates_are_drawn_larger_where_the_printer_prints_smaller(x_mm, y_mm, orientation):
    """A bar of 100 mm must be drawn 100 / (measured / 100) long; x is across the paper."""
    paper = calibrated(
        PaperSettings(orientation=orientation), Calibration(printer="p", x_mm=x_mm, y_mm=y_mm)
    )
    piece = pattern(box(0, 0, 100, 100), trim=0.0, notches=(), marks=(), arrow=None, tack=None)
    page = pdf_pages(templates_pdf([piece], paper), DPI)[1]

    ink = dark(page)
    width = np.ptp(np.flatnonzero(ink[:, : page.shape[1] // 2 + 600].sum(axis=0) > 800))
    height = np.ptp(np.flatnonzero(ink.sum(axis=1) > 800))
    across, along = (x_mm, y_mm) if orientation == "portrait" else (y_mm, x_mm)
    # the cut line is 0.5 mm wide: outer edge to outer edge of its two sides
    assert width + 1 == pytest.approx(100_000 / across + 5 * 100 / across, abs=1.5)
    assert height + 1 == pytest.approx(100_000 / along + 5 * 100 / along, abs=1.5)


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
def test_neighbouring_sheets_trimmed_and_joined_give_the_outline_to_a_tenth(sheet):
    """The sheets of one ply are put together as the trim lines say; the cut line is compared."""
    paper = PaperSettings(sheet=sheet)
    piece = pattern(wavy(170, 110), notches=(), marks=(), arrow=None, tack=None)
    plan = plan_tiles([piece], paper)
    (group,) = plan.groups
    pages = pdf_pages(templates_pdf([piece], paper), DPI)[1:]

    joined = join(plan, group, pages)

    rows, columns = np.nonzero(dark(joined))
    height = joined.shape[0]
    ink = np.column_stack([(columns + 0.5) / 10, (height - rows - 0.5) / 10])
    outline = LineString(group.placed[0].area.exterior)
    away = np.array([outline.distance(Point(p)) for p in ink[::7]])
    assert away.max() <= 0.25 + 0.1  # half the line's width and a tenth
    mask = dark(joined)
    for distance in np.arange(0, outline.length, 0.5):  # no gap anywhere, at no seam
        point = outline.interpolate(distance)
        assert mask[height - 1 - int(point.y * 10), int(point.x * 10)], distance


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
def test_alignment_marks_meet_when_the_sheets_are_joined(sheet):
    """A diamond over a seam looks the same joined as on the sheet that carries the lap."""
    paper = PaperSettings(sheet=sheet)
    piece = pattern(wavy(170, 110), notches=(), marks=(), arrow=None, tack=None)
    plan = plan_tiles([piece], paper)
    (group,) = plan.groups
    pages = pdf_pages(templates_pdf([piece], paper), DPI)[1:]
    joined = join(plan, group, pages)
    lower = join(plan, group, pages, lap_on_top=True)

    step_x, step_y = group.tile_mm[0] - plan.lap_mm, group.tile_mm[1] - plan.lap_mm
    seen = 0
    for tile in group.tiles:
        if tile.column == 0 and any(t.row == tile.row and t.column == 1 for t in group.tiles):
            for share in (0.25, 0.75):
                x, y = tile.x_mm + step_x, tile.y_mm + share * step_y
                column, row = int(x * 10), joined.shape[0] - int(y * 10)
                spot = (slice(row - 45, row + 45), slice(column - 45, column + 45))
                differ = np.abs(joined[spot].astype(int) - lower[spot]).max(axis=2) > 128
                assert dark(joined[spot], 140).sum() > 300
                assert differ[:, :38].mean() + differ[:, 52:].mean() < 0.02
                seen += 1
    assert seen >= 2


def join(plan, group, pages, *, lap_on_top: bool = False) -> np.ndarray:
    """Trim the sheets at their left and lower edges and lay them on one another, true size."""
    width, height = group.tile_mm
    whole_x = round((max(t.x_mm for t in group.tiles) + width) * 10) + 1
    whole_y = round((max(t.y_mm for t in group.tiles) + height) * 10) + 1
    joined = np.full((whole_y, whole_x, 3), 255, np.uint8)
    order = sorted(range(len(pages)), key=lambda i: (group.tiles[i].y_mm, group.tiles[i].x_mm))
    for i in order[::-1] if lap_on_top else order:
        tile, page = group.tiles[i], pages[i]
        left = round(plan.page.margin_mm * 10)
        bottom = round((plan.page.margin_mm + FOOTER_MM) * 10)
        shown = page[page.shape[0] - bottom - int(height * 10) : page.shape[0] - bottom]
        shown = shown[:, left : left + int(width * 10)]
        row = whole_y - round(tile.y_mm * 10) - shown.shape[0]
        column = round(tile.x_mm * 10)
        joined[row : row + shown.shape[0], column : column + shown.shape[1]] = shown
    return joined


@pytest.mark.parametrize("sheet", SHEETS_MM)
def test_pages_have_the_size_of_the_sheet(sheet):
    """ISO 216 and the US sizes; a point is 1/72 inch."""
    data = templates_pdf(kit_of_patterns(), PaperSettings(sheet=sheet))
    short, long = (side * 72 / 25.4 for side in SHEETS_MM[sheet])

    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        size = sorted((float(page.mediabox.width), float(page.mediabox.height)))
        assert_allclose(size, [short, long], atol=0.01)


def test_every_sheet_has_a_square_its_place_and_the_rule():
    reader = pypdf.PdfReader(io.BytesIO(templates_pdf(kit_of_patterns(), PaperSettings())))
    count = len(reader.pages) - 1

    for number, page in enumerate(reader.pages[1:], start=1):
        text = page.extract_text()
        assert text.count("100 mm") >= 3
        assert f"sheet {number} of {count}" in text
        assert "Print at 100 %" in text


@pytest.mark.parametrize("scale", [1.0, 0.99])
def test_where_no_square_is_free_a_sheet_has_a_scale_each_way(scale):
    """Strips 80 mm wide leave no 100 mm square on A4; no cut line is within 3 mm of a scale's ends.

    Scales are true to the printer, too: one that prints 100 mm as 99 is sent 101.01.
    """
    wide = pattern(box(0, 0, 80, 250), trim=0.0, notches=(), marks=(), arrow=None, tack=None)
    narrow = replace(wide, id="ply2", net=box(0, 0, 70, 250), cut=box(0, 0, 70, 250))
    data = templates_pdf([wide, narrow], PaperSettings(scale_x=scale, scale_y=scale))
    page = pdf_pages(data, DPI)[1]

    shown = page[: -round(10 * (10 + FOOTER_MM))]
    near_cut = maximum_filter(dark(shown, 90), 7)  # its edges are smoothed to grey
    grey = (np.abs(shown.astype(int) - [107, 112, 120]).max(axis=2) < 40) & ~near_cut
    level, (row, left, right) = longest_run(grey)
    upright, (column, top, bottom) = longest_run(grey.T)
    assert (level, upright) == pytest.approx((1000 / scale, 1000 / scale), abs=4)  # a line's width
    for y, x in ((row, left), (row, right), (top, column), (bottom, column)):
        assert not dark(shown[y - 30 : y + 31, x - 30 : x + 31]).any()
    text = pypdf.PdfReader(io.BytesIO(data)).pages[1].extract_text()
    assert "Measure the two scales: 100 mm each" in text
    assert text.count("100 mm") == 3


def longest_run(ink: np.ndarray) -> tuple[int, tuple[int, int, int]]:
    """Return the length of the longest level run of ink, and its row, start and end.

    A line of the drawing may run across it.
    """
    best = (0, (0, 0, 0))
    ink = binary_closing(ink, np.ones((1, 21)))
    for row in np.flatnonzero(ink.sum(axis=1) > 500):
        steps = np.flatnonzero(np.diff(np.concatenate([[0], ink[row].astype(int), [0]])))
        for start, end in zip(steps[::2], steps[1::2], strict=True):
            best = max(best, (int(end - start), (int(row), int(start), int(end - 1))))
    return best


def test_nothing_is_drawn_in_the_margin():
    """What the printer cannot reach stays white, on every page and both paper sizes."""
    for sheet in ("A4", "Letter"):
        for page in pdf_pages(templates_pdf(kit_of_patterns(), PaperSettings(sheet=sheet)), 72):
            inner = page.copy()
            edge = int(9.2 / 25.4 * 72)
            inner[edge:-edge, edge:-edge] = 255
            assert inner.min() > 200


def test_empty_sheets_are_left_out_and_small_patterns_share_one():
    corner = box(0, 0, 500, 30).union(box(0, 0, 30, 500))
    plan = plan_tiles([pattern(corner, trim=0.0)], PaperSettings())
    (group,) = plan.groups
    small = [pattern(box(0, 0, 40, 30), id=f"s{i}", trim=5.0) for i in range(6)]

    assert len(group.tiles) < group.rows * group.columns
    assert plan_tiles(small, PaperSettings()).sheets == 1
    for one in plan_tiles(small, PaperSettings()).groups:
        areas = [placed.area for placed in one.placed]
        assert all(a.distance(b) > 5 for i, a in enumerate(areas) for b in areas[:i])


@pytest.mark.parametrize(
    ("sheet", "upright", "lengthwise"),
    [("A4", 12, 12), ("A3", 6, 8), ("Letter", 12, 12), ("Tabloid", 6, 6)],
)
def test_sheet_counts_of_a_large_rectangle(sheet, upright, lengthwise):
    """500 x 1000 mm, margin and lap 10 mm: n = ceil((x - u) / (u - o)) + 1 each way.

    u is what a sheet shows: our footer and the clear edge cost height, so that the counts by
    the formula with the whole printable height are the least possible.
    """
    piece = pattern(box(0, 0, 494, 994), trim=0.0)
    for orientation, least in (("portrait", upright), ("landscape", lengthwise)):
        paper = PaperSettings(sheet=sheet, orientation=orientation)
        room = paper.pages()[0].room_mm(0), paper.pages()[0].room_mm(1)
        columns, rows = (
            1 if side <= u else int(np.ceil((side - u) / (u - 10))) + 1
            for side, u in zip((500, 1000), room, strict=True)
        )
        sheets = plan_tiles([piece], paper).sheets
        assert least <= sheets == columns * rows
    best = plan_tiles([piece], PaperSettings(sheet=sheet)).sheets
    assert best <= min(
        plan_tiles([piece], PaperSettings(sheet=sheet, orientation=o)).sheets
        for o in ("portrait", "landscape")
    )


def test_a_roll_plotter_gets_one_page_as_long_as_needed_and_never_over_5080_mm():
    """PDF reference 1.7, appendix C: a page is at most 14 400 units of 1/72 inch a side."""
    short = pypdf.PdfReader(
        io.BytesIO(templates_pdf(kit_of_patterns(), PaperSettings(roll_width_mm=914)))
    )
    long = pypdf.PdfReader(
        io.BytesIO(templates_pdf([pattern(box(0, 0, 400, 9000))], PaperSettings(roll_width_mm=610)))
    )

    assert len(short.pages) == 2
    assert float(short.pages[1].mediabox.height) < 1500 * 72 / 25.4
    assert len(long.pages) == 3
    assert all(float(page.mediabox.height) <= 14_400 for page in long.pages)
    assert all("/UserUnit" not in page for page in long.pages)


def test_same_patterns_same_bytes():
    paper = PaperSettings()

    assert templates_pdf(kit_of_patterns(), paper) == templates_pdf(kit_of_patterns(), paper)


@pytest.mark.parametrize("name", ["Κάλυμμα καγιάκ", "Крышка люка", "カヤックのハッチ蓋"])
def test_names_in_any_script_are_on_the_page_with_fonts_embedded(name):
    data = templates_pdf([pattern(box(0, 0, 120, 100), part=name)], PaperSettings())
    reader = pypdf.PdfReader(io.BytesIO(data))

    for page in reader.pages:
        assert name in page.extract_text().replace("\n", "")
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object().get("/FontDescriptor")
            assert descriptor is not None, "a font of the reader's own would be used"
            assert "/FontFile2" in descriptor.get_object()


@pytest.mark.parametrize(
    "name", ["(x) Tj ET Q", "\\)\\", "<</JS(app.alert(1))>>", "a\nb\x00c\u202e"]
)
def test_a_name_cannot_write_pdf_operators(name):
    data = templates_pdf([pattern(box(0, 0, 120, 100), part=name)], PaperSettings())
    reader = pypdf.PdfReader(io.BytesIO(data))
    pages = reader.pages

    assert len(pages) == 2
    assert not {"/OpenAction", "/Names", "/AA"} & set(reader.trailer["/Root"])
    assert "Print at 100 %" in pages[1].extract_text()


def test_progress_is_told_and_can_stop():
    told = []
    templates_pdf(kit_of_patterns(), PaperSettings(), progress=lambda s, w: told.append((s, w)))
    shares = [share for share, _ in told]

    assert shares == sorted(shares)
    assert told[-1][0] == 1.0
    assert "sheet 1 of" in told[0][1]


@pytest.mark.parametrize(
    ("settings", "reason"),
    [
        ({"sheet": "B5"}, "sheet is 'B5'"),
        ({"margin_mm": 80}, "leave"),
        ({"margin_mm": 300}, "leave 0 mm"),
        ({"margin_mm": float("nan")}, "margin_mm is nan"),
        ({"lap_mm": 100}, "laps of 100 mm"),
        ({"lap_mm": 0}, "lap_mm is 0"),
        ({"scale_x": 0.97}, "97 mm in x: the printer is fitting to the page"),
        ({"scale_y": 1.021}, "102.1 mm in y: the printer is fitting to the page"),
        ({"scale_y": float("nan")}, "nan mm in y"),
        ({"roll_width_mm": 100}, "roll_width_mm is 100"),
        ({"roll_width_mm": 6000}, "roll_width_mm is 6000"),
        ({"most_sheets": 0}, "most_sheets is 0"),
    ],
)
def test_paper_nothing_can_be_printed_on_is_refused(settings, reason):
    with pytest.raises(InputError, match=reason):
        PaperSettings(**settings)


@pytest.mark.parametrize("scale", [0.98, 1.02])
def test_two_per_cent_is_still_a_printer(scale):
    assert PaperSettings(scale_x=scale, scale_y=scale).scale_x == scale


def test_a_pattern_that_needs_too_many_sheets_is_refused_with_its_name():
    with pytest.raises(InputError, match=r"need \d+ sheets.*'1 hull'; 20 are allowed"):
        templates_pdf([pattern(box(0, 0, 3000, 1200), name="hull")], PaperSettings(most_sheets=20))
    with pytest.raises(InputError, match="no pattern"):
        templates_pdf([], PaperSettings())


def test_a_part_of_kilometres_is_refused_by_its_area_before_a_grid_is_laid():
    """A slip in the unit: 1 km2 on A4 is more than 20 million sheets (297 x 210 mm at most)."""
    with pytest.raises(InputError, match=r"need more than \d{8} sheets, \d{8} or more .*'1 hull'"):
        plan_tiles([pattern(box(0, 0, 1e6, 1e6), name="hull")], PaperSettings())


@pytest.mark.parametrize("columns", [7, 40])
def test_sheets_of_a_grid_are_those_the_piece_shows_on(columns):
    """A long lean piece with a hole: by the whole outline against each place, small and large."""
    rows, room, step = 30, (190.0, 264.0), (180.0, 254.0)
    wide, high = columns * step[0], rows * step[1]
    lean = Polygon(
        [(5, 5), (wide, high - 5), (wide / 2, 5)],
        [[(0.2 * wide, 60), (0.3 * wide, 90), (0.4 * wide, 60)]],
    )

    def shows(row, column):
        x, y = column * step[0], (rows - 1 - row) * step[1]
        right = x + (room[0] if column == columns - 1 else step[0])
        top = y + (room[1] if row == 0 else step[1])
        return lean.intersection(box(x, y, right, top)).area > 0.01

    wanted = [(r, c) for r in range(rows) for c in range(columns) if shows(r, c)]
    found = filled(lean, rows, columns, room, step)
    assert [(row, column) for row, column, _, _ in found] == wanted
    assert len(wanted) < rows * columns / 1.5
    assert all((x, y) == (c * step[0], (rows - 1 - r) * step[1]) for r, c, x, y in found)


def test_printers_are_kept_by_name_and_measured_anew():
    first = Calibration(printer="studio", x_mm=99.5, y_mm=100.2)
    store = with_printer({}, first)
    store = with_printer(store, Calibration(printer="Εκτυπωτής", x_mm=100.0, y_mm=100.0))
    store = with_printer(store, replace(first, x_mm=99.6))

    assert read_printers(printers_text(store)) == store
    assert store["studio"].x_mm == 99.6
    assert calibrated(PaperSettings(), store["studio"]).scale_x == pytest.approx(0.996)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("{", "damaged"),
        ("[]", "not a list of printers"),
        ('{"format": "mouldply printers", "version": 2, "printers": []}', "version 2"),
        ('{"format": "mouldply printers", "version": 1, "printers": 3}', "damaged"),
        (
            '{"format": "mouldply printers", "version": 1, "printers": '
            '[{"printer": "p", "x_mm": 94, "y_mm": 100}]}',
            "fitting",
        ),
        (
            '{"format": "mouldply printers", "version": 1, "printers": '
            '[{"printer": "p", "x_mm": 100, "y_mm": 100, "z": 1}]}',
            "unknown field",
        ),
    ],
)
def test_a_damaged_list_of_printers_is_refused(text, reason):
    with pytest.raises(InputError, match=reason):
        read_printers(text)


def test_the_check_square_is_a_hundred_millimetres():
    assert CHECK_MM == 100.0
