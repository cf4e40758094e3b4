"""German is complete: every label, tooltip and sentence of the interface has its translation."""

import ast
import json
import re
from pathlib import Path

import bpy
import pytest

import addon
from addon import operators, panels, preferences, properties

HOME = Path(addon.__file__).parent
GERMAN = json.loads((HOME / "languages" / "de.json").read_text("utf-8"))
# The same word in both languages, and what is no word.
SAME = {"A4", "A3", "Letter", "Tabloid", "mouldply", "Name"}
# Blender's own words for every property group and preset.
OWN = {
    "Unique name used in the code and scripting",
    "Unique name used in the code and scripting, can be re-defined in Python sub-classes if needed",
    "Name of the preset, used to make the path name",
}


def texts_of_properties(kind):
    for prop in kind.properties:
        if prop.identifier in ("rna_type", "bl_idname") or prop.is_hidden:
            continue
        yield prop.name
        yield prop.description
        if prop.type == "ENUM":
            for item in prop.enum_items_static:
                yield item.name
                yield item.description


def texts_of_classes():
    for module in operators.MODULES:
        for kind in module.CLASSES:
            yield kind.bl_label
            yield kind.__doc__.strip()
            yield from texts_of_properties(
                getattr(bpy.ops.mouldply, kind.bl_idname.split(".")[1]).get_rna_type()
            )
    for module in panels.MODULES:
        for kind in module.CLASSES:
            yield getattr(kind, "bl_label", "")
            yield from (text for _, _, text in getattr(kind, "rows", ()))
    for module in (*properties.MODULES, preferences):
        for kind in module.CLASSES:
            yield from texts_of_properties(kind.bl_rna)


def texts_in_source():
    """Strings the panels draw, and those handed to Blender's translation by hand."""
    for file in (*HOME.glob("panels/*.py"), *HOME.glob("*.py"), *HOME.glob("operators/*.py")):
        tree = ast.parse(file.read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                yield from texts_of_call(node)
            elif (
                isinstance(node, ast.Tuple) and len(node.elts) == 2 and file.parent.name == "panels"
            ):
                yield from constants(node.elts[:1])  # a row of facts: label and value
            elif isinstance(node, ast.Return) and isinstance(node.value, ast.Tuple):
                yield from constants(node.value.elts[:1] if file.name == "bench.py" else ())


def texts_of_call(node):
    name = getattr(node.func, "attr", getattr(node.func, "id", ""))
    for keyword in node.keywords:
        if keyword.arg in ("text", "heading"):
            yield from constants([keyword.value])
    if name in ("pgettext_iface", "say", "new_name") or name == "poll_message_set":
        yield from constants(node.args[:1])
    elif name == "report":  # Blender looks these up by itself
        yield from constants(node.args[1:2])
    elif name == "paragraph":
        yield from constants(node.args[2:3])


def constants(nodes):
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.IfExp):
            yield from constants([node.body, node.orelse])


def wanted():
    from addon.freshness import STATES

    found = {*texts_of_classes(), *texts_in_source(), *(state for state, _ in STATES.values())}
    words = {text for text in found if re.search(r"[A-Za-z]{2}", text)}
    identifiers = {
        text for text in words if re.fullmatch(r"[a-z_0-9]+|[A-Z]+", text)
    }  # never shown
    return words - identifiers - SAME - OWN


def test_every_text_has_its_german():
    missing = sorted(wanted() - set(GERMAN))
    assert not missing, json.dumps(missing, indent=0, ensure_ascii=False)


def test_no_translation_is_left_over_or_empty():
    assert not sorted(set(GERMAN) - wanted())
    assert all(GERMAN.values())


def test_places_for_values_survive():
    for source, german in GERMAN.items():
        assert source.count("{}") == german.count("{}"), source
        assert not german.endswith(".") or source.endswith("."), source


def test_blender_shows_german():
    view = bpy.context.preferences.view
    before = view.language, view.use_translate_interface
    languages = {item.identifier for item in view.bl_rna.properties["language"].enum_items}
    if not {"de", "de_DE"} & languages:
        pytest.skip("this Blender module carries no languages")
    try:
        view.language = next(name for name in ("de_DE", "de") if name in languages)
        view.use_translate_interface = True
        assert (
            bpy.app.translations.pgettext_iface("Lay the plies flat.")
            == GERMAN["Lay the plies flat."]
        )
    finally:
        view.language, view.use_translate_interface = before
