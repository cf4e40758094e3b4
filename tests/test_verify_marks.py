"""The end check of notches, tack crosses, dart ends and words, in every kind of file."""

from dataclasses import replace

import pytest
from sample_jobs import dish_job, tray_job

from flatten.deliver import files_and_sheets
from flatten.errors import SolveError
from flatten.export.drawing import Text
from flatten.export.dxf import dxf_bytes
from flatten.export.layers import NOTCH, TACK, TEXT
from flatten.export.pattern_drawing import patterns_drawing
from flatten.export.roll_drawing import rolls_drawing
from flatten.export.settings import FileSettings
from flatten.export.svg import svg_bytes
from flatten.export.templates import templates_pdf
from flatten.export.tiles import plan_tiles
from flatten.job import Settings
from flatten.nest.settings import NestSettings
from flatten.pattern.alike import merge_identical
from flatten.run import run
from flatten.verify import verify

DRAWN = ["patterns.dxf", "patterns.svg", "roll.dxf", "roll.svg"]


@pytest.fixture(scope="module")
def good():
    """A tray with a dart up each corner; two kits and a mirrored one on the roll."""
    kits = NestSettings(seconds=0.0, kits=2, mirrored_kits=1)
    job = tray_job(settings=Settings(nest=kits))
    result = run(job)
    pattern = result.patterns[0]
    assert len(pattern.notches) >= 8
    assert {"label", "dart_end"} <= {mark.kind for mark in pattern.marks}
    return job, result, *files_and_sheets(result, job)


def drawing_of(name, result):
    if name.startswith("patterns"):
        return patterns_drawing(result.patterns)
    return rolls_drawing(result.nests.values(), result.patterns)


def written(name, drawing, **options):
    return svg_bytes(drawing) if name.endswith("svg") else dxf_bytes(drawing, **options)


def first(some, layer, ours=lambda one: one.piece):
    return next(one for one in some if one.layer == layer.name and ours(one))


def moved(one, x=0.0, y=0.05):
    if isinstance(one, Text):
        return replace(one, at=one.at + [x, y])
    return replace(one, points=one.points + [x, y])


def a_notch(line):
    return line.piece and not line.closed


def a_dart_end(line):
    return line.piece and line.closed


def swapped(drawing):
    """Two notches with each other's numbers."""
    one = first(drawing.texts, NOTCH)
    other = first(drawing.texts, NOTCH, lambda t: t.piece == one.piece and t.text != one.text)
    there = {one: replace(one, text=other.text), other: replace(other, text=one.text)}
    return replace(drawing, texts=tuple(there.get(text, text) for text in drawing.texts))


def instead(drawing, old, *new):
    """The drawing with something else instead of one of its lines or texts."""
    kind = "texts" if isinstance(old, Text) else "lines"
    some = [new if one is old else (one,) for one in getattr(drawing, kind)]
    return replace(drawing, **{kind: tuple(one for part in some for one in part)})


def at_a_piece(drawing, layer, **more):
    """A text on a piece: where its tack cross is."""
    at = first(drawing.lines, TACK).points.mean(axis=0)
    return Text(layer=layer.name, at=at, height_mm=4.0, **more)


