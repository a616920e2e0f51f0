"""The program's own log: a file of limited size in the platform's folder, for faults and for bug reports."""

from __future__ import annotations

import contextlib
import logging
from logging.handlers import RotatingFileHandler
from pathlib import Path

from polewright.services.regular_file import is_in_the_way, open_regular

LOG = logging.getLogger("polewright")
LOG_NAME, LOG_BYTES, LOGS_KEPT = "polewright.log", 1_000_000, 3  # three logs of a megabyte are kept (chosen)
LINE = "%(asctime)s %(levelname)s %(threadName)s %(message)s"


def log_to(folder: Path) -> logging.Handler | None:
    """Keep a log in `folder`; None where it cannot be written: the program does without."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if is_in_the_way(folder / LOG_NAME):
            return None
        handler = RotatingFileHandler(folder / LOG_NAME, maxBytes=LOG_BYTES, backupCount=LOGS_KEPT, encoding="utf-8")
    except OSError:
        return None
    handler.setFormatter(logging.Formatter(LINE))
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    return handler


def log_fault(folder: Path) -> None:
    """Write the exception that is being handled into the log in `folder`."""
    handler = log_to(folder)
    if handler is not None:
        LOG.exception("fault in the program")
        LOG.removeHandler(handler)
        with contextlib.suppress(OSError):  # a full disk does not take the place of the fault
            handler.close()


def log_tail(folder: Path, longest_bytes: int = 200_000) -> str:
    """The last part of the log in `folder`, whole lines; "" where there is none."""
    path = folder / LOG_NAME
    try:
        with open_regular(path) as file:
            size = file.seek(0, 2)
            file.seek(max(0, size - longest_bytes))
            text = file.read().decode("utf-8", errors="replace")
    except OSError:
        return ""
    return text if size <= longest_bytes else text.partition("\n")[2]
