"""Whole nights on mounts that pull and wobble: what is proved is so, and polishing stops where it cannot help."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from bent_nights import ARCSEC, bent, rehearsed_on
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.night.advice import ElsewhereWanted, ProofLimited, Reason
from polewright.core.night.states import Running, begun
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal, Score
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists


@dataclass
class Told:
    """A night that was rehearsed: how it ended, and what the coach led with on the way."""

    score: Score
    state: Running
    reasons: list[Reason]

    def said(self, kind: type) -> bool:
        return any(isinstance(reason, kind) for reason in self.reasons)


LEARNED = Flexure(0.0, 3.0 * ARCSEC, -15.0 * ARCSEC, 3.0 * ARCSEC, 6)  # away from the axis is positive


def night(
    tmp_path: Path,
    seed: int,
    pull: float | None = None,
    wobble: float | None = None,
    tolerance_arcsec: float = 30.0,
    flexure: Flexure = FLEXURE_PRIOR,
) -> Told:
    """A calm night of this seed, with the mount changed."""
    reasons: list[Reason] = []
    states: list[Running] = []

    def watch(running: Rehearsal, seat: Seat) -> None:
        running.tolerance_rad = tolerance_arcsec * ARCSEC

        def look(engine: object) -> None:
            reasons.append(running.engine.advice.reason)
            states[:] = [begun(running.engine.state)]

        running.engine.listen(look)

    with rehearsed_on(partial(bent, pull=pull, wobble=wobble), lambda site: flexure):
        score = rehearse_with_star_lists("calm", seed, tmp_path / "night", shared_solver(), watch=watch)
    return Told(score, states[0], reasons)


def test_a_mount_that_does_not_pull_is_proved_in_another_sky(tmp_path: Path) -> None:
    told = night(tmp_path, 4, pull=0.0)
    assert told.score.proved and told.score.true_inside
    assert told.said(ElsewhereWanted)
    moved = told.state.capture.frames[0].centre.dec_deg - told.state.proof.frames[0].centre.dec_deg
    assert abs(moved) > 10.0, "the hand has moved the declination axis"


@pytest.mark.parametrize(("seed", "pull_arcsec"), [(4, 60.0), (9, -60.0), (4, 20.0), (9, 20.0)])
def test_nothing_false_is_proved_on_a_mount_that_pulls(tmp_path: Path, seed: int, pull_arcsec: float) -> None:
    told = night(tmp_path, seed, pull=pull_arcsec)
    assert not told.score.false_done
    assert told.state.accepted is not told.state.proved, "it comes to an end, in one of two ways"
    assert told.said(ProofLimited) is told.state.accepted, "what is taken as it is was called limited by the mount"


def test_polishing_stops_where_the_bearing_wobbles(tmp_path: Path) -> None:
    """With 10 arcsec of wobble this night took 28 goes and 43 minutes, and ended in a false proof."""
    told = night(tmp_path, 3, wobble=10.0)
    assert not told.score.false_done
    assert told.said(ProofLimited) and told.state.accepted and not told.state.proved
    assert told.score.goes <= 15 and told.score.minutes < 30.0
    assert math.isfinite(told.score.claimed_sigma_arcmin)


def test_a_small_tolerance_is_proved_on_a_rig_that_was_learned(tmp_path: Path) -> None:
    told = night(tmp_path, 6, pull=15.0, tolerance_arcsec=15.0, flexure=LEARNED)
    assert told.state.proved and told.score.true_inside
