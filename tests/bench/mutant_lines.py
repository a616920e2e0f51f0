"""Which lines of the project run, at almost no cost: each is told once, then it is silent until somebody asks again.

Needs `sys.monitoring`, so Python 3.12 or newer.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import CodeType
from typing import Any


class Lines:
    """Collects from the moment it is made."""

    def __init__(self, app: Path) -> None:
        self._top = f"{app}/"
        self._run: dict[str, set[int]] = {}
        self._monitoring: Any = sys.monitoring  # type: ignore[attr-defined, unused-ignore]
        tool = self._monitoring.COVERAGE_ID
        self._monitoring.use_tool_id(tool, "mutants")
        self._monitoring.register_callback(tool, self._monitoring.events.LINE, self._told)
        self._monitoring.set_events(tool, self._monitoring.events.LINE)

    def taken(self) -> dict[str, list[int]]:
        """The lines run since the last call, by file below the application; from now on they are told again."""
        run = {name.removeprefix(self._top): sorted(lines) for name, lines in self._run.items()}
        self._run = {}
        self._monitoring.restart_events()
        return run

    def _told(self, code: CodeType, line: int) -> object:
        if code.co_filename.startswith(self._top):
            self._run.setdefault(code.co_filename, set()).add(line)
        return self._monitoring.DISABLE
