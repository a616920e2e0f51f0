"""The frames that a command is given: a bad one is left out and named, and costs the others nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import ParamSpec, TypeVar

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.measuring import FrameMeasurer, MeasuredFrame

P = ParamSpec("P")
T = TypeVar("T")


def unless_bad(work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T | FrameReadError:
    """What `work` returns, or what is wrong with the frame: half written, damaged, over its budget."""
    try:
        return work(*args, **kwargs)
    except FrameReadError as error:
        return error


def measured_one_by_one(
    measurer: FrameMeasurer, paths: Sequence[Path]
) -> tuple[Frame, Iterator[tuple[Path, MeasuredFrame | FrameReadError]]]:
    """The first frame that can be read, and what comes of every file, measured when it is asked for.

    FrameReadError, that of the first file, when none can be read.
    """
    unread: list[tuple[Path, FrameReadError]] = []
    for path in paths:
        read = unless_bad(measurer.read, path)
        if not isinstance(read, FrameReadError):
            return read[0], _each(measurer, paths, unread, read)
        unread.append((path, read))
    raise unread[0][1]


def _each(
    measurer: FrameMeasurer,
    paths: Sequence[Path],
    unread: Sequence[tuple[Path, FrameReadError]],
    read: tuple[Frame, float],
) -> Iterator[tuple[Path, MeasuredFrame | FrameReadError]]:
    yield from unread
    first, *others = paths[len(unread) :]
    yield first, unless_bad(measurer.place, *read)
    for path in others:
        yield path, unless_bad(measurer.measure, path)
