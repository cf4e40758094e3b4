"""The lay-up sheet: complete, large enough to read, nothing overlapping or cut off."""

import io
from dataclasses import replace
from functools import cache

import numpy as np
import pypdf
import pypdfium2
import pytest
from export.bench_sheet import full_sheet, picture
from export.kit import kit_of_patterns, pattern, pdf_pages, wavy

from flatten.errors import InputError
from flatten.export.layup_facts import LayupSheet, StackRow
from flatten.export.paper import SHEETS_MM, PaperSettings
from flatten.export.pattern_picture import BIAS_FROM_DEG, bias_zones
from flatten.export.render import fitted_view, render, view_from
from flatten.export.sheet import MARGIN_MM, layup_pdf
from flatten.pattern.pattern import ShearMap

A4, LETTER = PaperSettings(), PaperSettings(sheet="Letter")
ONE_PLY = (StackRow(number=1, name="outer skin", fabric="carbon", angle="0°"),)


@cache
def sample(paper: PaperSettings) -> bytes:
    """The full sheet, made once: most tests only look at it."""
    return layup_pdf(full_sheet(), paper)


def words_of(data: bytes) -> str:
    """All text of a PDF, blanks made even."""
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize("paper", [A4, LETTER])
def test_the_sheet_has_one_to_three_pages_of_the_papers_size(paper):
    pages = pypdf.PdfReader(io.BytesIO(sample(paper))).pages

    assert 1 <= len(pages) <= 3
    for page in pages:
        size = float(page.mediabox.width), float(page.mediabox.height)
        assert size == pytest.approx([s * 72 / 25.4 for s in SHEETS_MM[paper.sheet]], abs=0.01)


def test_every_fact_is_on_it():
    sheet = full_sheet()
    text = words_of(sample(A4))

    for row in sheet.stack:
        assert f"{row.name} {row.fabric}" in text or row.name in text
    for words in (
        "168 g", "100 : 30 by weight", "30 min", "1.0 mm, 1.2 mm at the patch",  # the key facts
        "252 mm from edge C, 187 mm from edge D", "352 mm from edge C",  # tack point and 0°
        "61.2", "18.4", "resin batch", "mixed at", "time", "+45°",  # pots and blanks
        "work the bias here", "peel ply", "0.14 m²", "4 coats, 6 g",
        "the halves lap by 25 mm", "Where the dome meets the flange",
        "plies 1, 2, 3: 3 pieces", "ply 4: 1 piece", "The least draft is 4.2°.",
        "plies 1, 2, 3", "tack", "0°",
    ):  # fmt: skip
        assert words in text, words
    for caution in sheet.cautions:
        assert caution.split(":")[0] in text
    assert text.index("The least draft") > text.index(
        "Ply 1 outer skin: It shears to 42°"
    )  # the gravest first


@pytest.mark.parametrize("paper", [A4, LETTER])
def test_all_text_is_eleven_point_or_more(paper):
    """Readable with gloves on, at arm's length: the client's figure."""
    sizes = []

    def visit(text, matrix, text_matrix, font, size):
        if text.strip():
            scale = np.hypot(matrix[0], matrix[1]) * np.hypot(text_matrix[0], text_matrix[1])
            sizes.append(size * scale)

    for page in pypdf.PdfReader(io.BytesIO(sample(paper))).pages:
        page.extract_text(visitor_text=visit)

    assert len(sizes) > 100
    assert min(sizes) >= 11.0


@pytest.mark.parametrize("paper", [A4, LETTER])
def test_no_text_runs_into_another_or_off_the_page(paper):
    document = pypdfium2.PdfDocument(sample(paper))
    edge = MARGIN_MM / 25.4 * 72 - 3

    for page in document:
        boxes = text_boxes(page)
        width, height = page.get_size()
        assert len(boxes) > 20
        for words, (left, bottom, right, top) in boxes:
            assert left > edge, words
            assert right < width - edge, words
            assert bottom > edge - 4, words
            assert top < height - edge + 4, words
        for i, (words, a) in enumerate(boxes):
            for others, b in boxes[:i]:
                shared = (min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1]))
                overlap = max(shared[0], 0) * max(shared[1], 0)
                assert overlap < 2.0 or words == others, (words, others)


def text_boxes(page):
    """Return (words, box) of the text of a page, in points."""
    text = page.get_textpage()
    boxes = [text.get_rect(i) for i in range(text.count_rects())]
    return [(text.get_text_bounded(*box).strip(), box) for box in boxes]


def test_long_names_are_kept_inside_their_boxes():
    """A name of 300 letters, with and without blanks, moves nothing off the page."""
    long = "starboard reinforcement of the inner rim " * 6
    sheet = full_sheet(
        part="Hatch" * 50,
        mould=None,
        stack=(StackRow(number=1, name=long, fabric="x" * 200, angle="+45°", side=long),),
        kits=(),
    )
    for page in pypdfium2.PdfDocument(layup_pdf(sheet, A4)):
        width, _ = page.get_size()
        assert all(box[2] < width - 30 for _, box in text_boxes(page))


def test_a_sheet_with_the_least_facts_is_one_page():
    data = layup_pdf(LayupSheet(part="Tray", stack=ONE_PLY), A4)

    assert len(pypdf.PdfReader(io.BytesIO(data)).pages) == 1
    assert "date ____" in words_of(data)
    assert "date 3 May" in words_of(
        layup_pdf(LayupSheet(part="T", stack=ONE_PLY, date="3 May"), A4)
    )


