"""The helper process as the program sees it: asked, waited for only so long, started again after its death."""

from __future__ import annotations

import contextlib
import itertools
import os
import signal
import subprocess
import sys
import threading
import weakref
from dataclasses import replace
from pathlib import Path
from typing import Literal

from polewright.services.contained import FLAG
from polewright.services.contained.ceiling import TOO_LARGE_EXIT, Budget
from polewright.services.contained.wire import GarbledError, Message, receive, send
from polewright.services.one_thread import ONE_THREAD

Breach = Literal["work", "memory", "death"]
PIPE_BYTES = 1 << 20  # the most that Linux gives without asking; a frame then crosses in few wake-ups


class BreachError(Exception):
    """The helper has overrun its budget, or died over the request."""

    def __init__(self, breach: Breach) -> None:
        super().__init__(breach)
        self.breach = breach


class HelperFaultError(Exception):
    """A fault of ours, in the helper; the message is its traceback."""


class HelperProcess:
    """Started by the first `ask`; serves one thread at a time, the others wait."""

    def __init__(self) -> None:
        self._running: list[subprocess.Popen[bytes]] = []  # none or one
        self._lock = threading.Lock()
        self._exchanges = itertools.count()
        weakref.finalize(self, _end_them, self._running)

    def _start(self) -> subprocess.Popen[bytes]:
        """The process, begun unless it runs; does not wait."""
        for process in self._running[:1]:  # `close` may empty the list at any moment
            if process.poll() is None:
                return process
        self.close()
        process = _launched()
        self._running.append(process)
        return process

    @property
    def running(self) -> bool:
        """Whether there is a process now."""
        return any(process.poll() is None for process in self._running[:1])

    def ask(self, message: Message, budget: Budget) -> Message:
        """The answer; BreachError without one (the process is gone then), HelperFaultError for a bug."""
        with self._lock:
            answer = self._asked(message, budget)
            if "breach" in answer.body:
                self.close()  # before the next thread asks it
                raise BreachError("memory")
        if "fault" in answer.body:
            raise HelperFaultError(answer.body["fault"])
        return answer

    def close(self) -> None:
        """End it, from any thread; who waits for an answer gets a BreachError. The next `ask` starts it again."""
        _end_them(self._running)

    def _asked(self, message: Message, budget: Budget) -> Message:
        process = self._start()
        late = threading.Event()

        def end_it() -> None:
            late.set()
            process.kill()

        alarm = threading.Timer(budget.wall_s, end_it)
        alarm.daemon = True
        try:
            alarm.start()
            return _exchanged(process, message, next(self._exchanges))
        except (OSError, ValueError, GarbledError):  # ValueError: closed from another thread
            self.close()
            raise BreachError(_cause_of_death(_end(process), late.is_set())) from None
        except BaseException:  # Ctrl+C: the answer still to come must not be taken for that to the next request
            self.close()
            raise
        finally:
            alarm.cancel()


def _exchanged(process: subprocess.Popen[bytes], message: Message, number: int) -> Message:
    """The answer to this message; GarbledError when there is none, or it answers another."""
    assert process.stdin is not None and process.stdout is not None
    send(process.stdin, replace(message, body={**message.body, "exchange": number}))
    answer = receive(process.stdout)
    if answer is None or answer.body.get("exchange") != number:
        raise GarbledError("no answer to what was asked")
    return answer


def _end_them(running: list[subprocess.Popen[bytes]]) -> None:
    with contextlib.suppress(IndexError):  # two threads may close at once
        while True:
            _end(running.pop())


def _end(process: subprocess.Popen[bytes]) -> int:
    """Kill it if it still runs, let go of its pipes, and return its exit code."""
    if process.poll() is None:
        with contextlib.suppress(OSError):
            process.kill()
    code = process.wait()
    for stream in (process.stdin, process.stdout):
        with contextlib.suppress(OSError):
            if stream is not None:
                stream.close()
    return code


def _cause_of_death(code: int, late: bool) -> Breach:
    counted = {-getattr(signal, name) for name in ("SIGPROF", "SIGALRM") if hasattr(signal, name)}
    if late or code in counted:
        return "work"
    return "memory" if code == TOO_LARGE_EXIT else "death"


def _launched() -> subprocess.Popen[bytes]:
    environment = {**os.environ, **dict.fromkeys(ONE_THREAD, "1")}
    process = subprocess.Popen(
        helper_command(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        bufsize=0,
        env=environment,
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )
    _widen(process)
    return process


def _widen(process: subprocess.Popen[bytes]) -> None:
    """Pipes of 1 MB where the system has them: a frame passes in a third of the time."""
    if sys.platform == "linux":
        import fcntl

        for stream in (process.stdin, process.stdout):
            with contextlib.suppress(OSError):  # more than this user may have
                fcntl.fcntl(stream, fcntl.F_SETPIPE_SZ, PIPE_BYTES)  # type: ignore[arg-type]


def helper_command() -> list[str]:
    """How this installation starts itself as the helper."""
    return program_command(FLAG)


def program_command(flag: str) -> list[str]:
    """How this installation starts itself with a flag of its own; the frozen program through its console twin."""
    if not getattr(sys, "frozen", False):
        return [sys.executable, "-P", "-m", "polewright", flag]
    program = Path(sys.executable)
    console = program.with_name(program.name.replace("polewright-window", "polewright"))
    return [str(console if console.exists() else program), flag]