WRONG = {
    "notch lost": (lambda d: instead(d, first(d.lines, NOTCH, a_notch)), r"notch \d+ of .* lies"),
    "notch shifted": (
        lambda d: instead(d, (one := first(d.lines, NOTCH, a_notch)), moved(one, 0.05, 0.05)),
        r"notch \d+ of .* lies up to 0\.0",
    ),
    "notch too many": (
        lambda d: replace(d, lines=(*d.lines, moved(first(d.lines, NOTCH, a_notch), 3.0, 3.0))),
        "a notch at x .* belongs to no piece",
    ),
    "numbers swapped": (swapped, r"notch number \d+ of .* is not where"),
    "number lost": (lambda d: instead(d, first(d.texts, NOTCH)), r"notch number \d+ of .* not"),
    "number too many": (
        lambda d: replace(d, texts=(*d.texts, moved(first(d.texts, NOTCH), 0, 500))),
        "the text '.*' at x .* belongs to no piece",
    ),
    "dart end shifted": (
        lambda d: instead(d, (one := first(d.lines, NOTCH, a_dart_end)), moved(one)),
        "a dart's end of .* is not where it was meant",
    ),
    "tack shifted": (
        lambda d: replace(
            d, lines=tuple(moved(one) if one.layer == TACK.name else one for one in d.lines)
        ),
        r"the tack cross of .* lies up to 0\.05\d* mm off",
    ),
    "tack lost": (
        lambda d: replace(d, lines=tuple(one for one in d.lines if one.layer != TACK.name)),
        "the tack cross of .* is missing",
    ),
    "tack too many": (
        lambda d: replace(d, lines=(*d.lines, moved(first(d.lines, TACK), 20.0, 0))),
        "a line of a tack cross at x .* belongs to no piece",
    ),
    "word changed": (
        lambda d: instead(
            d,
            (one := first(d.texts, TEXT, lambda text: "tool side" in text.text)),
            replace(one, text="tool side up"),
        ),
        "the text 'tool side down' of .* is not where",
    ),
    "label of elsewhere": (
        lambda d: instead(
            d, (one := first(d.texts, TEXT, lambda t: "skin" in t.text and t.piece)), moved(one, 60)
        ),
        "the text '1 skin' of .* is not where",
    ),
    "word too many": (
        lambda d: replace(d, texts=(*d.texts, at_a_piece(d, TEXT, text="cut 7"))),
        "the text 'cut 7' at x .* belongs to no piece",
    ),
}  # fmt: skip


def test_good_work_passes(good):
    job, result, files, sheets = good
    verify(result, files, sheets, job.settings.files)


@pytest.mark.parametrize("way", WRONG)
@pytest.mark.parametrize("name", DRAWN)
def test_a_mark_written_otherwise_than_meant_stops_the_run(good, name, way):
    """As a writer would do that takes one mark wrong, all else being right."""
    _, result, files, _ = good
    harm, why = WRONG[way]
    content = written(name, harm(drawing_of(name, result)))
    assert content != files[name]
    with pytest.raises(SolveError, match=f"end check of '{name}' failed: .*({why})"):
        verify(result, {**files, name: content})


@pytest.mark.parametrize("name", ["roll.dxf", "roll.svg"])
@pytest.mark.parametrize("note", ["OTHER HAND", "kit 2"])
def test_a_copy_for_another_kit_or_hand_says_so(good, name, note):
    """The label of a mirrored kit's piece without its note is a piece laid in the wrong mould."""
    _, result, files, _ = good
    drawing = drawing_of(name, result)
    one = first(drawing.texts, TEXT, lambda text: note in text.text)
    wrong = instead(drawing, one, replace(one, text=one.text.replace(note, "")))
    with pytest.raises(SolveError, match=f"the text '.*{note}.*' of .* is not where"):
        verify(result, {**files, name: written(name, wrong)})


ON_PAPER = {
    "arrow the other way": (lambda p: replace(p, arrow=p.arrow[::-1]), "warp arrow of .* is not"),
    "arrow lost": (lambda p: replace(p, arrow=None), "warp arrow of .* is not"),
    "arrow shifted": (lambda p: replace(p, arrow=p.arrow + 0.05), "warp arrow of .* is not"),
    "notch shifted": (
        lambda p: replace(
            p, notches=(replace(p.notches[0], at=p.notches[0].at + 0.1), *p.notches[1:])
        ),
        "notch .* (lies|belongs|is missing)",
    ),
    "notch lost": (lambda p: replace(p, notches=p.notches[1:]), "notch .* (lies|not where)"),
    "notch too many": (
        lambda p: replace(p, notches=(*p.notches, replace(p.notches[0], at=p.notches[0].at - 9))),
        "belongs to no piece",
    ),
    "numbers swapped": (
        lambda p: replace(p, notches=tuple(replace(n, number=9 - n.number) for n in p.notches)),
        r"notch number \d+ of .* is not where",
    ),
    "tack shifted": (lambda p: replace(p, tack=p.tack + 0.05), "tack cross of .* lies up to 0.05"),
    "tack lost": (lambda p: replace(p, tack=None), "tack cross of .* is missing"),
    "dart end shifted": (
        lambda p: replace(
            p,
            marks=tuple(
                replace(m, at=m.at + 0.05) if m.kind == "dart_end" else m for m in p.marks
            ),
        ),
        "dart's end of .* is not where",
    ),
    "word changed": (
        lambda p: replace(
            p,
            marks=tuple(
                replace(m, lines=(*m.lines[:-1], "cut 77")) if m.kind == "label" else m
                for m in p.marks
            ),
        ),
        "the text 'cut .*' of .* is not where",
    ),
    "label lost": (
        lambda p: replace(p, marks=tuple(m for m in p.marks if m.kind != "label")),
        "the text '.*' of .* is not where",
    ),
}  # fmt: skip


