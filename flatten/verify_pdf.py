"""Lines and words read back from our own PDF pages, by their drawing operators alone."""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Iterator

import numpy as np

from .arrays import Floats
from .export.fonts import width_mm
from .export.layers import ARROW, CUT, NET, NOTCH, TACK, TEXT
from .units import MM_PER_INCH
from .verify_lines import CAPITAL, ReadLine, ReadText

POINT_MM = MM_PER_INCH / 72
OBJECT = re.compile(rb"(\d+) 0 obj\s(.*?)\sendobj", re.DOTALL)
STREAM = re.compile(rb"stream\r?\n(.*?)endstream", re.DOTALL)
WORD = re.compile(rb"\((?:\\.|[^\\()])*\)|[^\s()]+", re.DOTALL)
ESCAPE = re.compile(rb"\\([0-7]{1,3}|.)", re.DOTALL)
PLAIN = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}
CODES = re.compile(rb"<([0-9A-Fa-f]+)>")


def _colour(rgb: tuple[float, float, float]) -> tuple[float, ...]:
    return tuple(round(part, 3) for part in rgb)


# Lines by what they look like, colour and width, as nothing else on a sheet; words by colour.
KINDS = {(*_colour(kind.rgb), kind.width_mm): kind.name for kind in (CUT, NET, ARROW, NOTCH, TACK)}
WRITTEN = {_colour(kind.rgb): kind.name for kind in (NOTCH, TEXT)}

Seen = ReadLine | ReadText


class PdfPages:
    """The pages of a PDF. Source: the PDF reference, 3.6.2 (/Kids, /Contents) and 5.9 (cmaps)."""

    def __init__(self, content: bytes) -> None:
        self._objects = {int(number): body for number, body in OBJECT.findall(content)}
        tree = next(body for body in self._objects.values() if b"/Type /Pages" in body)
        kids = re.findall(rb"/Kids \[(.*?)\]", tree, re.DOTALL)[0]
        self._pages = [int(number) for number in re.findall(rb"(\d+) 0 R", kids)]
        self._letters: dict[bytes, dict[int, str]] = {}
        for body in self._objects.values():
            name, codes = (
                re.findall(key, body) for key in (rb"/Name (/\S+)", rb"/ToUnicode (\d+)")
            )
            if name and codes:
                self._letters[name[0]] = _cmap(self._stream(int(codes[0])))

    def __len__(self) -> int:
        """How many pages there are."""
        return len(self._pages)

    def read(self, page: int) -> Iterator[Seen]:
        """Yield the cut, net, arrow, notch and tack lines and the words of a page, mm on paper."""
        contents = re.findall(rb"/Contents (\d+) 0 R", self._objects[self._pages[page]])
        return _Reader(self._letters).read(self._stream(int(contents[0])))

    def _stream(self, number: int) -> bytes:
        packed = STREAM.findall(self._objects[number])[0]
        if b"/ASCII85Decode" in self._objects[number].split(b"stream", 1)[0]:
            packed = base64.a85decode(packed.strip().removesuffix(b"~>"))
        return zlib.decompress(packed)


