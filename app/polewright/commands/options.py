"""Options that several commands share, and what they mean together with a frame's header."""

from __future__ import annotations

import argparse
import math

from polewright.core.errors import UsageError
from polewright.core.model import Atmosphere, Frame, Site, Sourced, TargetPole
from polewright.core.sky.weather import SUMMITS_PRESSURE_HPA, TEMPERATURE_C, Weather, air_at
from polewright.runtime.retrace import FASTEST, SLOWEST

TARGETS = {"true": TargetPole.TRUE, "between": TargetPole.BETWEEN, "refracted": TargetPole.REFRACTED}

SAME_PLACE_DEG = 0.5  # a header typed in for the next town


def add_camera_options(parser: argparse.ArgumentParser) -> None:
    """Focal length and pixel size, for frames whose header does not say."""
    parser.add_argument("--focal-length", type=float, metavar="MM", help="focal length in mm (overrides the header)")
    parser.add_argument("--pixel-size", type=float, metavar="UM", help="pixel size in micrometres, after binning")
    parser.add_argument(
        "--utc-offset",
        type=float,
        metavar="HOURS",
        help="by how much the camera's local time is ahead of UTC (where the files do not say)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of sentences")


def add_site_options(parser: argparse.ArgumentParser) -> None:
    """Where the mount stands, and which pole it is driven to."""
    parser.add_argument("--lat", type=float, metavar="DEG", help="latitude in degrees, north positive")
    parser.add_argument("--lon", type=float, metavar="DEG", help="longitude in degrees, EAST positive")
    parser.add_argument("--elev", type=float, metavar="M", help="height above sea level in metres")
    parser.add_argument("--temperature", type=float, metavar="C", help="of the air, in degrees Celsius")
    parser.add_argument(
        "--pressure", type=float, metavar="HPA", help="of the air at the site, in hPa: not reduced to sea level"
    )
    parser.add_argument(
        "--target", choices=sorted(TARGETS), help="pole to aim at (default: refracted from 30 degrees of latitude on)"
    )


BOUNDS: dict[str, tuple[float, float, str]] = {
    "focal_length": (1, 50_000, "mm"),  # from a fisheye to the largest telescope of an amateur, and some more
    "pixel_size": (0.3, 200, "micrometres"),
    "utc_offset": (-15, 15, "hours"),
    "certainty": (0.001, 600, "arcminutes"),
    "position_angle": (-360, 720, "degrees"),
    "seed": (0, 999_999_999, ""),
    "frames": (1, 10_000, ""),
    "adjust": (0, 10_000, ""),
    "span": (-160, 160, "degrees"),
    "exposure": (0.001, 600, "s"),
    "drift": (1, 7200, "s"),
    "every": (0.1, 7200, "s"),
    "capture": (2, 10_000, ""),
    "speed": (SLOWEST, FASTEST, ""),
    "binning": (1, 8, ""),
    "temperature": (*TEMPERATURE_C, "degrees Celsius"),
    "pressure": (*SUMMITS_PRESSURE_HPA, "hPa"),
    "hours": (0.001, 36, "hours"),
    "error": (0.001, 10_800, "arcminutes"),
}
"""What every number on the command line must lie between, by the name of its option: limits of physical sense, or of
what can be done in an evening. A place on Earth is judged by `checked_site`, a plan by core/plan/imaging_plan.py."""


def check_numbers(args: argparse.Namespace) -> None:
    """UsageError for a number that makes no sense, whichever command it is for."""
    for name, value in vars(args).items():
        if name in BOUNDS:
            for one in value if isinstance(value, list) else [value]:
                _check_number(name, one)


def _check_number(name: str, value: object) -> None:
    low, high, unit = BOUNDS[name]  # shown as they stand there
    if isinstance(value, int | float) and not low <= value <= high:
        option, shown = name.replace("_", "-"), f"{value:g}" if isinstance(value, float) else str(value)[:40]
        raise UsageError(f"--{option} must be between {low} and {high}{unit and ' ' + unit}, not {shown}.")


def site_from(args: argparse.Namespace, first: Frame | None) -> tuple[Site, str]:
    """The site and where it came from: the options, else the header of the first frame, else UsageError."""
    if (args.lat is None) != (args.lon is None):
        raise UsageError("--lat and --lon go together: give both.")
    if args.lat is not None:
        elev = args.elev
        if elev is None:
            elev = first.site.value.elev_m if first is not None and first.site is not None else 0.0
        return checked_site(Site(args.lat, args.lon, elev)), "command line"
    if first is not None and first.site is not None:
        found = first.site.value
        site = found if args.elev is None else Site(found.lat_deg, found.lon_deg, args.elev)
        return checked_site(site), first.site.source
    raise UsageError("The frames do not say where the mount stands: give --lat and --lon (east positive).")


def air_from(args: argparse.Namespace, site: Site, first: Frame | None) -> Atmosphere:
    """The air by the options, else by the header of the first frame, else the usual air of site and season."""
    found = (None, None) if first is None else (first.temperature_c, first.pressure_hpa)
    utc = None if first is None or first.utc_mid is None else first.utc_mid.value
    return air_at(site, Weather(_stated(args.temperature, found[0]), _stated(args.pressure, found[1])), utc)


def _stated(given: float | None, found: Sourced[float] | None) -> float | None:
    return given if given is not None or found is None else found.value


def other_site(args: argparse.Namespace, first: Frame) -> tuple[str, ...]:
    """A warning when the options and the first frame speak of different places."""
    if args.lat is None or first.site is None:
        return ()
    there = first.site.value
    apart = max(abs(args.lat - there.lat_deg), abs(math.remainder(args.lon - there.lon_deg, 360.0)))
    if apart <= SAME_PLACE_DEG:
        return ()
    return (
        f"You say {args.lat:+.2f}, {args.lon:+.2f} degrees, {first.site.source} {there.lat_deg:+.2f},"
        f" {there.lon_deg:+.2f}: one of them is wrong. A degree of longitude turns the result by a degree about the"
        " pole.",
    )


def checked_site(site: Site) -> Site:
    """`site` if it lies on Earth; UsageError otherwise."""
    if not (math.isfinite(site.lat_deg) and -90.0 <= site.lat_deg <= 90.0):
        raise UsageError(f"The latitude must be between -90 and 90 degrees, not {site.lat_deg:g}.")
    if not (math.isfinite(site.lon_deg) and -360.0 <= site.lon_deg <= 360.0):
        raise UsageError(f"The longitude must be between -360 and 360 degrees (east positive), not {site.lon_deg:g}.")
    if not (math.isfinite(site.elev_m) and -500.0 <= site.elev_m <= 9000.0):
        raise UsageError(f"The height must be between -500 and 9000 metres, not {site.elev_m:g}.")
    return site