def test_same_facts_same_bytes():
    assert layup_pdf(full_sheet(), A4) == sample(A4)


@pytest.mark.parametrize("name", ["Κάλυμμα καγιάκ", "Крышка люка", "カヤックのハッチ蓋"])
def test_names_in_any_script_are_on_it(name):
    assert name in words_of(layup_pdf(full_sheet(part=name, mould=None), LETTER))


@pytest.mark.parametrize("name", ["(x) Tj ET", "<b>&amp;", "\\(", "a\x00\n\u202eb"])
def test_a_name_cannot_write_into_the_page(name):
    data = layup_pdf(full_sheet(part=name, mould=None), A4)

    assert "lay-up sheet" in words_of(data)
    assert len(pypdf.PdfReader(io.BytesIO(data)).pages) <= 3


def test_twenty_plies_go_on_over_the_page_with_the_tables_head_again():
    rows = tuple(
        StackRow(number=i, name=f"ply {i}", fabric="carbon", angle="0°") for i in range(1, 21)
    )
    reader = pypdf.PdfReader(io.BytesIO(layup_pdf(LayupSheet(part="Tray", stack=rows), A4)))

    assert len(reader.pages) == 2
    assert all("name, cloth" in page.extract_text() for page in reader.pages)


@pytest.mark.parametrize(("paper", "plies"), [(A4, 12), (LETTER, 10)])
def test_many_plies_with_all_their_patterns_keep_to_three_pages(paper, plies):
    sheet, patterns = full_sheet(), kit_of_patterns()
    stack = [replace(row, number=4 * i + row.number) for i in range(3) for row in sheet.stack]
    pieces = [
        replace(p, id=f"{p.id}-{i}", ply_number=4 * i + p.ply_number)
        for i in range(3)
        for p in patterns
    ]
    many = full_sheet(stack=tuple(stack[:plies]), patterns=tuple(pieces[:plies]))

    assert len(pypdf.PdfReader(io.BytesIO(layup_pdf(many, paper))).pages) <= 3


def test_tack_points_a_tape_cannot_tell_apart_are_said_once():
    (place,) = full_sheet().places
    near = replace(place, plies="ply 2", tack_mm=(254.0, 186.0), ahead_mm=(354.0, 186.0))
    far = replace(place, plies="ply 3", tack_mm=(262.0, 187.2), ahead_mm=(362.0, 187.2))
    text = words_of(layup_pdf(full_sheet(mould=None, places=(place, near, far)), A4))

    assert text.count("Tack point (") == 2
    assert "Tack point (all plies, ply 2): 252 mm" in text
    assert "Tack point (ply 3): 262 mm" in text


def test_no_plies_no_sheet():
    with pytest.raises(InputError, match="'Tray' has no plies"):
        layup_pdf(LayupSheet(part="Tray", stack=()), A4)


def test_bias_zones_lie_where_the_shear_is_and_pull_along_the_diagonal():
    """Cloth whose threads close up is longer along the diagonal between them: trellis shear."""
    net = wavy(150, 100)
    zones = bias_zones(kit_of_patterns()[0])
    grid = np.array(
        [[[x, y], [x + 10, y], [x, y + 10]] for x in (-50, 40) for y in (-50, 40)], float
    )
    shear = ShearMap(
        triangles=grid * 1.0, shear_deg=np.array([20.0, -30, 5, 0]), locked=np.zeros(4, bool)
    )
    tiny = bias_zones(pattern(net, shear=shear))

    assert len(zones) == 4
    for zone in zones:
        x, y = zone.at
        assert zone.pull_deg == (45.0 if x * y > 0 else -45.0)
        assert zone.worst_deg >= BIAS_FROM_DEG
    assert tiny == []  # below a hundredth of the piece's area


def test_the_picture_shows_each_point_where_it_projects_and_the_nearer_face():
    """A square in front of a larger one: depth decides, not the order of the faces."""
    square = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], float)
    vertices = np.vstack([0.5 * square + [0, 0, 1], 2 * square])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    red, blue = [1.0, 0, 0], [0, 0, 1.0]
    axes = view_from(np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), turn_deg=0, height_deg=90)

    seen = render(vertices, faces, np.array([red, red, blue, blue]), axes, 80, 80)

    assert seen.rgb[40, 40].argmax() == 0
    assert seen.rgb[8, 8].argmax() == 2
    assert np.mean(seen.rgb[..., 0] > seen.rgb[..., 2]) == pytest.approx(
        (1 / 4) ** 2 * 0.9, rel=0.2
    )
    assert seen.depth[40, 40] == pytest.approx(1.0)
    assert seen.view.project(vertices[:1])[0, :2] == pytest.approx([30, 30], abs=2)


def test_the_view_keeps_everything_inside_the_picture():
    mould = picture()
    view = fitted_view(mould.vertices, view_from(mould.zero, mould.normal), 160, 80)
    seen = view.project(mould.vertices)[:, :2]

    assert seen.min() > -1e-6
    assert (seen.max(axis=0) < [160 + 1e-6, 80 + 1e-6]).all()


@pytest.mark.parametrize("paper", [A4, LETTER])
def test_nothing_is_drawn_in_the_margin(paper):
    for page in pdf_pages(sample(paper), 72):
        inner = page.copy()
        edge = int((MARGIN_MM - 1.0) / 25.4 * 72)
        inner[edge:-edge, edge:-edge] = 255
        assert inner.min() > 220