class _Reader:
    """What the operators of a page have set so far."""

    def __init__(self, letters: dict[bytes, dict[int, str]]) -> None:
        self.letters = letters
        self.matrix, self.width = np.eye(3), 1.0
        self.stroke: tuple[float, ...] = (0.0, 0.0, 0.0)
        self.fill: tuple[float, ...] = (0.0, 0.0, 0.0)
        self.font, self.size, self.start = b"", 1.0, np.zeros(2)
        self.words = ""

    def read(self, operators: bytes) -> Iterator[Seen]:
        """Yield lines and words."""
        kept: list[tuple[Floats, tuple[float, ...], tuple[float, ...], float]] = []
        given: list[bytes] = []
        path: list[tuple[list[list[float]], bool]] = []
        for word in WORD.findall(operators):
            if word[:1] in b"(/[" or word[-1:] == b"]" or word[:1] in b"+-.0123456789":
                given.append(word)
                continue
            if word == b"q":
                kept.append((self.matrix, self.stroke, self.fill, self.width))
            elif word == b"Q":
                self.matrix, self.stroke, self.fill, self.width = kept.pop()
            elif word == b"m":
                path.append(([_numbers(given, 2)], False))
            elif word == b"l":
                path[-1][0].append(_numbers(given, 2))
            elif word == b"h":
                path[-1] = (path[-1][0], True)
            elif word in (b"S", b"s", b"n", b"f", b"f*", b"B", b"B*"):
                layer = KINDS.get((*self.stroke, self.width))
                if word in (b"S", b"s", b"B", b"B*") and layer:
                    yield from (self._line(points, closed, layer) for points, closed in path)
                path = []
            elif word == b"ET":
                layer = WRITTEN.get(self.fill)
                if layer and self.words.strip():
                    yield self._text(layer)
            else:
                self._set(word, given)
            given = []

    def _set(self, word: bytes, given: list[bytes]) -> None:
        if word == b"cm":
            a, b, c, d, e, f = _numbers(given, 6)
            self.matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ self.matrix
        elif word == b"RG":
            self.stroke = tuple(round(part, 3) for part in _numbers(given, 3))
        elif word == b"rg":
            self.fill = tuple(round(part, 3) for part in _numbers(given, 3))
        elif word == b"w":
            self.width = _numbers(given, 1)[0]
        elif word == b"BT":
            self.words = ""
        elif word == b"Tm":
            self.start = np.array(_numbers(given, 2))
        elif word == b"Tf":
            self.font, self.size = given[0], _numbers(given, 1)[0]
        elif word == b"Tj":
            letters = self.letters.get(self.font, {})
            self.words += "".join(letters.get(code, "\ufffd") for code in _string(given[-1]))

    def _line(self, points: list[list[float]], closed: bool, layer: str) -> ReadLine:
        rows = np.column_stack([points, np.ones(len(points))]) @ self.matrix * POINT_MM
        rows[:, 2] = 0
        return ReadLine(layer=layer, closed=closed, points=rows)

    def _text(self, layer: str) -> ReadText:
        """Half its width along and half a capital up from where the base line starts."""
        capital = self.size * CAPITAL
        middle = self.start + [width_mm(self.words, capital) / 2, capital / 2]
        at = np.array([*middle, 1.0]) @ self.matrix * POINT_MM
        return ReadText(layer=layer, text=self.words, at=at[:2])


def _numbers(given: list[bytes], count: int) -> list[float]:
    return [float(number) for number in given[-count:]]


def _string(word: bytes) -> bytes:
    """Return the bytes of a string in brackets. Source: the PDF reference, 3.2.3."""

    def meant(match: re.Match[bytes]) -> bytes:
        code = match[1]
        return bytes([int(code, 8) & 255]) if code[:1].isdigit() else PLAIN.get(code, code)

    return ESCAPE.sub(meant, word[1:-1])


def _cmap(content: bytes) -> dict[int, str]:
    """Return the letters of a font's codes: bfrange with a list, or bfchar with pairs."""
    letters: dict[int, str] = {}
    for block in re.findall(rb"beginbfrange(.*?)endbfrange", content, re.DOTALL):
        for first, _, some in re.findall(rb"<(\w+)>\s*<(\w+)>\s*(\[.*?\]|<\w+>)", block, re.DOTALL):
            for step, code in enumerate(CODES.findall(some)):
                letters[int(first, 16) + step] = _letters(code)
    for block in re.findall(rb"beginbfchar(.*?)endbfchar", content, re.DOTALL):
        for first, code in re.findall(rb"<(\w+)>\s*<(\w+)>", block):
            letters[int(first, 16)] = _letters(code)
    return letters


def _letters(code: bytes) -> str:
    return bytes.fromhex(code.decode()).decode("utf-16-be", errors="replace")
