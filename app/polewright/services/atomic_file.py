"""A file that is either the old one or the new one, whatever happens in between."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def write_atomically(path: Path, content: bytes) -> None:
    """Replace `path` by `content`: a temporary file beside it, on the disk, renamed over it. OSError if not."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".tmp", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Put a folder's entries on the disk, where the platform can (not on Windows)."""
    flags = getattr(os, "O_DIRECTORY", None)
    if flags is None:
        return
    with contextlib.suppress(OSError):  # some network file systems refuse; the file itself is safe
        descriptor = os.open(folder, os.O_RDONLY | flags)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def unused_name(path: Path, mark: str) -> Path:
    """`name.mark-1`, `-2`, ... beside `path`, the first that is free."""
    number = 1
    while (candidate := path.with_name(f"{path.name}.{mark}-{number}")).exists():
        number += 1
    return candidate
