"""Whole nights on mounts that pull and wobble: what is proved is so, and polishing stops where it cannot help."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from bent_nights import ARCSEC, bent, rehearsed_on
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.night.advice import ElsewhereWanted, ProofLimited, Reason
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.states import Running, begun
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal, Score
from polewright.practice.world import TrueOffset
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists


@dataclass
class Told:
    """A night that was rehearsed: how it ended, what the coach led with on the way, and how far off the truth the
    second turns were by themselves and without the bending that both turns have shown, arcsec."""

    score: Score
    state: Running
    reasons: list[Reason]
    allowed_for: list[tuple[float, float]]

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
    alone: dict[tuple[str, ...], float] = {}
    allowed_for: list[tuple[float, float]] = []

    def watch(running: Rehearsal, seat: Seat) -> None:
        running.tolerance_rad = tolerance_arcsec * ARCSEC

        def look(engine: object) -> None:
            reasons.append(running.engine.advice.reason)
            state = begun(running.engine.state)
            states[:] = [state]
            for turn in (state.proof, state.capture):
                if turn.axis is None:
                    continue
                off = off_truth_arcsec(turn.axis, running.world.true_offset(state.plan.target))
                if turn is state.proof and not turn.combined:
                    alone[turn.axis.frames] = off
                elif turn.combined and turn.axis.frames in alone:
                    allowed_for.append((alone.pop(turn.axis.frames), off))

        running.engine.listen(look)

    with rehearsed_on(partial(bent, pull=pull, wobble=wobble), lambda site: flexure):
        score = rehearse_with_star_lists("calm", seed, tmp_path / "night", shared_solver(), watch=watch)
    return Told(score, states[0], reasons, allowed_for)


def off_truth_arcsec(axis: MeasuredAxis, truth: TrueOffset) -> float:
    """Distance of a measured axis from where it truly is."""
    east, up = axis.east_rad * ARCMIN_PER_RAD - truth.east_arcmin, axis.up_rad * ARCMIN_PER_RAD - truth.up_arcmin
    return 60.0 * math.hypot(east, up)


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


def test_what_both_turns_show_of_a_pull_is_taken_off_the_second(tmp_path: Path) -> None:
    ((alone, allowed_for),) = night(tmp_path, 2, pull=60.0).allowed_for
    assert alone > 40.0 and allowed_for < 10.0, "the truth is known to the simulator alone"


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
