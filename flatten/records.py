"""Dataclasses to plain JSON values and back, strictly: a field we do not know is an error."""

from __future__ import annotations

import dataclasses
import difflib
import math
import types
import typing
from collections.abc import Mapping
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

import numpy as np

from .errors import InputError

Record = TypeVar("Record")
LONGEST_TEXT = 10_000  # characters; a longer name or note is not one a person typed
LONGEST_LIST = 1_000_000  # entries
DEEPEST_ARRAY = 8  # lists within lists


def to_plain(value: Any) -> Any:
    """Return `value` as dicts, lists, numbers, strings; dataclass fields in their order.

    Raises
    ------
    TypeError : something JSON has no form for, which is a mistake in the program
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _as_declared(str(field.type), to_plain(getattr(value, field.name)))
            for field in dataclasses.fields(value)
        }
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): to_plain(item) for key, item in value.items()}
    if value is None or isinstance(value, str | bool | int | float):
        return value
    raise TypeError(f"{type(value).__name__} has no plain form")


def from_plain(kind: type[Record], data: Any, where: str) -> Record:
    """Return the dataclass `kind` made from a dict; `where` names the place in messages.

    Raises
    ------
    InputError : unknown or missing field, a value of the wrong type, too long, not finite;
        also what `kind` itself refuses
    """
    if not isinstance(data, Mapping):
        raise InputError(f"{where} is {_short(data)}.", "Write an object with named fields.")
    hints = typing.get_type_hints(kind)
    fields = {field.name: field for field in dataclasses.fields(kind)}  # type: ignore[arg-type]
    unknown = sorted(str(name) for name in data if name not in fields)
    if unknown:
        raise _unknown_field(where, unknown[0], list(fields))
    values = {name: _read(hints[name], value, f"{where}, {name}") for name, value in data.items()}
    for name, field in fields.items():
        optional = (
            field.default is not dataclasses.MISSING
            or field.default_factory is not dataclasses.MISSING
        )
        if name not in values and not optional:
            raise InputError(f"{where} lacks the field '{name}'.", "Add it.")
    return kind(**values)


def _unknown_field(where: str, name: str, known: list[str]) -> InputError:
    close = difflib.get_close_matches(name[:60], known, n=1)
    meant = f"Did you mean '{close[0]}'? " if close else ""
    return InputError(
        f"{where} has an unknown field {_short(name)}.",
        f"{meant}Correct or remove it; a newer version of the program may have written it.",
    )


def _as_declared(declared: str, plain: Any) -> Any:
    """Return 3 as 3.0 where the field is declared a float: equal records, equal text."""
    if "float" not in declared or "int" in declared:
        return plain
    if isinstance(plain, list):
        return [_as_declared(declared, item) for item in plain]
    if isinstance(plain, dict) and declared.startswith("dict["):
        return {key: _as_declared(declared, item) for key, item in plain.items()}
    return float(plain) if isinstance(plain, int) and not isinstance(plain, bool) else plain


def _read(hint: Any, value: Any, where: str) -> Any:
    """Return `value` checked against the annotation `hint`."""
    origin, args = _origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        if value is None and type(None) in args:
            return None
        rest = [arg for arg in args if arg is not type(None)]
        return _read_any(rest, value, where)
    if origin is Literal:
        if value not in args or isinstance(value, bool) != isinstance(args[0], bool):
            raise InputError(
                f"{where} is {_short(value)}.", f"Use one of {', '.join(map(str, args))}."
            )
        return value
    if origin is tuple:
        return _read_tuple(args, value, where)
    if origin is dict:
        if not isinstance(value, Mapping) or len(value) > LONGEST_LIST:
            raise InputError(f"{where} is {_short(value)}.", "Write an object.")
        return {
            _read(args[0], key, f"{where}, a key"): _read(args[1], item, f"{where}, {key:.60}")
            for key, item in value.items()
        }
    if origin is np.ndarray:
        return _read_array(value, where)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return from_plain(hint, value, where)
    return _read_scalar(hint, value, where)


def _origin(hint: Any) -> Any:
    """Return what an annotation is a kind of; numpy 2.5 on has NDArray as an alias of its own."""
    origin = get_origin(hint)
    return np.ndarray if getattr(origin, "__name__", "") == "NDArray" else origin


def _read_any(hints: list[Any], value: Any, where: str) -> Any:
    """Return `value` read by the first of several annotations that takes its JSON kind."""
    if len(hints) == 1:
        return _read(hints[0], value, where)
    fitting = [hint for hint in hints if _takes(hint, value)]
    if not fitting:
        raise InputError(f"{where} is {_short(value)}.", "Use a value of the documented kind.")
    return _read(fitting[0], value, where)


def _takes(hint: Any, value: Any) -> bool:
    """Return whether `hint` is for values of this JSON kind; a record must know every field."""
    origin = _origin(hint)
    if origin is Literal:
        return value in get_args(hint)
    if origin is tuple or origin is np.ndarray:
        return isinstance(value, list | tuple)
    if isinstance(value, bool) or hint is bool:
        return isinstance(value, bool) and hint is bool
    if origin is dict:
        return isinstance(value, Mapping)
    if dataclasses.is_dataclass(hint):
        names = {field.name for field in dataclasses.fields(hint)}
        return isinstance(value, Mapping) and names.issuperset(value)
    kinds: dict[Any, Any] = {int: int, float: (int, float), str: str}
    return isinstance(value, kinds.get(hint, object))


def _read_tuple(args: tuple[Any, ...], value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple) or len(value) > LONGEST_LIST:
        raise InputError(f"{where} is {_short(value)}.", "Write a list.")
    if len(args) == 2 and args[1] is Ellipsis:
        return tuple(_read(args[0], item, f"{where} {i + 1}") for i, item in enumerate(value))
    if len(value) != len(args):
        raise InputError(f"{where} has {len(value)} entries.", f"Write {len(args)}.")
    return tuple(
        _read(arg, item, f"{where} {i + 1}")
        for i, (arg, item) in enumerate(zip(args, value, strict=True))
    )


def _read_scalar(hint: Any, value: Any, where: str) -> Any:
    if hint is Any or (hint is bool and isinstance(value, bool)):
        return value
    if hint is str and isinstance(value, str):
        return _read_text(value, where)
    if hint in (int, float) and isinstance(value, int | float) and not isinstance(value, bool):
        if isinstance(value, int) and abs(value) >= 2**63:
            raise InputError(f"{where} is {_short(value)}.", "Use a smaller number.")
        if isinstance(value, float) and not math.isfinite(value):
            raise InputError(f"{where} is {_short(value)}.", "Use a finite number.")
        if hint is float or isinstance(value, int):
            return hint(value)
    name = {bool: "true or false", int: "a whole number", float: "a number", str: "a text"}.get(
        hint, str(hint)
    )
    raise InputError(f"{where} is {_short(value)}.", f"Write {name}.")


def _read_text(value: str, where: str) -> str:
    """Return a text a person can have typed: not endless, no control or broken characters."""
    if len(value) > LONGEST_TEXT:
        raise InputError(f"{where} is {len(value)} characters long.", "Shorten it.")
    for letter in value:
        if (ord(letter) < 32 and letter not in "\t\n\r") or "\ud800" <= letter <= "\udfff":
            raise InputError(f"{where} is {_short(value)}.", "Remove its control characters.")
    return value


def _read_array(value: Any, where: str) -> Any:
    if not isinstance(value, list | tuple):
        raise InputError(f"{where} is {_short(value)}.", "Write a list of numbers.")
    try:
        return np.array(_numbers(value, where, DEEPEST_ARRAY))
    except ValueError as error:  # rows of different lengths
        raise InputError(
            f"{where} has rows of different lengths.", "Write rows of the same length."
        ) from error


def _numbers(value: Any, where: str, depth: int) -> Any:
    """Return nested lists of finite numbers, refused otherwise."""
    if isinstance(value, list | tuple):
        if len(value) > LONGEST_LIST:
            raise InputError(f"{where} has {len(value)} entries.", "Use fewer.")
        if depth == 0:
            raise InputError(f"{where} is nested too deep.", "Write rows of numbers.")
        return [_numbers(item, where, depth - 1) for item in value]
    return _read_scalar(int if isinstance(value, int) else float, value, where)


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
