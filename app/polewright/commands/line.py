"""The command line as a whole: parser, exit codes, and the one place where errors become sentences.

Exit codes: 0 success; 2 the request makes no sense; 3 not measurable (the reason is given), or something needs a cure
(doctor); 4 unreadable input.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from polewright import __version__
from polewright.core.errors import CatalogueError, FrameReadError, PolewrightError, RecordingError, SettingsError
from polewright.services.paths import log_folder
from polewright.services.program_log import log_fault

EXIT_OK = 0
EXIT_USAGE = 2
EXIT_NOT_MEASURABLE = 3
EXIT_UNREADABLE = 4

COMMANDS = {
    "locate": "say where one frame points",
    "measure": "say where the mount axis points, from frames taken while the RA axis was turned",
    "follow": "follow the axis frame by frame while the screws turn",
    "drift": "say where the mount axis points, from the drift of the stars while the drive runs",
    "simulate": "write frames of a simulated, misaligned mount into a folder",
    "rehearse": "practise a whole alignment on a simulated mount",
    "replay": "play a recorded night again",
    "tolerance": "say what accuracy a plan needs, or how long one may expose",
    "report": "write the report of a recorded night",
    "doctor": "check this installation and write a bundle for a bug report",
    "credits": "name the data and libraries the program stands on, and their licences",
    "window": "open the window (the same as no command)",
}
"""Each command lives in the module of its name beside this file, loaded when it is called."""


def run(argv: Sequence[str]) -> int:
    """Parse `argv` (without the program name), run the command, return the exit code."""
    arguments = list(argv) or ["window"]
    parser = argparse.ArgumentParser(
        prog="polewright",
        description="Aligns an equatorial mount's RA axis with the celestial pole, from camera frames.",
    )
    parser.add_argument("--version", action="version", version=f"polewright {__version__}")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        sub = subparsers.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        if arguments[0] == name:
            importlib.import_module(f"polewright.commands.{name}").add_arguments(sub)
    try:
        args = parser.parse_args(arguments)
    except SystemExit as exc:  # argparse has printed its message
        return int(exc.code or 0)
    try:
        return int(importlib.import_module(f"polewright.commands.{args.command}").run(args))
    except (FrameReadError, CatalogueError, RecordingError, SettingsError) as exc:
        print(f"polewright: {exc}", file=sys.stderr)
        return EXIT_UNREADABLE
    except PolewrightError as exc:
        print(f"polewright: {exc}", file=sys.stderr)
        return EXIT_USAGE
    except BrokenPipeError:
        return EXIT_OK
    except Exception:  # a fault of the program: kept for a bug report, then shown as it is
        log_fault(log_folder())
        raise
