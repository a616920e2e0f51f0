"""Many rehearsals by a simulated hand, over all scenarios: their ends, in how many moves, how honest the claims are.

    python tests/bench/hand_nights.py [--nights 200] [--full] [--first-seed 1] [--scenario NAME] [--lines FILE]
                                           [--lessons] [--as-told] [--hand NAME]

Without --full the star lists come straight from the simulated sky; with it every frame is a FITS file that the
watcher reports. Prints one line a night and the distribution at the end.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from polewright.bootstrap import build_measurer
from polewright.commands.rehearse import score_facts
from polewright.practice.fingers import Habits
from polewright.practice.hand import MakeHand
from polewright.practice.rehearsal import HANDS, Score, rehearse_with_files
from polewright.practice.told_hand import ToldHand
from polewright.services.catalogue import load_catalogue
from polewright.services.paths import cache_folder
from polewright.services.solver import Solver
from polewright.simulate.scenarios import SCENARIOS
from star_list_nights import rehearse_with_star_lists


def nights(
    count: int, first_seed: int, scenario: str | None, full: bool, make_hand: MakeHand = ToldHand
) -> Iterator[Score]:
    """The scores of `count` nights, scenarios in turn."""
    names = [scenario] if scenario else list(SCENARIOS)
    solver = Solver(load_catalogue(), cache_folder())
    for number in range(count):
        name, seed = names[number % len(names)], first_seed + number // len(names)
        with tempfile.TemporaryDirectory(prefix="polewright-nights-") as place:
            folder = Path(place)
            if full:
                measure = build_measurer(quiet=True).measure
                yield rehearse_with_files(name, seed, folder / "frames", folder / "night", measure, make_hand)
            else:
                yield rehearse_with_star_lists(name, seed, folder / "night", solver, make_hand)


def night_line(score: Score) -> str:
    """One night."""
    end = "proved" if score.proved else "NOT PROVED"
    verdict = "inside" if score.true_inside else "OUTSIDE"
    return (
        f"{score.scenario:16}{score.seed:4}  {end:11}{verdict:8}"
        f"start {score.start.total_arcmin:6.1f}'  end {60.0 * score.truth.total_arcmin:6.1f}\""
        f"  goes {score.goes:3}  turns {score.turns:3}  {score.minutes:5.1f} min  {score.frames:4} frames"
        f"  at the screws {score.screw_minutes:4.1f} min  contrary {score.contrary_orders}"
    )


def distribution(scores: list[Score]) -> list[str]:
    """What the issue asks: honest ends, false claims, moves, rates, backlash."""
    done = [s for s in scores if s.proved]
    lines = [
        f"nights {len(scores)}, proved {len(done)}, truly inside the tolerance {sum(s.true_inside for s in scores)},"
        f" false claims {sum(s.false_done for s in scores)}",
        _row("goes at the screws", [s.goes for s in done]),
        _row("single turns", [s.turns for s in done]),
        _row("minutes of the night", [s.minutes for s in done]),
        _row("minutes at the screws", [s.screw_minutes for s in done]),
        _row('overshoot, "', [o for s in done for o in s.overshoot_arcsec]),
        f"contrary orders {sum(s.contrary_orders for s in scores)} in"
        f" {sum(s.contrary_orders > 0 for s in scores)} nights",
        _row('true error at the end, "', [60.0 * s.truth.total_arcmin for s in done]),
        _row("claim minus truth, sigmas", [_surprise(s) for s in done]),
    ]
    for name in ("azimuth", "altitude"):
        screws = [getattr(s, name) for s in done]
        known = [s for s in screws if s.learned is not None]
        rate = [100.0 * abs(s.learned.arcmin_per_turn / s.true_arcmin_per_turn - 1.0) for s in known]
        backlash = [100.0 * abs(s.learned.backlash_turns / s.true_backlash_turns - 1.0) for s in known]
        pulls = [
            (s.learned.arcmin_per_turn - s.true_arcmin_per_turn) / s.learned.sigma_arcmin for s in known if s.learned
        ]
        lines += [_row(f"{name} rate off, %", rate), _row(f"{name} backlash off, %", backlash)]
        lines.append(
            f"{'':28} {np.mean(np.array(rate) <= 5.0):.3f} of the rates within 5 %,"
            f" {np.mean(np.array(backlash) <= 20.0):.3f} of the backlashes within 20 %;"
            f" rate: rms {np.sqrt(np.mean(np.square(pulls))):.2f} of its sigma,"
            f" {np.mean(np.abs(pulls) > 2.0):.3f} beyond two"
        )
    return lines


def _surprise(score: Score) -> float:
    east = score.claimed_east_arcmin - score.truth.east_arcmin
    up = score.claimed_up_arcmin - score.truth.up_arcmin
    return float(np.hypot(east, up)) / score.claimed_sigma_arcmin


def _row(name: str, values: list[float]) -> str:
    if not values:
        return f"{name:28} none"
    q = np.percentile(values, [5, 50, 90, 95, 100])
    return (
        f"{name:28} 5 %: {q[0]:7.2f}   median {q[1]:7.2f}   90 %: {q[2]:7.2f}   95 %: {q[3]:7.2f}   most {q[4]:7.2f}"
    )


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--nights", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--scenario")
    parser.add_argument("--hand", choices=tuple(HANDS), default="told")
    parser.add_argument("--full", action="store_true")
    parser.add_argument("--lines", type=Path, help="append the scores as JSON lines to this file")
    parser.add_argument("--lessons", action="store_true", help="the person asks for a lesson on each screw")
    parser.add_argument(
        "--as-told", action="store_true", help="turns are reported as told, not read off the screw head"
    )
    args = parser.parse_args()
    habits = Habits(lessons=args.lessons, reading_error=None if args.as_told else Habits().reading_error)
    make_hand = partial(ToldHand, habits=habits) if args.hand == "told" else HANDS[args.hand]
    scores = []
    for score in nights(args.nights, args.first_seed, args.scenario, args.full, make_hand):
        scores.append(score)
        print(night_line(score), flush=True)
        if args.lines is not None:
            with args.lines.open("a", encoding="utf-8") as out:
                out.write(json.dumps(score_facts(score)) + "\n")
    print("\n".join(distribution(scores)))
    return 0 if not any(s.false_done for s in scores) else 1


if __name__ == "__main__":
    sys.exit(main())
