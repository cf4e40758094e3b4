"""What the engine says comes out in German: every finding and every error, with its values."""

import ast
import json
import re
from pathlib import Path

import bpy
import pytest

import addon
import flatten
from addon import said

TABLE = json.loads((Path(addon.__file__).parent / "languages/de_engine.json").read_text("utf-8"))
GERMAN = said.Language(**TABLE)
# Put together from parts, so that their templates do not stand in the source as they come out:
# these are said with values below.
WITH_PARTS = (
    "The stack {}{}", "{}{} cm²", "{} {}, {} mm in all", "{} faces look to the wrong side.{}",
    "The mould measures {} mm.", "{}The pull that frees", "A {} mm {} does not", "Piece '{}' is {}",
)  # fmt: skip
PUT_TOGETHER = [
    "The stack [0f/45f]s (and other stacks beside it) is not balanced.",
    "Cloth 'Glass 163': fibre volume fraction 0.80; round fibres side by side fill no more than "
    "0.785.",
    "Cloth 'Glass 163': fibre volume fraction 0.12; open hand lay-up usually reaches 0.30 to 0.40.",
    "2 sharp inside corners, 140 mm in all: the laminate presses into 3 mm and bridges up to 0.4 "
    "mm; 1.2 g of resin fill it.",
    "1 inside corner down to 1.5 mm radius, 40 mm in all: the laminate presses into 3 mm and "
    "bridges up to 0.4 mm; 1.2 g of resin fill it.",
    "38 cm² (14 % of the lay-up area) look away from the pull and hold the part.",
    "aft half: 41.3 cm² (15 % of the lay-up area) have less than 5° of draft, down to 0.0°.",
    "1 vertex lies on top of another, as in a file that stores each triangle by itself.",
    "31 vertices lie on top of others, as in a file that stores each triangle by itself.",
    "12 open edges in 2 rims, 80 mm in all: the mould is not tight, a slicer may fill or drop "
    "parts of it.",
    "12 open edges in 1 rim, 80 mm in all: the mould is a skin.",
    "4 faces look to the wrong side. The surface has only one side (it is twisted in itself).",
    "The mould measures 4 x 3 x 1 mm. Was this file in mm or inches? It is 102 mm if its numbers "
    "are inches or 400 mm if its numbers are metres.",
    "fore half: The pull that frees most is half-way from +x to -z: 97 % of the lay-up area comes "
    "off.",
    "A 12 mm brush does not get to the bottom at 9 faces; it stays up to 3 mm off.",
    "Fill, sand and seal those walls, or print with +x upwards: grip falls from 40 to 10 µm, with "
    "3 cm² to support (1 now), 0 cm² of it on the lay-up side.",
    "A mould in 2 parts, pulled along +x and -x, frees all of the lay-up; the part line would be "
    "240 mm long.",
    "The cloth will not lie down here: sheared up to 62°, it locks at 50° (4.2 % of the cloth).",
    "The cloth will not lie down here: stretched or gathered by over 100 %, it gives under 0.1 % "
    "(under 0.1 % of the cloth).",
    "The stock of cloth 'Glass' is too short by about 1.20 m: 2 pieces, 'a' (2 x), found no place "
    "(there is 'Glass roll' 1.00 m).",
    "Add a roll or a longer one, or nest fewer kits.",
    "Piece '1 A' is 40 mm wider than roll 'Glass roll' even turned by 45°.",
    "Locked: 1.2 % instead of 4.0 % of the cloth; mean shear 8.1° instead of 9.0°.",
    "dart of 40 mm: locked cloth 12.0 -> 0.1 cm², fibre stretch 2.0 % -> 0.1 %; or accept up to "
    "55° of shear here",
]
ENGLISH = {"the", "and", "of", "is", "with", "faces", "cloth", "here", "mould", "than", "up"}


def templates(node):
    """Return what an expression can say, {} for values; none where it is made elsewhere."""
    if isinstance(node, ast.Constant):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        return _joined(node)
    if isinstance(node, ast.IfExp):
        return templates(node.body) + templates(node.orelse)
    return []


def _joined(node):
    """Fill choices between two texts in; anything else is a value."""
    found = [""]
    for part in node.values:
        more = ["{}"]
        if isinstance(part, ast.Constant):
            more = [part.value]
        elif isinstance(part.value, ast.IfExp) and templates(part.value):
            more = templates(part.value)
        found = [head + tail for head in found for tail in more]
    return found


