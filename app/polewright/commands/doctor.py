"""`polewright doctor`: looks this installation over, and packs a bundle for a bug report."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import platform
import subprocess
import sys
from pathlib import Path
from typing import Any

from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.output import json_text
from polewright.services.diagnostics import Check, Folders, State, look_over, plain_facts
from polewright.services.paths import cache_folder, config_folder, data_folder
from polewright.services.privacy import Privacy
from polewright.services.program_log import log_tail
from polewright.services.support_bundle import night_tail, write_bundle

MARKS = {State.WELL: "well", State.NOTE: "note", State.ILL: "CURE"}
PROBE_S = 30.0
LIBRARIES_OF_QT = (
    "Install the system libraries that Qt needs (Debian: libegl1 libgl1 libxkbcommon0 libdbus-1-3 libfontconfig1, "
    "libxcb-cursor0 for a desktop), then look again."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where the bundle goes, and what it may tell."""
    parser.add_argument("--out", type=Path, metavar="FILE.zip", help="write a bundle for a bug report")
    parser.add_argument(
        "--with-location", action="store_true", help="include the site, paths and names in the bundle"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of sentences")
    parser.add_argument("--qt-alone", action="store_true", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Print one line for each check; exit code 3 when something needs a cure."""
    if args.qt_alone:
        return _print_what_qt_finds()
    folders = Folders(config_folder(), data_folder(), cache_folder())
    checks = [*look_over(folders), *check_window()]
    facts = plain_facts(checks)
    print(json_text(facts) if args.json else "\n".join(sentences(checks)))
    if args.out is not None:
        privacy = None if args.with_location else own_privacy()
        write_bundle(args.out, bundle_texts(folders, checks, facts, privacy), args.with_location)
        if not args.json:
            told = "says where you observe" if args.with_location else "leaves out where you observe, names and paths"
            print(f"\n{args.out} written; it {told}. Look through it before you send it.")
    return EXIT_OK if facts["well"] else EXIT_NOT_MEASURABLE


def bundle_texts(
    folders: Folders, checks: list[Check], facts: dict[str, Any], privacy: Privacy | None
) -> dict[str, str]:
    """The files of the bundle; with `privacy` without what is private."""

    def shown(text: str) -> str:
        return privacy.text(text) if privacy is not None else text

    return {
        "doctor.txt": shown("\n".join(sentences(checks)) + "\n"),
        "doctor.json": shown(json.dumps(facts, indent=1) + "\n"),
        "program.log": shown(log_tail(folders.log)),
        "night.jsonl": night_tail(folders.nights, privacy),
    }


def sentences(checks: list[Check]) -> list[str]:
    """One line for each check, and one for each cure."""
    width = max(len(check.name) for check in checks)
    lines = []
    for check in checks:
        lines.append(f"{MARKS[check.state]}  {check.name:{width}}  {check.fact}")
        if check.cure:
            lines.append(f"{'':{width + 6}}  do this: {check.cure}")
    ill = sum(check.state is State.ILL for check in checks)
    lines += ["", "Everything is well." if not ill else f"{ill} of {len(checks)} need a cure."]
    return lines


def own_privacy() -> Privacy:
    """The names of this person and this computer."""
    try:
        user = getpass.getuser()
    except (OSError, KeyError, ImportError):  # a user without a name
        user = ""
    return Privacy(str(Path.home()), (user, platform.node()))


def check_window() -> list[Check]:
    """Screen, sound and voice, asked of Qt in a process of its own."""
    from polewright.ui.screen import screen_here

    if not screen_here():
        return [Check("screen", State.NOTE, "No screen here: the window cannot open, all other commands work.")]
    try:
        done = subprocess.run(_own_command(), capture_output=True, text=True, timeout=PROBE_S, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        return [Check("screen", State.ILL, f"Qt does not answer: {error}.", LIBRARIES_OF_QT)]
    try:
        return window_checks(json.loads(done.stdout.splitlines()[-1]))
    except (ValueError, IndexError, KeyError, TypeError):
        said = (done.stderr.strip().splitlines() or [f"exit code {done.returncode}"])[-1]
        return [Check("screen", State.ILL, f"Qt cannot open a window: {said}", LIBRARIES_OF_QT)]


def window_checks(found: dict[str, Any]) -> list[Check]:
    """What `ui/self_check.py` found, judged."""
    screens = [
        f"{s['width_px']} x {s['height_px']} at {s['scale']:g}, {s['dots_per_inch']:g} dots per inch"
        for s in found["screens"]
    ]
    outputs, voices = int(found["sound_outputs"]), found["voices"]
    sound = f"{outputs} outputs." if outputs else "No output: the sound guide stays silent."
    voice = f"{', '.join(voices)}." if voices else "None: sentences are not spoken."
    return [
        Check("screen", State.WELL, f"Qt {found['qt']} on {found['desktop']}: {'; '.join(screens)}."),
        Check("sound", State.WELL if outputs else State.NOTE, sound),
        Check("voice", State.WELL if voices else State.NOTE, voice),
    ]


def _own_command() -> list[str]:
    """How to start this program once more: the frozen one by itself, otherwise by its Python."""
    begin = [sys.executable] if getattr(sys, "frozen", False) else [sys.executable, "-m", "polewright"]
    return [*begin, "doctor", "--qt-alone"]


def _print_what_qt_finds() -> int:
    from polewright.ui.self_check import what_qt_finds

    print(json_text(what_qt_finds()), flush=True)
    sys.stdout.flush()
    os._exit(EXIT_OK)  # audio back ends may hang on leaving; everything has been said
