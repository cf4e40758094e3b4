"""The engine's errors. Every message names the thing, its value and the way out."""

from __future__ import annotations

from collections.abc import Iterable


class FlattenError(Exception):
    """Something the user can understand and act on.

    Parameters
    ----------
    message : what is wrong, with the name and the value of the thing, in shop words
    hint : the way out, starting with a verb
    faces : mould faces it happens at; the add-on selects them
    """

    def __init__(self, message: str, hint: str = "", *, faces: Iterable[int] = ()) -> None:
        super().__init__(message, hint)
        self.message = message
        self.hint = hint
        self.faces = tuple(int(face) for face in faces)

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


class InputError(FlattenError):
    """The user must change something before there can be a result."""


class SolveError(FlattenError):
    """The input is sound and still there is nothing to show."""


class Cancelled(FlattenError):
    """The user stopped the work; nothing was changed."""

    def __init__(self) -> None:
        super().__init__("Stopped.", "Start again when ready; nothing was changed.")
