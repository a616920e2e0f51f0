"""The signals that ask a program to end: Ctrl+C, the system, a terminal that closes."""

from __future__ import annotations

import signal

STOPS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