def said_by_findings():
    """Every message and hint of a Finding in the engine's source, with its file."""
    for file in sorted(Path(flatten.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                for keyword in node.keywords:
                    if keyword.arg in ("message", "hint"):
                        for text in templates(keyword.value):
                            yield file.name, text


# Errors nobody meets in Blender: where they are raised, and why.
ELSEWHERE = {
    "commands/": "the command line's own",
    "blend_reader.py": "reads a .blend for the command line",
    "start.py": "the job of a bare mesh file",
    "surface/stl.py": "Blender reads the mould's file",
    "surface/draw.py": "outlines written down for the command line",
    "units.py": "lengths typed at the command line; Blender reads its own",
    "arrays.py": "a program passes what is no array of numbers",
    "cloth/shear_limit.py": "yarns measured at the bench, at the command line",
    "export/calibration.py": "cutters and scales, at the command line",
    "laminate/code.py": "laminate codes typed at the command line",
    "nest/stock.py": "the command line's file of the stock; in Blender it is in the .blend",
    "nest/what_if.py": "other roll widths, at the command line",
}
NO_SENTENCE = {
    'It must hold {"version": 1, "cloths": [...]}.',  # what the file's text must be
    "The test sheet needs paper settings.", "Pass PaperSettings.",  # to a program
}  # fmt: skip


def said_by_errors():
    """Every message and hint of an error in the sources that can reach the window."""
    homes = [Path(flatten.__file__).parent, Path(addon.__file__).parent]
    for home in homes:
        for file in sorted(home.rglob("*.py")):
            place = file.relative_to(home).as_posix()
            if place.startswith(tuple(ELSEWHERE)):
                continue
            for node in ast.walk(ast.parse(file.read_text("utf-8"))):
                name = getattr(node, "func", None)
                name = getattr(name, "id", getattr(name, "attr", ""))
                if name in ("InputError", "SolveError", "error", "tell", "said"):
                    for argument in node.args[:2]:
                        for text in templates(argument):
                            yield place, text


def codes():
    for file in sorted(Path(flatten.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                for keyword in node.keywords:
                    if keyword.arg == "code" and isinstance(keyword.value, ast.Constant):
                        yield keyword.value.value


def is_german(text):
    """Whether a text is said in German, without English words left over."""
    answer = GERMAN.say(text)
    return answer != text and not ENGLISH & set(answer.lower().replace(",", "").split())


def test_every_finding_in_the_source_has_its_german():
    missing = [
        (file, text)
        for file, text in said_by_findings()
        if not is_german(text.replace("{}", "7")) and not text.startswith(WITH_PARTS)
    ]
    assert not missing, json.dumps(missing, indent=0, ensure_ascii=False)


def test_every_error_in_the_source_has_its_german():
    told = [(place, text) for place, text in said_by_errors() if text not in NO_SENTENCE]
    assert len(told) > 400, "the sources were not found"
    missing = [
        (place, text)
        for place, text in told
        if re.search("[A-Za-z]{2}", text) and not is_german(text.replace("{}", "7"))
    ]
    assert not missing, json.dumps(missing, indent=0, ensure_ascii=False)


def test_what_is_left_out_is_there():
    """A file that is renamed is asked for again."""
    for place in ELSEWHERE:
        homes = Path(flatten.__file__).parent, Path(addon.__file__).parent
        assert any((home / place).exists() for home in homes), place


def test_an_error_with_its_hint_is_german_whole():
    """As an operator reports it: the message, a space, the hint."""
    words = GERMAN.say(
        "Region 'skin' is in 2 pieces; 3 of its 40 faces hang apart from the largest. Take those "
        "faces out, join the pieces, or make a ply of each; if they look joined, merge vertices "
        "by distance."
    )
    assert words.startswith("Bereich 'skin' besteht aus 2 Teilen; 3 seiner 40 Flächen")
    assert words.endswith("Punkte nach Abstand verschmelzen.")
    assert not ENGLISH & set(words.lower().split())


@pytest.mark.parametrize("text", PUT_TOGETHER)
def test_sentences_put_together_are_german_with_their_values(text):
    assert is_german(text), GERMAN.say(text)
    numbers = [word.strip("(),.;:°") for word in text.split() if word.strip("(),.;:°").isdigit()]
    assert all(number in GERMAN.say(text) for number in numbers)


def test_every_code_has_a_title():
    assert not set(codes()) - set(TABLE["titles"])


def test_names_stay_what_they_are():
    """A cloth called as a phrase of ours is not translated; a ply in a sentence keeps its name."""
    words = GERMAN.say("Cloth 'templates': fibre volume fraction 0.80; round fibres side by side "
                       "fill no more than 0.785.")  # fmt: skip
    assert "'templates'" in words


def test_two_sentences_are_said_one_by_one_and_an_unknown_one_stays():
    assert GERMAN.say("Stopped. Start again when ready; nothing was changed.") == (
        "Angehalten. Neu beginnen, wenn du soweit bist; nichts wurde geändert."
    )
    assert GERMAN.say("Stopped. Never heard of.") == "Angehalten. Never heard of."
    assert GERMAN.say("Never heard of.") == "Never heard of."


WORDS = TABLE["sentences"] | TABLE["phrases"]


def test_every_value_is_kept():
    for template, words in WORDS.items():
        marks = [f"<{number}>" for number in range(template.count("{}"))]
        assert all(mark in words.format(*marks) for mark in marks), template


def test_english_stays_english():
    bpy.context.preferences.view.use_translate_interface = False
    assert said.said("The mould has no faces.") == "The mould has no faces."
    assert said.title_of("drape_shear_warn") == "Shear warn"
