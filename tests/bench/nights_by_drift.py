"""Whole nights proved by drift: how many end inside, are proved truly or falsely, or are turned away though good.

    python tests/bench/nights_by_drift.py [--nights 20] [--hand told] [--scenario first-night] [--way proof]

Star lists; guiding is never on. `away`: the drift was told as putting the axis elsewhere while the truth was inside
the tolerance; `guided`: it was said that something guides; `bumped`: it was said that something jumped; `unsure`: the
drift left it open.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.advice import DriftDisturbed, DriftGuided, DriftTold, DriftUnsure
from polewright.core.night.states import Stage
from polewright.practice.by_drift import ByDrift, Way
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import HANDS, Rehearsal, Score
from polewright.runtime.engine import NightEngine
from polewright.services.catalogue import load_catalogue
from polewright.services.paths import cache_folder
from polewright.services.solver import Solver
from star_list_nights import rehearse_with_star_lists

NAMES = {DriftDisturbed: "bumped", DriftGuided: "guided", DriftUnsure: "unsure"}


class Ear:
    """Counts what is said about the drift, once each time it begins to be said."""

    def __init__(self, night: Rehearsal) -> None:
        self._night = night
        self._last: type | None = None
        self.heard: Counter[str] = Counter()
        night.engine.listen(self._hear)

    def _hear(self, engine: NightEngine) -> None:
        why = engine.advice.reason
        if type(why) is not self._last:
            self._last = type(why)
            self._count(why)

    def _count(self, why: object) -> None:
        if isinstance(why, DriftTold):
            inside = self._night.true_offset().total_arcmin <= self._night.tolerance_rad * ARCMIN_PER_RAD
            proof = self._night.engine.state.stage is Stage.PROOF
            self.heard["away" if inside and proof else "told"] += 1
        elif type(why) in NAMES:
            self.heard[NAMES[type(why)]] += 1


def one_night(scenario: str, seed: int, hand: str, way: Way, solver: Solver) -> tuple[Score, Ear, Rehearsal]:
    kept: list[tuple[Ear, Rehearsal]] = []

    def watch(night: Rehearsal, seat: Seat) -> None:
        kept.append((Ear(night), night))
        ByDrift(seat, way)

    with tempfile.TemporaryDirectory(prefix="polewright-drifts-") as place:
        score = rehearse_with_star_lists(scenario, seed, Path(place) / "night", solver, HANDS[hand], watch)
    return score, *kept[0]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=20)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--hand", choices=tuple(HANDS), default="told")
    parser.add_argument("--scenario", default="first-night")
    parser.add_argument("--way", choices=("proof", "all"), default="proof")
    args = parser.parse_args()
    solver = Solver(load_catalogue(), cache_folder())
    ends: Counter[str] = Counter()
    for seed in range(args.first_seed, args.first_seed + args.nights):
        score, ear, night = one_night(args.scenario, seed, args.hand, args.way, solver)
        state = night.engine.state
        end = "proved" if score.proved else "accepted" if getattr(state, "accepted", False) else "open"
        side = "inside" if score.true_inside else "OUTSIDE"
        ends.update([side, f"{end} {side}", *(f"nights with {word}" for word in ear.heard)])
        real = night.world.rig.night.mount.real
        print(
            f'{seed:4} {end:9}{side:8} {60.0 * score.truth.total_arcmin:6.1f}"  {score.minutes:5.1f} min'
            f'  creep {real.creep_arcsec_min:4.2f}"/min  {dict(ear.heard)}',
            flush=True,
        )
    print(f"{args.hand}, {args.scenario}, {args.nights} nights: {dict(sorted(ends.items()))}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
