"""Start: `polewright COMMAND ...`; without a command the window opens."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from polewright.commands.stopping import StoppedError, stoppable
from polewright.services.contained import FLAG, PREPARE
from polewright.services.one_thread import keep_to_one_thread

WINDOW_NAME = "polewright-window"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    keep_to_one_thread()
    arguments = sys.argv[1:] if argv is None else list(argv)
    if arguments == [FLAG]:
        from polewright.services.contained.helper import serve

        return serve()
    if arguments[:1] == [PREPARE]:
        from polewright.services.index_builder import serve as build

        return build(arguments[1:])
    with stoppable("--json" in arguments) as stop:
        try:
            from polewright.commands.line import run

            return run(arguments, stop)
        except (StoppedError, Exception):
            if stop.number:
                return stop.told()
            from polewright.services.paths import log_folder
            from polewright.services.program_log import log_fault

            log_fault(log_folder())  # a fault of the program: kept for a bug report, then shown as it is
            raise


def window_main() -> int:
    """Entry point of the windowed launcher: the window, whatever the desktop passes along."""
    own = sys.argv[1:2] in ([FLAG], [PREPARE])
    return main(sys.argv[1:] if own else ["window", *sys.argv[1:]])


def start() -> int:
    """Entry point of a program with two names: by the windowed one, the window."""
    return window_main() if Path(sys.argv[0]).name == WINDOW_NAME else main()


if __name__ == "__main__":
    raise SystemExit(start())
