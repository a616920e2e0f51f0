"""Nights on mounts that pull, sag and wobble: how many are proved, how many falsely, in what time.

    python tests/bench/bent_tubes.py [--pull 0 20 60] [--wobble 10] [--nights 12] [--first 1] [--tolerance 30]
                                     [--old] [--learned] [--scenario calm]

`--old`: the proof by the stars alone, over the sky of the capture. `--learned`: a rig whose bending six nights have
taught (to 3 arcsec). Simulated hands, star lists in place of pixels; 4 to 6 s a night.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bent_nights import ARCSEC, bent, rehearsed_on
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import Site
from polewright.practice.rehearsal import Rehearsal, Score
from polewright.simulate.night import Night
from polewright.simulate.scenarios import Scenario
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists

LEARNED_SIGMA = 3.0 * ARCSEC


class Bench:
    """One setting of mount and program."""

    def __init__(self, options: argparse.Namespace, pull: float | None) -> None:
        self.options, self.pull = options, pull
        self._sag = self._pull = 0.0

    def drawn(self, scenario: Scenario, seed: int) -> Night:
        night = bent(scenario, seed, self.pull, self.options.wobble)
        self._sag, self._pull = night.mount.sag_arcsec, night.mount.real.pull_arcsec_rad
        return night

    def _flexure(self, site: Site) -> Flexure | None:
        if self.options.old:
            return None
        if not self.options.learned:
            return FLEXURE_PRIOR
        side = 1.0 if site.lat_deg >= 0.0 else -1.0  # the simulator's pull is along its declination circle
        return Flexure(self._sag * ARCSEC, LEARNED_SIGMA, -side * self._pull * ARCSEC, LEARNED_SIGMA, 6)

    def night(self, seed: int) -> tuple[Score, Rehearsal]:
        kept: list[Rehearsal] = []

        def watch(night: Rehearsal, _seat: object) -> None:
            night.tolerance_rad = self.options.tolerance * ARCSEC
            kept.append(night)

        with rehearsed_on(self.drawn, self._flexure), tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "night"
            score = rehearse_with_star_lists(self.options.scenario, seed, path, shared_solver(), watch=watch)
        return score, kept[0]


def main() -> None:
    """A line a night, a line of sums a setting."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pull", type=float, nargs="*", default=[None])
    parser.add_argument("--wobble", type=float)
    parser.add_argument("--nights", type=int, default=12)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--tolerance", type=float, default=30.0)
    parser.add_argument("--scenario", default="calm")
    parser.add_argument("--old", action="store_true")
    parser.add_argument("--learned", action="store_true")
    options = parser.parse_args()
    for pull in options.pull:
        bench, scores = Bench(options, pull), []
        for seed in range(options.first, options.first + options.nights):
            score, night = bench.night(seed)
            scores.append(score)
            state = night.engine.state
            print(
                f"pull {pull} seed {seed} proved {score.proved} accepted {getattr(state, 'accepted', False)}"
                f" true {60.0 * score.truth.total_arcmin:.1f} false {score.false_done} goes {score.goes}"
                f" minutes {score.minutes:.1f} {type(night.engine.advice.reason).__name__}",
                flush=True,
            )
        print(
            f"== pull {pull} wobble {options.wobble} tolerance {options.tolerance} nights {len(scores)}"
            f" proved {sum(s.proved for s in scores)} false {sum(s.false_done for s in scores)}"
            f" median minutes {statistics.median(s.minutes for s in scores):.1f}"
            f" median goes {statistics.median(s.goes for s in scores):.0f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
