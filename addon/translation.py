"""The interface in other languages: one JSON file a language, English text -> its words."""

from __future__ import annotations

import json
from pathlib import Path

import bpy

from .props import CONTEXT

FOLDER = Path(__file__).parent / "languages"
# Blender 4.2 names some languages with their country, later ones without.
LOCALES = {"de": ("de", "de_DE")}
CONTEXTS = (CONTEXT, "*", "Operator")  # ours; of sentences in lists; of operators' names


def register() -> None:
    """Hand all languages to Blender."""
    words = {}
    for file in sorted(FOLDER.glob("*.json")):
        if file.stem.endswith("_engine"):  # read by said.py
            continue
        pairs = json.loads(file.read_text("utf-8"))
        entries = {
            (context, source): text for source, text in pairs.items() for context in CONTEXTS
        }
        for locale in LOCALES.get(file.stem, (file.stem,)):
            words[locale] = entries
    bpy.app.translations.register(__package__, words)


def new_name(template: str, value: object) -> str:
    """Return a name for new data, in the interface's language if the person lets Blender do so."""
    return bpy.app.translations.pgettext_data(template, CONTEXT).format(value)


def unregister() -> None:
    """Take them back."""
    bpy.app.translations.unregister(__package__)
