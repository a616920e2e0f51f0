"""Low poles by latitude: `python tests/bench/low_poles.py --cache DIR [--nights 3]`.

First how far the pole is lifted by the program, against rays followed step by step through the standard atmosphere
(tests/rays.py), and how far the program trusts it. Then whole captures on simulated mounts, star lists of three
places, against the true and the refracted pole: error and stated sigma of the stars alone, in arcsec.
"""

from __future__ import annotations

import argparse
import importlib
import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis.estimate import low_pole_doubt_rad
from polewright.core.model import Site, TargetPole
from polewright.core.sky.places import default_target, pole_altitude_rad, standard_atmosphere
from rays import bending_of_true

captures = importlib.import_module("hard_fields").captures
LATITUDES = (0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0)


def lifted(lat: float) -> str:
    """One row: lift of the pole by the program and by rays, and what the first is doubted by."""
    site = Site(lat, 10.0)
    air = standard_atmosphere(site)
    ours = pole_altitude_rad(site, air, TargetPole.REFRACTED) - abs(math.radians(lat))
    rays = bending_of_true(abs(math.radians(lat)), air.pressure_hpa, air.temperature_c)
    doubt = low_pole_doubt_rad(site, TargetPole.REFRACTED, air)
    told = " | ".join(f"{x * ARCSEC_PER_RAD:.1f}" for x in (ours, rays, ours - rays, doubt))
    return f"| {lat:+.0f} | {told} | {default_target(site).name.lower()} |"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--nights", type=int, default=3)
    args = parser.parse_args()
    print("| latitude | lift, arcsec | by rays | difference | stated doubt | default target |")
    for lat in (*LATITUDES, *(-lat for lat in LATITUDES[1:])):
        print(lifted(lat), flush=True)
    print("| latitude | captures | measured | error median / 95 % | sigma median | within five sigma |")
    for target in (TargetPole.TRUE, TargetPole.REFRACTED):
        for lat in (*LATITUDES[1:], *(-lat for lat in LATITUDES[1::2])):
            print(target.name.lower(), captures(lat, args.nights, args.cache, target), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
