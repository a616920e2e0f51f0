"""Start: `polewright COMMAND ...`; without a command the window opens."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    from polewright.commands.line import run

    return run(sys.argv[1:] if argv is None else list(argv))


def window_main() -> int:
    """Entry point of the windowed launcher: the window, whatever the desktop passes along."""
    return main(["window", *sys.argv[1:]])


if __name__ == "__main__":
    raise SystemExit(main())
