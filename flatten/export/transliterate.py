"""Names in the letters DXF R12 has: Greek, Cyrillic and kana become Latin, others are refused.

Sources: Greek after ISO 843 type 2 and Cyrillic after ISO 9:1995 without accents, both from
memory and shortened for reading; kana after Hepburn, from memory.
"""

from __future__ import annotations

import unicodedata

from ..errors import InputError


def _split(words: str) -> list[str]:
    return words.split()


_GREEK = dict(
    zip(
        "αβγδεζηθικλμνξοπρστυφχψως",
        _split("a v g d e z i th i k l m n x o p r s t y f ch ps o s"),
        strict=True,
    )
)
_CYRILLIC = dict(
    zip(
        "абвгдежзийклмнопрстуфхцчшщъыьэюяєіїґђјљњћџўѓќѕ",
        _split(
            "a b v g d e zh z i j k l m n o p r s t u f kh ts ch sh shch | y | e yu ya ye i yi g "
            "dj j lj nj c dz u gj kj dz"
        ),
        strict=True,
    )
)
_KANA_ROWS = {
    "": "あいうえお",
    "k": "かきくけこ",
    "s": "さしすせそ",
    "t": "たちつてと",
    "n": "なにぬねの",
    "h": "はひふへほ",
    "m": "まみむめも",
    "r": "らりるれろ",
    "g": "がぎぐげご",
    "z": "ざじずぜぞ",
    "d": "だぢづでど",
    "b": "ばびぶべぼ",
    "p": "ぱぴぷぺぽ",
}
_KANA = {
    kana: start + vowel
    for start, row in _KANA_ROWS.items()
    for kana, vowel in zip(row, "aiueo", strict=True)
}
_KANA |= {"し": "shi", "ち": "chi", "つ": "tsu", "ふ": "fu", "じ": "ji", "ぢ": "ji", "づ": "zu"}
_KANA |= {"や": "ya", "ゆ": "yu", "よ": "yo", "わ": "wa", "を": "o", "ん": "n", "ー": "-"}
_SMALL = {"ゃ": "ya", "ゅ": "yu", "ょ": "yo", "ぁ": "a", "ぃ": "i", "ぅ": "u", "ぇ": "e", "ぉ": "o"}
_SIGNS = {
    "–": "-", "—": "-", "‘": "'", "’": "'", "“": '"', "”": '"', "…": "...", "•": "*", "·": ".",
    "×": "x", "→": "->", "€": "EUR", "ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE",
    "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ı": "i", "°": " deg", "±": "+-",
    "²": "2", "³": "3", "µ": "u", "、": ", ", "。": ".", "・": " ", "（": "(", "）": ")",
    "№": "No.",
}  # fmt: skip


def to_r12(text: str) -> str:
    """Return the text in plain ASCII, as every R12 reader shows it.

    Raises
    ------
    InputError : a letter without a Latin spelling here (kanji, Arabic, ...)
    """
    out: list[str] = []
    for char in unicodedata.normalize("NFKC", text):
        latin = _latin(char, out)
        if latin is None:
            raise InputError(
                f"DXF R12 has no letter '{char}' (in '{text}').",
                "Write DXF R2010, write texts as strokes, or use a Latin name.",
            )
        out.append(latin)
    return "".join(out)


def _latin(char: str, before: list[str]) -> str | None:
    """Return the Latin spelling of one letter; small kana change what stands before."""
    if char.isascii():
        return char
    if char in _SIGNS:
        return _SIGNS[char]
    base = unicodedata.normalize("NFD", char)
    plain = "".join(c for c in base if not unicodedata.combining(c))
    if plain.isascii() and plain:
        return plain
    own = char.lower() if char.lower() in _CYRILLIC else plain.lower()
    found = _GREEK.get(own) or _CYRILLIC.get(own)
    if found is not None:
        found = found.replace("|", "")
        return found if char.islower() else found.capitalize()
    return _romaji(char, before)


def _romaji(char: str, before: list[str]) -> str | None:
    kana = chr(ord(char) - 0x60) if "ァ" <= char <= "ヶ" else char
    if kana == "っ":
        return ""
    if kana in _SMALL:
        if before and before[-1].endswith("i") and len(before[-1]) > 1 and "y" in _SMALL[kana]:
            stem = before.pop()[:-1]
            return stem + (_SMALL[kana][1:] if stem in ("sh", "ch", "j") else _SMALL[kana])
        return _SMALL[kana]
    return _KANA.get(kana)
