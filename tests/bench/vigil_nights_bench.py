"""How watchful the vigil is: `python tests/bench/vigil_nights_bench.py [NIGHTS] [EVENTS]` prints the figures.

Quiet nights of eight hours (worm, flexure, wandering, gusts, clouds, meridian flip, slews): false alarms. Then nights
with one event: how many are found within five minutes. Events come in the declination part of the motion, which an
unguided camera sees, and in any direction, of which it sees a part.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from polewright.core.model import FloatArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.vigil.watch import Vigil, watch
from vigil_nights import Run, across_the_axis, declination_axis, frames, setup_of, slow, sudden

ONE_FIELD = ((-2.0, 35.0, 1.5),)


def false_alarms(run: Run, nights: int, seed: int) -> int:
    total = 0
    for night in range(nights):
        rng = np.random.default_rng([seed, night])
        setup, axis = setup_of(run, rng)
        vigil = Vigil(setup)
        for frame, at_s in frames(run, axis, rng):
            vigil = watch(vigil, frame, at_s)
        total += len(vigil.shifts)
        if night % 10 == 9:
            print(f"  {night + 1} nights: {total} false alarms so far", flush=True)
    return total


def found_in_time(
    run: Run, events: int, seed: int, size: float, is_slow: bool, any_direction: bool
) -> tuple[float, float, FloatArray]:
    """Shares found within 5, 15 minutes; the errors in size of those found, arcsec."""
    early, late, errors = 0, 0, []
    for event in range(events):
        rng = np.random.default_rng([seed, event])
        setup, axis = setup_of(run, rng)
        at_s = rng.uniform(1200.0, 3600.0)
        hour = ONE_FIELD[0][0] + at_s / 3600.0
        k = across_the_axis(axis, rng) if any_direction else declination_axis(axis, hour, 35.0) * rng.choice([-1, 1])
        base = (slow if is_slow else sudden)(at_s, k * size)
        vigil = Vigil(setup)
        for frame, t in frames(replace(run, fields=ONE_FIELD, clouds_per_night=0), axis, rng, base):
            vigil = watch(vigil, frame, t)
            if vigil.new is not None and t >= at_s:
                early += t <= at_s + 300.0
                late += t <= at_s + 900.0
                shown = vigil.new.rate_rad_h if is_slow else vigil.new.size_rad
                errors.append(shown * ARCSEC_PER_RAD - size)
                break
    return early / events, late / events, np.array(errors)


def main(nights: int, events: int) -> None:
    for is_slow, size, unit in ((False, 5.0, '"'), (True, 10.0, '"/h')):
        for any_direction in (False, True):
            early, late, errors = found_in_time(Run(), events, 6, size, is_slow, any_direction)
            where = "any direction" if any_direction else "in declination"
            print(
                f"{'slow' if is_slow else 'sudden'} {size:g}{unit} {where}: {100 * early:.1f} % within 5 min,"
                f" {100 * late:.1f} % within 15; size off by {np.median(np.abs(errors)):.1f}{unit} (median)",
                flush=True,
            )
    for size in (10.0, 20.0, 40.0):
        run = Run(guided=True, dithers_every=4, noise=0.1)
        early, late, _ = found_in_time(run, events, 7, size, False, True)
        print(
            f'guided, sudden {size:g}" any direction: {100 * early:.1f} % within 5 min, {100 * late:.1f} % within 15'
        )
    for name, run in (
        ("unguided", Run()),
        ("guided, dithered", Run(guided=True, dithers_every=4)),
    ):
        print(f"{name}: {false_alarms(run, nights, 5)} false alarms in {nights} nights", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, int(sys.argv[2]) if len(sys.argv) > 2 else 200)
