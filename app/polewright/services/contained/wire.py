"""Messages between the program and its helper: a JSON head and the bytes of arrays, nothing that could be executed.

8 bytes  length of the head          8 bytes  length of all arrays together
head     JSON: {"body": ..., "arrays": [[dtype, shape], ...]}
arrays   one after the other, C order
"""

from __future__ import annotations

import dataclasses
import json
import struct
import typing
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import IO, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from polewright.core.errors import PolewrightError
from polewright.core.model import Frame, Site, SkyPosition, Sourced, Utc
from polewright.core.plain import from_plain_as, to_plain

D = TypeVar("D")
LENGTHS = struct.Struct("<QQ")
LARGEST_HEAD, LARGEST_ARRAYS = 64 << 20, 8 << 30  # bytes; beyond, the helper is out of its mind and is ended
TYPES = ("u1", "u2", "f4", "f8", "i8")


class GarbledError(Exception):
    """What came is no message, or ends in its middle."""


@dataclass(frozen=True, eq=False)
class Message:
    """`body` is plain (JSON); `arrays` come along as they are."""

    body: Mapping[str, Any]
    arrays: Sequence[NDArray[Any]] = ()


def send(stream: IO[bytes], message: Message) -> None:
    """Write all of it; OSError when nobody reads any more."""
    arrays = [np.ascontiguousarray(array) for array in message.arrays]
    names = [[array.dtype.str.lstrip("<|="), list(array.shape)] for array in arrays]
    head = json.dumps({"body": message.body, "arrays": names}).encode("utf-8")
    _write(stream, LENGTHS.pack(len(head), sum(array.nbytes for array in arrays)) + head)
    for array in arrays:
        _write(stream, array.reshape(-1).view(np.uint8).data)
    stream.flush()


def receive(stream: IO[bytes]) -> Message | None:
    """The next message; None when the other side has ended between two of them; GarbledError within one."""
    lengths = _read(stream, LENGTHS.size)
    if not lengths:
        return None
    try:
        head_bytes, array_bytes = LENGTHS.unpack(lengths)
        if head_bytes > LARGEST_HEAD or array_bytes > LARGEST_ARRAYS:
            raise GarbledError("a message of impossible length")
        head = json.loads(_whole(stream, head_bytes))
        return Message(head["body"], _arrays(_whole(stream, array_bytes), head["arrays"]))
    except (struct.error, ValueError, KeyError, TypeError, RecursionError) as error:
        raise GarbledError(str(error)) from error


def pack(value: Any) -> tuple[Any, list[NDArray[Any]]]:
    """A frozen dataclass of the core as plain values and arrays, in the order of its fields."""
    plain: dict[str, Any] = {}
    arrays: list[NDArray[Any]] = []
    for field in dataclasses.fields(value):
        item = getattr(value, field.name)
        if isinstance(item, np.ndarray):
            arrays.append(item)
        else:
            plain[field.name] = {k: int(n) for k, n in item.items()} if isinstance(item, Mapping) else to_plain(item)
    return plain, arrays


def unpack(kind: type[D], plain: Mapping[str, Any], arrays: Sequence[NDArray[Any]]) -> D:
    """The inverse of `pack`; GarbledError when the two do not belong together."""
    try:
        return _unpacked(kind, plain, arrays)
    except (PolewrightError, KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise GarbledError(f"no {kind.__name__}: {error}") from error


def _unpacked(kind: type[D], plain: Mapping[str, Any], arrays: Sequence[NDArray[Any]]) -> D:
    hints, left = typing.get_type_hints(kind), list(arrays)
    values: dict[str, Any] = {}
    for field in dataclasses.fields(kind):  # type: ignore[arg-type]
        if field.name not in plain:
            values[field.name] = left.pop(0)
        elif kind is Frame and field.name in SOURCED:
            values[field.name] = _sourced(SOURCED[field.name], plain[field.name])
        else:
            values[field.name] = _plain(hints[field.name], plain[field.name])
    return kind(**values)


SOURCED: dict[str, type] = {
    "utc_mid": Utc,
    "exposure_s": float,
    "focal_length_mm": float,
    "pixel_size_um": float,
    "scale_arcsec_px": float,
    "site": Site,
    "pointing": SkyPosition,
    "temperature_c": float,
    "pressure_hpa": float,
}


def _sourced(kind: type, plain: Any) -> Sourced[Any] | None:
    if plain is None:
        return None
    return Sourced(_plain(kind, plain["value"]), str(plain["source"]))


def _plain(hint: Any, plain: Any) -> Any:
    if typing.get_origin(hint) is Mapping:
        return dict(plain)
    return from_plain_as(hint, plain, "a message")


def _arrays(content: bytearray, names: Sequence[Any]) -> list[NDArray[Any]]:
    arrays, offset = [], 0
    for name, shape in names:
        if name not in TYPES or any(n < 0 for n in shape):
            raise GarbledError(f"an array of {name} {shape}")
        count = int(np.prod(shape, dtype=np.int64))
        array = np.frombuffer(content, name, count, offset).reshape(shape)
        arrays.append(array)
        offset += array.nbytes
    return arrays


def _write(stream: IO[bytes], content: bytes | memoryview) -> None:
    view = memoryview(content)
    while len(view):
        view = view[stream.write(view) or 0 :]


def _whole(stream: IO[bytes], count: int) -> bytearray:
    content = _read(stream, count)
    if len(content) < count:
        raise GarbledError("the message ends in its middle")
    return content


def _read(stream: IO[bytes], count: int) -> bytearray:
    content, have = bytearray(count), 0
    view = memoryview(content)
    while have < count:
        got = stream.readinto(view[have:])  # type: ignore[attr-defined]
        if not got:
            break
        have += got
    view.release()
    del content[have:]
    return content
