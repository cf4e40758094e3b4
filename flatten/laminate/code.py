"""The laminate code of the handbooks, read and written: [0/±45/90]2s, [45f/0f]T.

First ply laid first, `/` between plies, brackets round all, a subscript for repeats, T for the
total, s for symmetric; angles from -90 to 90 degrees, of the warp against the rosette's
0 degrees, positive counter-clockwise looking down on the mould face; woven and stitched cloth
marked f (w is read too). Sources: US Army TM 1-1500-204-23-11, para. 5-7, citing ASTM D6507 and
CMH-17; the s from memory of the latter. Handbooks have no sign for mat: M is ours.

Subscripts are read as `_2` or small figures and written as `_2`; the middle ply that a symmetric
code counts once carries an overline, typed as `~` after the angle.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import InputError
from .bounds import check_number

MOST_PLIES = 1000
LONGEST_CODE = 2000  # characters
OVERLINE = "\u0305"
_SMALL_FIGURES = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_TOKEN = re.compile(
    r"(?P<open>\()|(?P<close>\)(?:_?(?P<group>\d+))?)|(?P<slash>/)"
    r"|(?P<pair>[±∓])?(?:(?P<angle>[+-]?(?:0|[1-9]\d*)(?:\.\d+)?)(?P<cloth>[fw])?|(?P<mat>M))"
    r"(?P<once>~)?(?:(?:_|(?<=[fwM]))(?P<times>\d+))?"
)
_WHOLE = re.compile(r"\[(?P<body>[^\[\]]*)\](?:_?(?P<times>\d+))?(?P<end>[sST]?)")


@dataclass(frozen=True, slots=True, kw_only=True)
class CodePly:
    """One ply of a code: its angle in (-90, 90], None for mat; `woven`: marked f."""

    angle_deg: float | None
    woven: bool = False

    def __post_init__(self) -> None:
        """Refuse angles outside -90 to 90; -90 is 90."""
        if self.angle_deg is None:
            return
        check_number(
            "Laminate code",
            "angle",
            self.angle_deg,
            low=-90,
            high=90,
            open_ends=False,
            hint="Write angles from -90 to 90 degrees.",
        )
        angle = 90.0 if self.angle_deg == -90 else float(self.angle_deg) + 0.0
        object.__setattr__(self, "angle_deg", angle)


def read_code(text: str) -> tuple[CodePly, ...]:
    """Return every ply of a laminate code in laying order, repeats and mirror image included.

    Raises
    ------
    InputError : not a code, an angle outside -90 to 90, a form that could be read in two ways
    """
    if not isinstance(text, str):
        raise _refusal(repr(text), "it is not a text", "Write it as a text.")
    whole = _WHOLE.fullmatch(_as_typed(text))
    if whole is None:
        raise _refusal(text, "it does not read as [plies], then repeats, then s or T")
    plies, middle_once = _Reader(text, whole["body"]).read()
    plies = plies * _count(text, whole["times"])
    if len(plies) > MOST_PLIES:
        raise _refusal(text, f"it has {len(plies)} plies", f"Lay no more than {MOST_PLIES}.")
    symmetric = whole["end"] in ("s", "S")
    if middle_once and not symmetric:
        raise _refusal(text, "the overline needs a symmetric code", "Add s behind the bracket.")
    if middle_once and whole["times"]:
        raise _refusal(
            text, "the overlined ply stands in a repeated code", "Write the repeats out."
        )
    if symmetric:
        plies += plies[-2::-1] if middle_once else plies[::-1]
    return tuple(plies)


def write_code(plies: Sequence[CodePly]) -> str:
    """Return the shortest usual code of the plies; `read_code` gives the same plies back.

    Raises
    ------
    InputError : there are no plies
    """
    if not plies:
        raise InputError("A laminate code needs plies.", "Add a ply.")
    given = list(plies)
    period = _period(given)
    if given == given[::-1] and period > 1:
        half = given[: (len(given) + 1) // 2]
        if len(given) % 2:
            return f"[{_body(half[:-1])}/{_angle(half[-1])}~]s"
        period = _period(half)
        return f"[{_body(half[:period])}]{_times(len(half) // period)}s"
    return f"[{_body(given[:period])}]{_times(len(given) // period)}T"


class _Reader:
    """Reads what stands between the brackets."""

    def __init__(self, text: str, body: str) -> None:
        self.text, self.body, self.at = text, body, 0
        self.middle_once = False

    def read(self) -> tuple[list[CodePly], bool]:
        plies = self._sequence(depth=0)
        if self.at < len(self.body):
            raise _refusal(self.text, f"'{self.body[self.at :][:20]}' is out of place")
        return plies, self.middle_once

    def _sequence(self, depth: int) -> list[CodePly]:
        plies = self._item(depth)
        while self.at < len(self.body) and self.body[self.at] == "/":
            if self.middle_once:
                raise _refusal(self.text, "only the last ply may carry the overline")
            self.at += 1
            plies += self._item(depth)
            if len(plies) > MOST_PLIES:
                raise _refusal(self.text, f"it has over {MOST_PLIES} plies")
        return plies

    def _item(self, depth: int) -> list[CodePly]:
        token = _TOKEN.match(self.body, self.at)
        if token is None or token["slash"] or token["close"]:
            raise _refusal(self.text, f"a ply is missing before '{self.body[self.at :][:20]}'")
        self.at = token.end()
        if not token["open"]:
            return self._ply(token)
        if depth > 3:
            raise _refusal(self.text, "its brackets are nested too deep")
        plies = self._sequence(depth + 1)
        end = _TOKEN.match(self.body, self.at)
        if end is None or not end["close"]:
            raise _refusal(self.text, "a bracket is not closed")
        if self.middle_once:
            raise _refusal(self.text, "an overlined ply stands in a group")
        self.at = end.end()
        return plies * _count(self.text, end["group"])

    def _ply(self, token: re.Match[str]) -> list[CodePly]:
        if token["mat"]:
            plies = [CodePly(angle_deg=None)]
        else:
            plies = [CodePly(angle_deg=float(token["angle"]), woven=bool(token["cloth"]))]
        if token["pair"]:
            plies = self._pair(token, plies[0])
        if token["once"]:
            self.middle_once = True
            if len(plies) > 1 or token["times"]:
                raise _refusal(self.text, "the overlined ply is more than one")
        return plies * _count(self.text, token["times"])

    def _pair(self, token: re.Match[str], ply: CodePly) -> list[CodePly]:
        if ply.woven or ply.angle_deg is None or token["angle"][0] in "+-":
            raise _refusal(
                self.text,
                f"'{token[0]}' could be one ply or two",
                "Write 45f for one woven ply, 45f/-45f for two, ±45 for two plies of tape.",
            )
        other = CodePly(angle_deg=-ply.angle_deg)
        return [ply, other] if token["pair"] == "±" else [other, ply]


def _as_typed(text: str) -> str:
    """Return the code in the signs a keyboard has, ± and ∓ excepted, no spaces round signs."""
    line = re.sub(r"\s*([\[\]()/])\s*", r"\1", text[: LONGEST_CODE + 1].strip())
    line = line.replace("−", "-")
    line = re.sub(rf"(\d){OVERLINE}(?=\d)", r"\1", line).replace(OVERLINE, "~")
    line = re.sub("[₀-₉]+", lambda found: "_" + found[0].translate(_SMALL_FIGURES), line)
    return re.sub(r"\+/-|\+-", "±", line).replace("-+", "∓")


def _count(text: str, figures: str | None) -> int:
    if figures is None:
        return 1
    if len(figures) > 4 or not 1 <= int(figures) <= MOST_PLIES:
        raise _refusal(text, f"it repeats {figures[:20]} times", f"Repeat 1 to {MOST_PLIES} times.")
    return int(figures)


def _period(plies: list[CodePly]) -> int:
    """Return how many plies repeat to make the whole list."""
    n = len(plies)
    for period in range(1, n):
        if n % period == 0 and plies == plies[:period] * (n // period):
            return period
    return n


def _body(plies: list[CodePly]) -> str:
    written, at = [], 0
    while at < len(plies):
        ply, run = plies[at], 1
        while at + run < len(plies) and plies[at + run] == ply:
            run += 1
        pair = _pair_sign(plies, at)
        if run == 1 and pair:
            written.append(f"{pair}{abs(ply.angle_deg or 0):.10g}")
            at += 2
            continue
        written.append(_angle(ply) + (f"_{run}" if run > 1 else ""))
        at += run
    return "/".join(written)


def _pair_sign(plies: list[CodePly], at: int) -> str:
    """Return ± or ∓ where two plies of tape at opposite angles stand, and no third like them."""
    if at + 1 >= len(plies):
        return ""
    first, second = plies[at], plies[at + 1]
    if first.woven or second.woven or not first.angle_deg or first.angle_deg == 90:
        return ""
    if second.angle_deg != -first.angle_deg or plies[at + 2 : at + 3] == [second]:
        return ""
    return "±" if first.angle_deg > 0 else "∓"


def _angle(ply: CodePly) -> str:
    if ply.angle_deg is None:
        return "M"
    return f"{ply.angle_deg:.10g}" + ("f" if ply.woven else "")


def _times(count: int) -> str:
    return str(count) if count > 1 else ""


def _refusal(text: str, reason: str, hint: str = "") -> InputError:
    return InputError(
        f"Laminate code '{text[:60]}': {reason}.",
        hint or "Write it like [0/45/-45/90]s, with / between plies and f behind woven ones.",
    )
