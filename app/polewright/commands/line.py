"""The command line as a whole: parser, exit codes, and the one place where errors become sentences.

Exit codes: 0 success; 2 the request makes no sense; 3 not measurable (the reason is given), or something needs a cure
(doctor); 4 unreadable input; 128 and more: stopped by a signal (130: Ctrl+C). With --json every exit but a fault of
the program prints JSON.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import sys
from collections.abc import Sequence
from typing import NoReturn

from polewright import __version__
from polewright.commands.output import json_text
from polewright.commands.stopping import Stop, handle_with
from polewright.core.errors import CatalogueError, FrameReadError, PolewrightError, RecordingError, SettingsError

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
    "credits": "name the data and libraries the program builds on, and their licences",
    "window": "open the window (the same as no command)",
}
"""Each command lives in the module of its name beside this file, loaded when it is called."""


def run(argv: Sequence[str], stop: Stop | None = None) -> int:
    """Parse `argv` (without the program name), run the command, return the exit code."""
    arguments = list(argv) or ["window"]
    _speak_any_name()
    try:
        args = _parsed(arguments)
    except SystemExit as exc:  # --help and --version
        return int(exc.code or 0)
    except _BadLineError as exc:
        return _refused(arguments, f"{exc}.", EXIT_USAGE)
    try:
        importlib.import_module("polewright.commands.options").check_numbers(args)
        command = importlib.import_module(f"polewright.commands.{args.command}")
        if stop is not None:
            handle_with(stop.unwind)
        return int(command.run(args))
    except (FrameReadError, CatalogueError, RecordingError, SettingsError) as exc:
        return _refused(arguments, str(exc), EXIT_UNREADABLE)
    except PolewrightError as exc:
        return _refused(arguments, str(exc), EXIT_USAGE)
    except BrokenPipeError:
        return EXIT_OK


def _speak_any_name() -> None:
    """A name that is no text, or a sign that the terminal has not, is printed as its code and ends nothing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


class _BadLineError(Exception):
    """The command line cannot be parsed; the usage has been printed."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """Print the usage, and leave the rest to `run`."""
        self.print_usage(sys.stderr)
        raise _BadLineError(message)


def _parsed(arguments: Sequence[str]) -> argparse.Namespace:
    """The values of the line; what the command does not know is told with the usage of that command."""
    parser, own = _parser(arguments[0])
    args, unknown = parser.parse_known_args(arguments)
    if unknown:
        own.error(f"unrecognized arguments: {' '.join(unknown)}")
    return args


def _parser(command: str) -> tuple[argparse.ArgumentParser, argparse.ArgumentParser]:
    """The parser of all commands, and that of `command`, whose options alone are loaded."""
    parser = _Parser(
        prog="polewright",
        description="Aligns an equatorial mount's RA axis with the celestial pole, from camera frames.",
    )
    parser.add_argument("--version", action="version", version=f"polewright {__version__}")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    own: argparse.ArgumentParser = parser
    for name, summary in COMMANDS.items():
        sub = subparsers.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        if command == name:
            importlib.import_module(f"polewright.commands.{name}").add_arguments(sub)
            own = sub
    return parser, own


def _refused(arguments: Sequence[str], why: str, code: int) -> int:
    """Say why on stderr, and to a program that asked for JSON on its own channel too."""
    print(f"polewright: {why}", file=sys.stderr)
    if "--json" in arguments:
        with contextlib.suppress(BrokenPipeError):
            print(json_text({"error": why, "exit_code": code}), flush=True)
    return code
