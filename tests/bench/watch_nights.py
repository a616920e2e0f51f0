"""The watch as the night keeps it, nothing said of guiding: `python tests/bench/watch_nights.py [NIGHTS] [EVENTS]`.

Quiet nights of eight hours (worm, flexure, wandering, gusts, clouds, flip, slew): false alarms, and how often the
mount was taken for free. Then kicks and sinking feet in declination: how many are found within five minutes.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from polewright.core.night.effects import ShiftFound
from vigil_nights import Run, declination_axis, setup_of, slow, sudden
from watch_night import BEGINS_S, aligned_events, imaging_events, run_through

FIELD = ((-2.0, 35.0, 0.8),)


def false_alarms(run: Run, nights: int) -> tuple[int, float]:
    alarms, free, looks = 0, 0, 0
    for seed in range(nights):
        state, _ = run_through(aligned_events(seed))
        for event in imaging_events(run, seed=seed):
            state, effects = run_through([event], state)
            alarms += sum(isinstance(e, ShiftFound) for e in effects)
            free += bool(state.watching and state.watching.free)
            looks += 1
    return alarms, free / max(looks, 1)


def found_in_time(events: int, size: float, is_slow: bool) -> float:
    found = 0
    for seed in range(events):
        rng = np.random.default_rng([11, seed])
        axis = setup_of(Run(), np.random.default_rng(seed))[1]
        at_s = float(rng.uniform(900.0, 2400.0))
        k = size * rng.choice([-1, 1]) * declination_axis(axis, FIELD[0][0] + at_s / 3600.0, 35.0)
        base = (slow if is_slow else sudden)(at_s, k)
        state, _ = run_through(aligned_events(seed))
        run = replace(Run(), fields=FIELD, clouds_per_night=0)
        shifts = [e.shift for e in run_through(list(imaging_events(run, base, seed)), state)[1]]
        found += any(BEGINS_S + at_s <= s.found_s <= BEGINS_S + at_s + 300.0 for s in shifts)
    return found / events


def main(nights: int, events: int) -> None:
    for what, size, is_slow in (('sudden 5"', 5.0, False), ('slow 10"/h', 10.0, True)):
        share = 100.0 * found_in_time(events, size, is_slow)
        print(f"{what} in declination: {share:.0f} % of {events} within 5 min", flush=True)
    for name, run in (
        ("unguided", Run()),
        ("guided, dithered every 4", Run(guided=True, dithers_every=4)),
        ("guided", Run(guided=True)),
    ):
        alarms, free = false_alarms(run, nights)
        print(f"{name}: {alarms} false alarms in {nights} nights; taken for free {100 * free:.1f} %", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, int(sys.argv[2]) if len(sys.argv) > 2 else 200)
