"""The one gate for numbers of the laminate: a number, finite, within its limits."""

from __future__ import annotations

from numbers import Integral, Real

from ..errors import InputError


def check_number(
    thing: str,
    field: str,
    value: object,
    *,
    low: float = 0.0,
    high: float = 1e9,
    open_ends: bool = True,
    hint: str = "Enter a value above zero.",
) -> None:
    """Refuse `value` unless it is a number in (low, high), or in [low, high].

    Raises
    ------
    InputError : a text, true or false, NaN, or a number outside the limits
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        raise InputError(f"{thing}: {field} is {value!r:.60}, not a number.", hint)
    number = float(value)
    inside = low < number < high if open_ends else low <= number <= high
    if not inside:  # also for NaN: every comparison above is false then
        raise InputError(f"{thing}: {field} is {value}.", hint)


def check_whole(thing: str, field: str, value: object, *, low: int = 1, high: int) -> None:
    """Refuse `value` unless it is a whole number from `low` to `high`."""
    hint = f"Enter a whole number from {low} to {high}."
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise InputError(f"{thing}: {field} is {value!r:.60}.", hint)
    check_number(thing, field, value, low=low, high=high, open_ends=False, hint=hint)


def check_share(thing: str, field: str, value: object) -> None:
    """Refuse `value` unless it is a share strictly between 0 and 1."""
    check_number(
        thing, field, value, high=1.0, hint="Enter a share between 0 and 1, for example 0.35."
    )


def check_not_negative(thing: str, field: str, value: object, *, high: float = 1e9) -> None:
    """Refuse `value` unless it is a number from 0 to `high`."""
    check_number(
        thing, field, value, high=high, open_ends=False, hint=f"Enter a value from 0 to {high:g}."
    )


def check_choice(thing: str, field: str, value: object, choices: tuple[str, ...]) -> None:
    """Refuse `value` unless it is one of `choices`."""
    if value not in choices:
        raise InputError(f"{thing}: {field} is {value!r:.60}.", f"Use one of {', '.join(choices)}.")
