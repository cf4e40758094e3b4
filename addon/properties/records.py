"""Property groups made from the engine's settings types: one definition, one set of defaults.

The engine says which fields there are, of what kind, with what default; a table here only adds
the words a person reads. `_mm` fields become lengths, `_deg` angles, `X | None` a switch and a
value, `bool | None` and a Literal a menu, a tuple of numbers a short text.
"""

from __future__ import annotations

import types
from dataclasses import MISSING, dataclass, fields
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from ..props import BoolProperty, EnumProperty, FloatProperty, IntProperty, StringProperty
from .fields import Annotations, angle, length

EITHER = {
    "AUTO": ("By the Process", "What the process usually needs"),
    "YES": ("Yes", ""),
    "NO": ("No", ""),
}
KEYS = {None: "AUTO", True: "YES", False: "NO"}  # of a yes or no that may be left open


@dataclass(frozen=True, slots=True)
class Words:
    """What a person reads about one field; `items` for a menu: key -> (label, tooltip).

    `start` is the value a switched-off optional field shows when it is switched on.
    """

    label: str
    tip: str
    items: dict[str, tuple[str, str]] | None = None
    start: float = 0.0
    most: float = 1e6
    digits: int = 2  # shown after the point
    least: float = 0.0


def annotations_of(record: type, words: dict[str, Words]) -> Annotations:
    """Return the annotations of a property group for those fields of `record` that have words."""
    hints = get_type_hints(record)
    made: Annotations = {}
    for field in fields(record):
        if field.name not in words:
            continue
        default = None if field.default is MISSING else field.default
        made.update(_field(field.name, hints[field.name], default, words[field.name]))
    return made


def _field(name: str, hint: Any, default: Any, said: Words) -> Annotations:
    kind, optional = _without_none(hint)
    made: Annotations = {}
    if optional and kind is bool:
        items = [(key, *words) for key, words in EITHER.items()]
        key = KEYS[default]
        made[name] = EnumProperty(name=said.label, description=said.tip, default=key, items=items)
        return made
    if optional:
        made[f"use_{name}"] = BoolProperty(
            name=said.label, description=said.tip, default=default is not None
        )
        default = said.start if default is None else default
    if get_origin(kind) is Literal:
        made[name] = EnumProperty(
            name=said.label, description=said.tip, default=default, items=_items(kind, said)
        )
    elif get_origin(kind) is tuple:
        made[name] = StringProperty(
            name=said.label,
            description=said.tip,
            default=", ".join(f"{v:g}" for v in default or ()),
        )
    elif kind is bool:
        made[name] = BoolProperty(name=said.label, description=said.tip, default=bool(default))
    elif kind is int:
        made[name] = IntProperty(
            name=said.label, description=said.tip, default=int(default or 0),
            min=int(said.least), max=int(said.most),
        )  # fmt: skip
    elif kind is str:
        made[name] = StringProperty(name=said.label, description=said.tip, default=default or "")
    elif name.endswith("_mm"):
        made |= length(
            name.removesuffix("_mm"), said.label, said.tip, float(default or 0), most=said.most
        )
    elif name.endswith("_deg"):
        made |= angle(
            name.removesuffix("_deg"), said.label, said.tip, float(default or 0), least=said.least,
            most=min(said.most, 360.0),
        )  # fmt: skip
    else:
        made[name] = FloatProperty(
            name=said.label, description=said.tip, default=float(default or 0), min=said.least,
            max=said.most, precision=said.digits,
        )  # fmt: skip
    return made


def _items(kind: Any, said: Words) -> list[tuple[str, str, str]]:
    shown = said.items or {}
    return [
        (key, *shown.get(key, (key.replace("_", " ").capitalize(), ""))) for key in get_args(kind)
    ]


def _without_none(hint: Any) -> tuple[Any, bool]:
    if get_origin(hint) in (Union, types.UnionType):
        rest = [arg for arg in get_args(hint) if arg is not type(None)]
        return rest[0], True
    return hint, False


def values_of(group: Any, record: type, *, skip: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the group's values as keyword arguments of `record`; what it lacks is left out."""
    hints = get_type_hints(record)
    values: dict[str, Any] = {}
    for field in fields(record):
        name = field.name
        if name in skip or name not in group.bl_rna.properties:
            continue
        kind, optional = _without_none(hints[name])
        if optional and kind is bool:
            values[name] = next(v for v, key in KEYS.items() if key == getattr(group, name))
            continue
        if optional and not getattr(group, f"use_{name}"):
            values[name] = None
            continue
        values[name] = _plain(getattr(group, name), kind, name)
    return values


def set_values(group: Any, record: Any, *, skip: tuple[str, ...] = ()) -> None:
    """Copy a record of the engine into the group."""
    hints = get_type_hints(type(record))
    for field in fields(record):
        name = field.name
        if name in skip or name not in group.bl_rna.properties:
            continue
        value = getattr(record, name)
        kind, optional = _without_none(hints[name])
        if optional and kind is bool:
            value = KEYS[value]
        elif optional:
            setattr(group, f"use_{name}", value is not None)
            if value is None:
                continue
        if get_origin(kind) is tuple:
            value = ", ".join(f"{number:g}" for number in value)
        setattr(group, name, value)


def _plain(value: Any, kind: Any, name: str) -> Any:
    if get_origin(kind) is tuple:
        return _numbers(value, name)
    if kind is float:
        return float(f"{value:.7g}")  # single precision: 0.12 is kept as 0.11999999731779099
    return value


def _numbers(text: str, name: str) -> tuple[float, ...]:
    from .. import engine

    try:
        return tuple(float(word) for word in text.replace(",", " ").split())
    except ValueError as error:
        raise engine.load("errors").InputError(
            f"{name} is '{text[:60]}'.", "Enter numbers, with commas between them."
        ) from error
