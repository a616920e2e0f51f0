"""How well screws are learned from so many turns by such a hand: python tests/bench/screw_rates.py --runs 200"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from paper_night import PaperScrew
from polewright.core.screws.learning import learn
from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewRate

SIGMA_ARCMIN = 0.05


def one_run(seed: int, moves: int, hand: float, pattern: str) -> tuple[ScrewRate, PaperScrew]:
    """A screw of its own, turned so many times: always the same way, to and fro, or at random."""
    rng = np.random.default_rng(seed)
    screw = PaperScrew(rng.uniform(20, 110) * rng.choice([-1, 1]), rng.uniform(0.05, 0.3), 0.0, rng.uniform())
    here, memory = 200.0, ScrewMemory()
    for index in range(moves):
        said = rng.choice([0.25, 0.5, 1.0, 1.5, 2.0])
        said *= {"same": 1.0, "fro": 1.0 if index % 2 else -1.0, "mixed": rng.choice([-1.0, 1.0])}[pattern]
        there = here + screw.turn(said * (1.0 + rng.normal(0.0, hand)), here)
        noise = rng.normal(0.0, SIGMA_ARCMIN / np.sqrt(2.0), 2)
        memory = memory.with_move(ScrewMove(float(said), here + noise[0], there + noise[1], SIGMA_ARCMIN))
        here = there
    rate = learn(memory)
    assert rate is not None
    return rate, screw


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    args = parser.parse_args()
    print("pattern moves  hand | rate off 50% 95% | within 5 % | pull rms | backlash off 50% 95% | within 20 %")
    for pattern in ("same", "mixed", "fro"):
        for moves, hand in ((4, 0.2), (8, 0.2), (16, 0.2), (8, 0.1), (16, 0.1), (30, 0.1), (8, 0.03), (16, 0.03)):
            found = [one_run(seed, moves, hand, pattern) for seed in range(args.runs)]
            off = np.array([abs(r.arcmin_per_turn / s.rate - 1.0) for r, s in found])
            pull = np.array([(r.arcmin_per_turn - s.rate) / r.sigma_arcmin for r, s in found])
            back = np.array([abs(r.backlash_turns / s.backlash - 1.0) for r, s in found])
            print(
                f"{pattern:7} {moves:5} {hand:5.2f} | {np.median(off):.3f} {np.percentile(off, 95):.3f} | "
                f"{np.mean(off <= 0.05):.3f} | {np.sqrt(np.mean(pull**2)):.2f} | "
                f"{np.median(back):.3f} {np.percentile(back, 95):.3f} | {np.mean(back <= 0.2):.3f}"
            )


if __name__ == "__main__":
    main()
