"""`polewright credits`: whose data and libraries the program stands on, and under which licences."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from polewright.commands.line import EXIT_OK, EXIT_USAGE
from polewright.commands.output import json_text
from polewright.core.credit import owed
from polewright.services.credits import licence_text, read_credits
from polewright.words.credits import credit_lines


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """JSON, or the text of one licence."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of sentences")
    parser.add_argument("--text", metavar="LICENCE", help="print the text of one licence, as in LGPL-3.0")


def run(args: argparse.Namespace) -> int:
    """Print the credits; exit code 2 for a licence that nothing here is under."""
    credits = read_credits()
    if args.text is not None:
        return _print_text(args.text, owed(credits))
    print(json_text(asdict(credits)) if args.json else "\n".join(credit_lines(credits)))
    return EXIT_OK


def _print_text(name: str, names: tuple[str, ...]) -> int:
    if name not in names:
        print(f"No licence is called {name} here; there are {', '.join(names)}.")
        return EXIT_USAGE
    print(licence_text(name), end="")
    return EXIT_OK
