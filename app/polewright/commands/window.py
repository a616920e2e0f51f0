"""`polewright window`: the window. Without a screen it says so in a sentence."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from polewright.commands.line import EXIT_USAGE
from polewright.commands.stopping import Stop, handle_with
from polewright.simulate.night import scenario_named

NO_SCREEN = (
    "polewright: There is no screen to open a window on. Start it on a desktop, or use the other commands "
    "(polewright --help)."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to begin."""
    parser.add_argument("--folder", type=Path, metavar="DIR", help="the folder the camera writes to")
    parser.add_argument("--rehearse", action="store_true", help="practise on a simulated mount at once")
    parser.add_argument("--scenario", default="first-night", metavar="NAME", help="which night to rehearse")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="which mount and error to rehearse with")
    parser.add_argument("--red", action="store_true", help="begin in red light, full screen")


def run(args: argparse.Namespace) -> int:
    """Open the window and stay until it is closed."""
    scenario_named(args.scenario)
    rehearsal = (args.scenario, args.seed) if args.rehearse else None
    return open_window(args.folder, rehearsal, args.red)


def open_window(folder: Path | None = None, rehearsal: tuple[str, int] | None = None, red: bool = False) -> int:
    """The window, until it is closed; exit code 2 and a sentence on stderr where there is no screen."""
    handle_with(Stop().leave)  # until the window takes them over
    from polewright.ui.screen import screen_here

    if not screen_here():
        print(NO_SCREEN, file=sys.stderr)
        return EXIT_USAGE
    from polewright.bootstrap_window import run_window

    return run_window(folder, rehearsal, red)