@pytest.mark.parametrize("way", ON_PAPER)
def test_a_mark_printed_otherwise_than_meant_stops_the_run(good, way):
    job, result, files, sheets = good
    harm, why = ON_PAPER[way]
    wrong = replace(  # the sheets stay as they are planned
        sheets,
        groups=tuple(
            replace(
                group,
                placed=tuple(replace(one, pattern=harm(one.pattern)) for one in group.placed),
            )
            for group in sheets.groups
        ),
    )
    printed = templates_pdf(result.patterns, job.settings.paper, plan=wrong)
    with pytest.raises(SolveError, match=f"end check of 'templates.pdf, sheet .* failed: .*{why}"):
        verify(result, {**files, "templates.pdf": printed}, sheets)


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_names_in_any_letters_are_read_back(version):
    """R12 has Latin letters only; the codes of DXF are no words (^ and %% have meanings there)."""
    names = ["Ωμέγα Ж ё ßœ", '50 %% ^2 \\U+00e9 (a\\) <b> & "c"']
    if version == "R2010":
        names.append("舟の蓋 العربية 🙂")
    mould_job = dish_job()
    plies = tuple(
        replace(mould_job.plies[0], id=f"p{i}", name=name) for i, name in enumerate(names)
    )
    job = dish_job(plies=plies, settings=Settings(files=FileSettings(dxf=version)))
    result = run(job)
    files, sheets = files_and_sheets(result, job)
    verify(result, files, sheets, job.settings.files)
    one = result.pieces[0].pattern
    label = replace(one.marks[0], lines=(one.marks[0].lines[0], "1 Ωμέγα Ж ё ßoe"))
    label = replace(label, lines=(*label.lines, *one.marks[0].lines[2:]))
    wrong = replace(one, marks=(label, *one.marks[1:]))
    pieces = (replace(result.pieces[0], pattern=wrong), *result.pieces[1:])
    with pytest.raises(SolveError, match=r"the text '1 Ωμέγα Ж ё ßoe' of 'p0' is not"):
        verify(replace(result, pieces=pieces), files, sheets, job.settings.files)


def test_words_as_strokes_are_looked_for(good):
    _, result, _, _ = good
    strokes = FileSettings(text_as_strokes=True)
    drawing = drawing_of("patterns.dxf", result)
    verify(result, {"patterns.dxf": dxf_bytes(drawing, text_as_strokes=True)}, settings=strokes)
    label = [text for text in drawing.texts if text.layer == TEXT.name and text.piece]
    wrong = replace(drawing, texts=tuple(text for text in drawing.texts if text not in label))
    with pytest.raises(SolveError, match=r"the text .* is not where it was meant"):
        verify(result, {"patterns.dxf": dxf_bytes(wrong, text_as_strokes=True)}, settings=strokes)


def test_a_file_of_cut_lines_alone_is_not_taken_for_a_whole_one(good):
    """Unless it was asked for: a writer that loses all marks is stopped."""
    _, result, _, _ = good
    content = dxf_bytes(drawing_of("patterns.dxf", result), only_cut=True)
    verify(result, {"patterns.dxf": content}, settings=FileSettings(only_cut_lines=True))
    with pytest.raises(SolveError, match="it holds 0 net lines, 1 were meant"):
        verify(result, {"patterns.dxf": content})


def test_a_sheet_cut_through_a_notch_still_shows_its_part(good):
    """Sheets end anywhere: a notch is looked for on each sheet that shows some of it."""
    job, result, files, _ = good
    patterns = merge_identical(result.patterns)
    paper = replace(job.settings.paper, lap_mm=3.0)
    plan = plan_tiles(patterns, paper)
    assert plan.sheets > 2
    verify(result, {**files, "templates.pdf": templates_pdf(patterns, paper)}, plan)
