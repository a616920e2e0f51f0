"""Frozen dataclasses <-> plain values for JSON, exact to the last bit of every float.

`to_plain` writes dataclasses as mappings with their class name under "kind", enums by name, tuples as lists; floats
stay floats, and whoever writes the text has words for nan and inf (services/log_format.py). `from_plain` reads them
back by the type hints of the class, so that nothing that is not a declared field of a known class can come in.
Unknown fields are ignored and missing ones take their default: a log of an older or newer version stays readable
where it can.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from enum import Enum
from functools import lru_cache
from typing import Any, TypeVar, Union

from polewright.core.errors import RecordingError

D = TypeVar("D")
LARGEST = 2**63  # whole numbers beyond it come from damage, and fit neither numpy nor a float


def to_plain(value: object) -> Any:
    """`value` as mappings, lists, text, numbers, booleans and None."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
        if "kind" in fields:
            raise TypeError(f"{type(value).__name__} may not have a field named kind")
        return {"kind": type(value).__name__, **fields}
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, tuple):
        return [to_plain(item) for item in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise TypeError(f"{type(value).__name__} has no plain form")


def from_plain(kind: type[D], data: object) -> D:
    """The `kind` that `data` describes; RecordingError, naming the place, when it does not describe one."""
    result = _read(kind, data, kind.__name__)
    return typing.cast(D, result)


def from_plain_as(hint: Any, data: object, where: str) -> Any:
    """The same for any type hint that a field of such a class may have; `where` names it."""
    return _read(hint, data, where)


def _read(hint: Any, data: object, where: str) -> Any:
    if hint is Any:
        return data
    origin = typing.get_origin(hint)
    if origin in (Union, types.UnionType):
        return _read_union(hint, data, where)
    if origin is tuple:
        return _read_tuple(hint, data, where)
    if origin is typing.Literal:
        if data in typing.get_args(hint):
            return data
        raise _wrong(where, f"one of {typing.get_args(hint)}", data)
    if isinstance(hint, type) and issubclass(hint, Enum):
        if isinstance(data, str) and data in hint.__members__:
            return hint[data]
        raise _wrong(where, hint.__name__, data)
    if dataclasses.is_dataclass(hint):
        return _read_dataclass(typing.cast(type, hint), data, where)
    return _read_scalar(hint, data, where)


def _read_scalar(hint: Any, data: object, where: str) -> Any:
    if hint is float:
        if isinstance(data, float) or (isinstance(data, int) and not isinstance(data, bool) and abs(data) < LARGEST):
            return float(data)
        if data in ("nan", "inf", "-inf"):  # as older logs have them; today services/log_format.py writes them
            return float(data)
    elif hint is type(None):
        if data is None:
            return None
    elif hint is int:
        if isinstance(data, int) and not isinstance(data, bool) and abs(data) < LARGEST:
            return data
    elif hint in (bool, str):
        if isinstance(data, hint):
            return data
    elif isinstance(hint, TypeVar):
        return data
    raise _wrong(where, getattr(hint, "__name__", str(hint)), data)


def _read_union(hint: Any, data: object, where: str) -> Any:
    options = typing.get_args(hint)
    if data is None and type(None) in options:
        return None
    if isinstance(data, Mapping):
        for option in options:
            if dataclasses.is_dataclass(option) and getattr(option, "__name__", "") == data.get("kind"):
                return _read(option, data, where)
        raise _wrong(where, " or ".join(getattr(o, "__name__", str(o)) for o in options), data.get("kind"))
    for option in options:
        try:
            return _read(option, data, where)
        except RecordingError:
            continue
    raise _wrong(where, str(hint), data)


def _read_tuple(hint: Any, data: object, where: str) -> tuple[Any, ...]:
    if not isinstance(data, list | tuple):
        raise _wrong(where, "a list", data)
    items = typing.get_args(hint)
    if len(items) == 2 and items[1] is Ellipsis:
        return tuple(_read(items[0], item, f"{where}[{i}]") for i, item in enumerate(data))
    if len(items) != len(data):
        raise _wrong(where, f"{len(items)} values", data)
    return tuple(_read(h, item, f"{where}[{i}]") for i, (h, item) in enumerate(zip(items, data, strict=True)))


def _read_dataclass(kind: type, data: object, where: str) -> Any:
    if not isinstance(data, Mapping) or data.get("kind", kind.__name__) != kind.__name__:
        raise _wrong(where, kind.__name__, data)
    hints = _hints(kind)
    values = {
        f.name: _read(hints[f.name], data[f.name], f"{where}.{f.name}")
        for f in dataclasses.fields(kind)
        if f.name in data and f.init
    }
    try:
        return kind(**values)
    except TypeError as exc:
        raise RecordingError(f"The record is incomplete at {where}: {exc}.") from exc


@lru_cache(maxsize=256)
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _wrong(where: str, expected: str, data: object) -> RecordingError:
    return RecordingError(f"The record is damaged at {where}: {expected} was expected, not {str(data)[:60]!r}.")
