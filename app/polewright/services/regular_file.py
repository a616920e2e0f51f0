"""Opening files that somebody else may have put there: a pipe is waited for, a device has no end, a link may lead to
either. What is no regular file, or larger than it can be, is refused before anything waits or grows."""

from __future__ import annotations

import os
import stat
from io import FileIO
from pathlib import Path

LARGEST_SETTINGS = 4 << 20  # chosen: settings and profiles are a few kilobytes
AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)


def open_regular(path: Path) -> FileIO:
    """`path` opened for reading, unbuffered; OSError for what cannot be opened or is no regular file."""
    descriptor = os.open(path, os.O_RDONLY | AT_ONCE)
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(None, "it is a folder, a device or a pipe, not a file", str(path))
        return os.fdopen(descriptor, "rb", buffering=0)
    except BaseException:
        os.close(descriptor)
        raise


def read_regular(path: Path, most_bytes: int = LARGEST_SETTINGS) -> bytes:
    """All of it; OSError also when there is more than `most_bytes`."""
    with open_regular(path) as file:
        pieces, left = [], most_bytes + 1
        while left > 0 and (piece := file.read(min(left, 16 << 20))):
            pieces.append(piece)
            left -= len(piece)
    if left <= 0:
        raise OSError(None, f"it is larger than {most_bytes >> 20} MB", str(path))
    return b"".join(pieces)


def is_in_the_way(path: Path) -> bool:
    """Whether there is something that is no regular file: opening it might wait for ever."""
    try:
        return not stat.S_ISREG(path.stat().st_mode)
    except OSError:
        return False
