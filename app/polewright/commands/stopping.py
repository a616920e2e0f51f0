"""Being told to stop: Ctrl+C, the end of the terminal or of the session. What is open is closed first.

While modules are loaded nothing is open, and an exception raised inside a native module's start can be swallowed or
abort the process (numpy and Qt do both): the program just leaves. While a command runs, StoppedError is raised, so
that everything is closed on the way out. The window does it its own way: ui/driving/quitting.py.

Decided 2026-11-29. A signal is a wish to close. Ctrl+C, SIGTERM and SIGHUP raised an exception wherever Python
happened to be: inside the start of numpy or Qt it was swallowed, or aborted the process. While modules load the
program just leaves; a command unwinds (commands/stopping.py); the window hears of it through a socket in its event
loop (ui/driving/quitting.py).
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

from polewright.services.end_signals import STOPS

Handler = Callable[[int, FrameType | None], object]


class StoppedError(BaseException):
    """A signal asks the program to end. No `except Exception` may keep it: it goes up to the command line."""


class Stop:
    """Attributes: `number` of the signal that came, 0 for none."""

    def __init__(self, as_json: bool = False) -> None:
        self.number = 0
        self._as_json = as_json

    def leave(self, number: int, _frame: FrameType | None = None) -> NoReturn:
        """A handler: say so and end the process."""
        self.number = number
        os._exit(self.told())

    def unwind(self, number: int, _frame: FrameType | None = None) -> NoReturn:
        """A handler: raise StoppedError, once; a second signal must not interrupt the tidying up."""
        self.number = number
        handle_with(lambda number, frame: None)
        raise StoppedError(number)

    def told(self) -> int:
        """Say that the program has stopped; the exit code, as shells count it."""
        code = 128 + self.number
        with contextlib.suppress(OSError):
            os.write(2, b"polewright: Stopped.\n")
            if self._as_json:
                os.write(1, b'{"error": "Stopped.", "exit_code": %d}\n' % code)
        return code


def handle_with(handler: Handler) -> None:
    """From now on; what is ignored stays so (nohup). Nothing outside the main thread, where signals never come."""
    if threading.current_thread() is threading.main_thread():
        for number in STOPS:
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, handler)


@contextmanager
def stoppable(as_json: bool) -> Iterator[Stop]:
    """Signals end the process inside; afterwards they do what they did before."""
    stop, before = Stop(as_json), {number: signal.getsignal(number) for number in STOPS}
    handle_with(stop.leave)
    try:
        yield stop
    finally:
        if threading.current_thread() is threading.main_thread():
            for number, handler in before.items():
                signal.signal(number, handler)
