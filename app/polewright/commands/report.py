"""`polewright report NIGHT`: one page to keep and print, the measurements as a table, the reticle as a picture."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from polewright.commands.line import EXIT_OK
from polewright.commands.output import json_text
from polewright.core.errors import RecordingError
from polewright.services.atomic_file import write_atomically
from polewright.services.night_log import night_folder
from polewright.services.report.page import plain_result, verdict
from polewright.services.report.writing import write_report
from polewright.ui.night_report import read_report

PICTURE_PX = 1200


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NIGHT and where to put the files."""
    parser.add_argument("night", type=Path, metavar="NIGHT", help="the folder of a night, or its night.jsonl")
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="where to put the files (default: report beside the log)"
    )
    parser.add_argument("--alone", action="store_true", help="leave out the comparison with the nights beside it")
    parser.add_argument("--json", action="store_true", help="print JSON instead of sentences")


def run(args: argparse.Namespace) -> int:
    """Write the report; RecordingError (exit code 4) when there is no night or it cannot be written."""
    folder = night_folder(args.night)
    report = read_report(args.night, folder.resolve().name, args.alone)
    out = args.out or folder / "report"
    paths = write_report(*report, out)
    paths.append(_picture(out / "reticle.svg"))
    if args.json:
        print(json_text({**plain_result(report.facts), "files": [str(p) for p in paths]}))
        return EXIT_OK
    told = verdict(report.facts)
    print("\n".join([told["main"], *(f"  {line}" for line in told["more"]), *(f"  {p}" for p in paths)]))
    return EXIT_OK


def _picture(svg: Path) -> Path:
    """The SVG as a PNG of the same name. RecordingError when it cannot be written."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from polewright.ui.svg_picture import png_of

    target = svg.with_suffix(".png")
    try:
        write_atomically(target, png_of(svg.read_bytes(), PICTURE_PX))
    except OSError as error:
        raise RecordingError(f"{target} cannot be written: {error.strerror or error}.") from error
    return target
