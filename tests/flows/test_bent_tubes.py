"""Whole nights on mounts that pull and wobble: what is proved is so, and polishing stops where it cannot help."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path

import pytest

from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import Site, TargetPole
from polewright.core.night.advice import ElsewhereWanted, FloorReached, ProofContradicts, ProofLimited, Reason
from polewright.core.night.events import NightStarted
from polewright.core.night.states import Running, begun
from polewright.practice import rehearsal
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal, Score, rehearse_with_star_lists
from polewright.runtime.starting import night_started
from polewright.services.catalogue import load_catalogue
from polewright.services.paths import cache_folder
from polewright.services.solver import Solver
from polewright.simulate import rig
from polewright.simulate.night import Night, draw_night
from polewright.simulate.scenarios import Scenario

ARCSEC = math.pi / 648000.0


@dataclass
class Told:
    """A night that was rehearsed: how it ended, and what the coach led with on the way."""

    score: Score
    state: Running
    reasons: list[Reason]

    def said(self, kind: type) -> bool:
        return any(isinstance(reason, kind) for reason in self.reasons)


@lru_cache(maxsize=1)
def solver() -> Solver:
    return Solver(load_catalogue(), cache_folder())


def bent(scenario: Scenario, seed: int, pull: float | None, wobble: float | None) -> Night:
    night = draw_night(scenario, seed)
    real = night.mount.real
    real = real if pull is None else replace(real, pull_arcsec_rad=pull)
    real = real if wobble is None else replace(real, wobble_arcsec=wobble)
    return replace(night, mount=replace(night.mount, real=real))


def started(
    site: Site, target: TargetPole, tolerance_rad: float, walking: bool = False, *, flexure: Flexure
) -> NightStarted:
    return night_started(site, target, tolerance_rad, walking=walking, flexure=flexure)


LEARNED = Flexure(0.0, 3.0 * ARCSEC, -15.0 * ARCSEC, 3.0 * ARCSEC, 6)  # away from the axis is positive


def night(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    seed: int,
    pull: float | None = None,
    wobble: float | None = None,
    tolerance_arcsec: float = 30.0,
    flexure: Flexure = FLEXURE_PRIOR,
) -> Told:
    """A calm night of this seed, with the mount changed."""
    monkeypatch.setattr(rig, "draw_night", partial(bent, pull=pull, wobble=wobble))
    monkeypatch.setattr(rehearsal, "night_started", partial(started, flexure=flexure))
    reasons: list[Reason] = []
    states: list[Running] = []

    def watch(running: Rehearsal, seat: Seat) -> None:
        running.tolerance_rad = tolerance_arcsec * ARCSEC

        def look(engine: object) -> None:
            reasons.append(running.engine.advice.reason)
            states[:] = [begun(running.engine.state)]

        running.engine.listen(look)

    score = rehearse_with_star_lists("calm", seed, tmp_path / "night", solver(), watch=watch)
    return Told(score, states[0], reasons)


def test_a_mount_that_does_not_pull_is_proved_in_another_sky(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = night(tmp_path, monkeypatch, 4, pull=0.0)
    assert told.score.proved and told.score.true_inside
    assert told.said(ElsewhereWanted)
    moved = told.state.capture.frames[0].centre.dec_deg - told.state.proof.frames[0].centre.dec_deg
    assert abs(moved) > 10.0, "the hand has moved the declination axis"


@pytest.mark.parametrize(("seed", "pull_arcsec"), [(4, 60.0), (9, -60.0), (4, 20.0), (9, 20.0)])
def test_nothing_false_is_proved_on_a_mount_that_pulls(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int, pull_arcsec: float
) -> None:
    told = night(tmp_path, monkeypatch, seed, pull=pull_arcsec)
    assert not told.score.false_done
    assert told.state.proved or told.state.accepted, "and it comes to an end"


def test_polishing_stops_where_the_bearing_wobbles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With 10 arcsec of wobble this night took 28 goes and 43 minutes, and ended in a false proof."""
    told = night(tmp_path, monkeypatch, 3, wobble=10.0)
    assert not told.score.false_done
    assert told.said(FloorReached) or told.said(ProofLimited) or told.said(ProofContradicts)
    assert told.score.goes <= 15 and told.score.minutes < 30.0
    assert math.isfinite(told.score.claimed_sigma_arcmin)


def test_a_small_tolerance_is_proved_on_a_rig_that_was_learned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = night(tmp_path, monkeypatch, 6, pull=15.0, tolerance_arcsec=15.0, flexure=LEARNED)
    assert told.state.proved and told.score.true_inside
