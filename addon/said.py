"""What the engine says, in the interface's language: its sentences found again by their templates.

The engine speaks English and puts values into its sentences. A language's table holds the
sentences with {} where a value stands; a text that fits one is said in the other language with
its values, which may be phrases. A value in quotes is a name and stays. What fits nothing stays
English. `languages/LANGUAGE_engine.json`: "titles" by a finding's code, "sentences" and "phrases"
by template, of phrases the first that fits; {0} and {1} where the words turn round.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "languages"
DEPTH = 5  # of phrases within phrases
MOST_KEPT = 500  # texts
END = re.compile(r"(?<=[.?!]) (?=[A-Z])")  # between two sentences
VALUE = r"((?:(?![.?!] [A-Z]).)+?)"  # a value never reaches into the next sentence


Patterns = list[tuple[re.Pattern[str], list[bool], str]]


@dataclass
class Language:
    """One language's table and the texts already said."""

    titles: dict[str, str] = field(default_factory=dict)
    phrases: dict[str, str] = field(default_factory=dict)
    sentences: dict[str, str] = field(default_factory=dict)
    kept: dict[str, str] = field(default_factory=dict)

    @cached_property
    def _sentence_patterns(self) -> Patterns:
        best_first = sorted(self.sentences, key=lambda t: -len(t.replace("{}", "")))
        return _patterns({template: self.sentences[template] for template in best_first})

    @cached_property
    def _phrase_patterns(self) -> Patterns:
        return _patterns(self.phrases)

    def say(self, text: str) -> str:
        """Return a text of one or several sentences in this language."""
        if text not in self.kept:
            if len(self.kept) > MOST_KEPT:
                self.kept.clear()
            self.kept[text] = self._text(text)
        return self.kept[text]

    def _text(self, text: str) -> str:
        """Say the whole, else its first sentences and then the rest."""
        parts = END.split(text)
        for here in range(len(parts), 0, -1):
            head = self._fit(" ".join(parts[:here]), self.sentences, self._sentence_patterns, 0)
            if head is not None:
                rest = " ".join(parts[here:])
                return f"{head} {self._text(rest)}" if rest else head
        return text

    def _fit(self, text: str, exact: dict[str, str], patterns: Patterns, depth: int) -> str | None:
        """Return a text in this language if it is known, its values as phrases; else None."""
        if text in exact:
            return exact[text]
        for pattern, names, words in patterns:
            fits = pattern.fullmatch(text)
            if fits and depth < DEPTH:
                pairs = zip(fits.groups(), names, strict=True)
                return words.format(
                    *(value if name else self._phrase(value, depth + 1) for value, name in pairs)
                )
        return None

    def _phrase(self, value: str, depth: int) -> str:
        return self._fit(value, self.phrases, self._phrase_patterns, depth) or value


def _patterns(table: dict[str, str]) -> Patterns:
    """Return templates with values: the pattern, which values are names in quotes, the words."""
    found = []
    for template, words in table.items():
        if "{}" in template:
            parts = template.split("{}")
            pattern = re.compile(VALUE.join(map(re.escape, parts)), re.DOTALL)
            found.append((pattern, [before.endswith("'") for before in parts[:-1]], words))
    return found


TABLES: dict[str, Language] = {}


def language() -> Language:
    """Return the table of the interface's language; an empty one for English or an unknown one."""
    import bpy

    view = bpy.context.preferences.view
    locale = bpy.app.translations.locale if view.use_translate_interface else ""
    name = (locale or "en").split("_")[0]
    if name not in TABLES:
        file = FOLDER / f"{name}_engine.json"
        table: dict[str, Any] = json.loads(file.read_text("utf-8")) if file.is_file() else {}
        TABLES[name] = Language(**table)
    return TABLES[name]


def said(text: str) -> str:
    """Return what the engine said, in the interface's language."""
    return language().say(text)


def title_of(code: str) -> str:
    """Return a finding's code as a short title."""
    plain = code.removeprefix("drape_").replace("_", " ").replace("-", " ").capitalize()
    return language().titles.get(code, plain)
