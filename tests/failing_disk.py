"""A disk that fails at a chosen step: every call that writes, makes, renames or forces something is a step."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

STEPS = ("write", "fsync", "ftruncate", "mkdir", "replace", "rename", "link")


class FailingDisk:
    """From step `first` on, `count` steps fail with `number`; `steps` counts them all.

    A write that fails has written half before, as on a real disk.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch, first: int, count: int = 1, number: int = errno.ENOSPC):
        self.steps, self._bad, self._number = 0, range(first, first + count), number
        monkeypatch.setattr(os, "fsync", lambda descriptor: None)  # it may fail, but a test need not wait for it
        for name in STEPS:
            monkeypatch.setattr(os, name, self._failing(getattr(os, name), half=name == "write"))
        monkeypatch.setattr(os, "open", self._failing(os.open, lambda flags: flags & os.O_CREAT))
        monkeypatch.setattr(tempfile, "mkstemp", self._failing(tempfile.mkstemp))
        monkeypatch.setattr(Path, "write_bytes", self._failing(_written_whole, half=True))

    def _failing(
        self, call: Callable[..., Any], counts: Callable[[int], int] | None = None, half: bool = False
    ) -> Callable[..., Any]:
        def step(*args: Any, **options: Any) -> Any:
            if counts is not None and not counts(args[1]):
                return call(*args, **options)
            self.steps += 1
            if self.steps - 1 not in self._bad:
                return call(*args, **options)
            if half:
                call(args[0], bytes(args[1])[: len(args[1]) // 2])
            raise OSError(self._number, os.strerror(self._number))

        return step


def _written_whole(path: Path, data: bytes) -> int:
    with path.open("wb") as file:
        return file.write(data)
