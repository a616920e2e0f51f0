"""`polewright credits`: whose data and libraries the program stands on, and under which licences."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from polewright.commands.line import EXIT_OK
from polewright.commands.output import json_text
from polewright.core.credit import owed
from polewright.core.errors import UsageError
from polewright.services.credits import licence_text, read_credits
from polewright.words.credits import credit_lines


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """JSON, or the text of one licence."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of sentences")
    parser.add_argument("--text", metavar="LICENCE", help="print the text of one licence, as in LGPL-3.0")


def run(args: argparse.Namespace) -> int:
    """Print the credits, or one text; UsageError for a licence that nothing here is under."""
    credits = read_credits()
    if args.text is not None:
        text = _text(args.text, owed(credits))
        print(json_text({"licence": args.text, "text": text}) if args.json else text.rstrip("\n"))
    else:
        print(json_text(asdict(credits)) if args.json else "\n".join(credit_lines(credits)))
    return EXIT_OK


def _text(name: str, names: tuple[str, ...]) -> str:
    if name not in names:
        raise UsageError(f"No licence is called {name} here; there are {', '.join(names)}.")
    return licence_text(name)
