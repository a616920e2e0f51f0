"""How well screws are learned from so many turns by such a hand, beside what the turns can teach at best.

    python tests/bench/screw_rates.py [--runs 200]

No frames and no night: one screw, turned by a pattern. Two people: one reports turns as told and errs by a share of
the turn; one is told the same, errs as much, but reads the turn off the head: 3 % of the last turn (whole turns are
counted), and 3 degrees at least. Rate and backlash: error at 50 and 95 %, share within 5 % and 20 %, rms of error /
stated sigma and share beyond two sigmas. `bound`: what no estimator without knowledge of mounts can beat (Cramer-Rao,
linear in rate, backlash and first slack): two sigmas of the rate; the share of backlashes within 20 %.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from paper_night import READING_FLOOR_TURNS, PaperScrew
from polewright.core.screws.learning import learn
from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewRate

SIGMA_ARCMIN = 0.05
BACKLASH = {"azimuth": (0.05, 0.25), "altitude": (0.02, 0.12)}  # turns; as in the simulated mounts
PATTERNS: dict[str, tuple[float, ...]] = {
    "a short night": (0.5, -0.4, -0.1, 0.05),
    "a usual night": (0.5, -2.0, -0.5, -0.2, 0.1, 0.05, -0.05),
    "one way, 8": (0.5, 1.0, 0.5, 0.25, 1.5, 2.0, 0.5, 1.0),
    "to and fro, 8": (0.5, -1.0, 0.5, -0.25, 1.5, -2.0, 0.5, -1.0),
    "to and fro, 16": (0.5, -1.0, 0.5, -0.25, 1.5, -2.0, 0.5, -1.0) * 2,
    "trial, +1 -1 +1": (0.5, 1.0, -1.0, 1.0),
    "trial, +1 -1/2 +1/2": (0.5, 1.0, -0.5, 0.5),
    "trial, +1, 8 halves": (0.5, 1.0, *(-0.5, 0.5) * 4),
    "trial, +1, 32 halves": (0.5, 1.0, *(-0.5, 0.5) * 16),
}


@dataclass(frozen=True)
class Hand:
    """`error`: of the turn made, as a share of it; `reads`: as a share of the last turn, None for "as told"."""

    name: str
    error: float
    reads: float | None


HANDS = (Hand("told, 20 %", 0.2, None), Hand("read, 3 %", 0.2, 0.03), Hand("read, 1.5 %", 0.2, 0.015))


@dataclass(frozen=True)
class Run:
    """What was learned of a screw; the bounds of one sigma (relative rate, backlash in turns)."""

    rate: ScrewRate
    screw: PaperScrew
    bound_rate: float
    bound_backlash: float


def one_run(seed: int, pattern: tuple[float, ...], hand: Hand, which: str) -> Run:
    """A screw of its own, turned as the pattern says."""
    rng = np.random.default_rng(seed)
    backlash = rng.uniform(*BACKLASH[which])
    screw = PaperScrew(rng.uniform(20, 110) * rng.choice([-1, 1]), backlash, 0.0, rng.uniform())
    here, memory, made = 200.0, ScrewMemory(), []
    for told in pattern:
        turns = told * (1.0 + rng.normal(0.0, hand.error))
        there = here + screw.turn(turns, here)
        noise = rng.normal(0.0, SIGMA_ARCMIN / np.sqrt(2.0), 2)
        said, sigma = told, hand.error * abs(told)
        if hand.reads is not None:
            share = hand.reads * min(abs(turns), 1.0)
            said = turns + rng.normal(0.0, share) + rng.normal(0.0, READING_FLOOR_TURNS)
            sigma = float(np.hypot(share, READING_FLOOR_TURNS))
        move = ScrewMove(
            float(said), here + noise[0], there + noise[1], SIGMA_ARCMIN, read_off=hand.reads is not None
        )
        memory = memory.with_move(move)
        made.append((turns, abs(there - here) / abs(screw.rate), sigma))
        here = there
    rate = learn(memory)
    assert rate is not None
    return Run(rate, screw, *bound(made))


def bound(made: list[tuple[float, float, float]]) -> tuple[float, float]:
    """One sigma of the rate (relative) and of the backlash (turns), infinite where the turns do not tell.

    `made`: turns, turns' worth of motion, sigma of the report. The report is (motion / rate) + (backlash after a
    reversal) + (first slack), linear in the three; turns that moved nothing add to the next.
    """
    rows, noise, before = [], 0.0, 0.0
    for turns, motion, sigma in made:
        noise += sigma**2
        if motion <= 0.0:
            continue
        way = float(np.sign(turns))
        row = np.array([motion, float(before * way < 0.0), float(before == 0.0)])
        rows.append(row / np.sqrt(noise))
        noise, before = 0.0, way
    information = np.array(rows).T @ np.array(rows) + np.diag([1e-9, 1e-9, 1e-9])
    covariance = np.linalg.inv(information)
    return float(np.sqrt(covariance[0, 0])), float(np.sqrt(covariance[1, 1]))


def table_line(name: str, hand: Hand, found: list[Run]) -> str:
    """One pattern by one hand."""
    off = np.array([abs(r.rate.arcmin_per_turn / r.screw.rate - 1.0) for r in found])
    pull = np.array([(r.rate.arcmin_per_turn - r.screw.rate) / r.rate.sigma_arcmin for r in found])
    lost = np.array([r.rate.backlash_turns - r.screw.backlash for r in found])
    back = np.abs(lost) / np.array([r.screw.backlash for r in found])
    back_pull = lost / np.array([r.rate.sigma_backlash for r in found])
    bound_rate = 2.0 * np.median([r.bound_rate for r in found])
    luck = np.random.default_rng(1).normal(size=len(found)) * np.array([r.bound_backlash for r in found])
    bound_back = np.mean(np.abs(luck) <= 0.2 * np.array([r.screw.backlash for r in found]))
    return (
        f"{name:21} {hand.name:11} | {np.median(off):.3f} {np.percentile(off, 95):.3f} {np.mean(off <= 0.05):.2f} "
        f"pull {np.sqrt(np.mean(pull**2)):.2f} {np.mean(np.abs(pull) > 2.0):.2f} bound {bound_rate:.3f} | "
        f"{np.median(back):.2f} {np.percentile(back, 95):.2f} {np.mean(back <= 0.2):.2f} "
        f"pull {np.sqrt(np.mean(back_pull**2)):.2f} {np.mean(np.abs(back_pull) > 2.0):.2f} bound {bound_back:.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--runs", type=int, default=200)
    args = parser.parse_args()
    for which in BACKLASH:
        print(f"\n{which}, backlash {BACKLASH[which][0]} to {BACKLASH[which][1]} turns")
        print(f"{'turns':21} {'hand':11} | rate: 50 % 95 % <=5 % | backlash: 50 % 95 % <=20 %")
        for name, pattern in PATTERNS.items():
            for hand in HANDS:
                found = [one_run(seed, pattern, hand, which) for seed in range(args.runs)]
                print(table_line(name, hand, found), flush=True)


if __name__ == "__main__":
    main()
