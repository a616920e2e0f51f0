"""`polewright simulate FOLDER`: frames of a simulated, misaligned mount, with the truth beside them."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from polewright.commands.line import EXIT_OK
from polewright.commands.options import checked_site
from polewright.commands.output import json_text
from polewright.core.drift.plan import best_positions
from polewright.core.errors import UsageError
from polewright.core.model import Site
from polewright.core.sky.places import standard_atmosphere
from polewright.services.frame_reader.families import is_frame_name
from polewright.simulate.night import scenario_named
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from polewright.simulate.sequence import TRUTH_NAME, SequencePlan, write_sequence
from polewright.simulate.tracking import WatchPlan, write_watch


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """FOLDER, and what kind of night it is."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="where the frames go; made if missing")
    parser.add_argument("--scenario", default="calm", metavar="NAME", help=f"one of: {', '.join(SCENARIOS)}")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another number, another mount and error")
    parser.add_argument("--frames", type=int, default=3, metavar="N", help="how many frames while the RA axis turns")
    parser.add_argument("--span", type=float, default=90.0, metavar="DEG", help="how far the RA axis turns in all")
    parser.add_argument("--adjust", type=int, default=0, metavar="N", help="further frames while the screws turn")
    parser.add_argument("--exposure", type=float, default=2.0, metavar="S", help="exposure in seconds")
    parser.add_argument("--lat", type=float, metavar="DEG", help="another latitude, north positive")
    parser.add_argument("--lon", type=float, metavar="DEG", help="another longitude, EAST positive")
    parser.add_argument("--elev", type=float, metavar="M", help="another height above sea level")
    parser.add_argument("--no-tracking", action="store_true", help="with the clock drive off")
    parser.add_argument(
        "--drift", type=float, metavar="S", help="instead: track the two drift fields, S seconds each"
    )
    parser.add_argument(
        "--every", type=float, default=10.0, metavar="S", help="with --drift: a frame every S seconds"
    )
    parser.add_argument("--json", action="store_true", help="print the truth as JSON instead of sentences")


def run(args: argparse.Namespace) -> int:
    """Write the sequence and say what was written."""
    plan = SequencePlan(
        frames=args.frames,
        span_deg=args.span,
        exposure_s=args.exposure,
        adjust_frames=args.adjust,
        tracking=not args.no_tracking,
    )
    scenario = scenario_named(args.scenario)
    site = Site(
        scenario.site.lat_deg if args.lat is None else args.lat,
        scenario.site.lon_deg if args.lon is None else args.lon,
        scenario.site.elev_m if args.elev is None else args.elev,
    )
    _fresh(args.folder)
    rig = SimulatedRig(replace(scenario, site=checked_site(site)), args.seed)
    try:
        truth = _drift(rig, args) if args.drift is not None else write_sequence(rig, args.folder, plan)
    except OSError as exc:
        raise UsageError(f"The folder {args.folder} cannot be written ({exc.strerror}): choose another one.") from exc
    if args.json:
        print(json_text(truth))
        return EXIT_OK
    offset = truth["axis_after_capture"]["from_refracted_pole"]
    east, up = offset["east_arcmin"], offset["up_arcmin"]
    when = "at the end" if args.drift is not None else "after the capture"
    print(f"{scenario.place}: {scenario.story}")
    print(f"{len(truth['frames'])} frames and {TRUTH_NAME} written to {args.folder}")
    print(
        f"True axis {when}: {abs(east):.2f}' too far {'east' if east >= 0.0 else 'west'},"
        f" {abs(up):.2f}' too {'high' if up >= 0.0 else 'low'}, against the refracted pole"
        f" ({offset['total_arcmin']:.2f}' in all)"
    )
    return EXIT_OK


def _fresh(folder: Path) -> None:
    """Frames of two mounts in one folder would be measured as one: UsageError where some lie there."""
    try:
        used = folder.is_dir() and any(p.name == TRUTH_NAME or is_frame_name(p.name) for p in folder.iterdir())
    except OSError as exc:
        raise UsageError(f"The folder {folder} cannot be read ({exc.strerror}): choose another one.") from exc
    if used:
        raise UsageError(
            f"{folder} already contains frames: choose a new or an empty folder; nothing is overwritten."
        )


def _drift(rig: SimulatedRig, args: argparse.Namespace) -> dict[str, Any]:
    """A mount that tracks where `polewright drift --where` would point it."""
    site = rig.night.scenario.site
    places = best_positions(site, standard_atmosphere(site))
    fields = [(p.hour_angle_h, p.declination_deg) for p in places]
    return write_watch(rig, args.folder, WatchPlan(fields, args.drift, args.every, args.exposure))
