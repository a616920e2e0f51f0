"""What the helper may use for one frame, and the kernel's own means to enforce it, where it has them.

A budget follows from the size of the file or of the picture, never from what a header claims. Measured: the largest
honest use is 1.1 s for a compressed frame of 24 Mpx and 44 bytes a pixel for the careful pass.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

MB = 1 << 20  # bytes
WALL_PER_WORK, WALL_EXTRA_S = 6.0, 20.0  # a busy machine, one waking up
PEEK_S = 0.2  # between looks at the memory in use (chosen)


@dataclass(frozen=True)
class Budget:
    """Processor time in s, and memory in bytes on top of what the idle helper holds."""

    work_s: float
    memory_bytes: int

    @property
    def wall_s(self) -> float:
        """When to stop waiting: for a helper that sleeps, or where the kernel counts no work."""
        return WALL_PER_WORK * self.work_s + WALL_EXTRA_S


def decoding_budget(file_bytes: int) -> Budget:
    """For unpacking a file of that size."""
    return Budget(10.0 + 0.5 * file_bytes / MB, 768 * MB + 32 * file_bytes)


def detection_budget(pixels: int) -> Budget:
    """For finding the stars on a frame of so many pixels."""
    return Budget(10.0 + 1.0 * pixels / 1e6, 512 * MB + 64 * pixels)


@contextmanager
def held_to(budget: Budget) -> Iterator[None]:
    """In the helper: MemoryError, or death, for what goes beyond; death also when the program that waits has gone."""
    _limit_memory(budget.memory_bytes)
    _alarm(budget.work_s, budget.wall_s)
    try:
        yield
    finally:
        _alarm(0.0, 0.0)


def _alarm(work_s: float, wall_s: float) -> None:
    """Signals whose default is to end the process: they reach a native loop that lets no Python run."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_PROF, work_s)
        signal.setitimer(signal.ITIMER_REAL, wall_s)


def _limit_memory(extra_bytes: int) -> None:
    """Of the address space, on Linux; elsewhere `watch_memory` looks from time to time."""
    held = address_space_bytes()
    if held:
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        wanted = held + extra_bytes
        resource.setrlimit(resource.RLIMIT_AS, (wanted if hard < 0 else min(wanted, hard), hard))


def address_space_bytes() -> int:
    """Of this process; 0 where the system does not tell as Linux does."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    except (OSError, ValueError, IndexError):
        return 0
    return pages * os.sysconf("SC_PAGE_SIZE")


def watch_memory(most_bytes: int) -> None:
    """For systems without a limit of the address space: a thread that ends the process when it has held too much.

    It cannot look while native code keeps the interpreter; the deadline holds in any case.
    """
    if address_space_bytes() or sys.platform == "win32":
        return
    threading.Thread(target=_peek, args=(most_bytes,), daemon=True, name="polewright-ceiling").start()


def _peek(most_bytes: int) -> None:
    import resource

    pause, unit = threading.Event(), 1 if sys.platform == "darwin" else 1024
    while not pause.wait(PEEK_S):
        if resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit > most_bytes:
            os._exit(TOO_LARGE_EXIT)


TOO_LARGE_EXIT = 77  # exit status that no library uses: tells a ceiling from a crash
