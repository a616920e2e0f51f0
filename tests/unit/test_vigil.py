"""The vigil: kicks and sinking feet found in time, quiet nights left in peace, and honesty about what cannot be seen.

The full figures (100 nights, hundreds of events) come from tests/bench/vigil_nights_bench.py; here a few of each.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import FloatArray
from polewright.core.sky.places import east_and_up, true_pole_enu
from polewright.core.vigil.change_search import Quiet, find_change, scatter
from polewright.core.vigil.holding import runs_free
from polewright.core.vigil.watch import SETTLED_RAD_H, Look, Part, Shift, Vigil, watch
from polewright.words.vigil import shift_words
from vigil_nights import SITE, Run, across_the_axis, declination_axis, frames, setup_of, slow, still, sudden

FIELD = ((-2.0, 35.0, 1.1),)
RUN = Run(fields=FIELD, clouds_per_night=0)
ONSET_S = 2000.0


def kept(run: Run, seed: int, base_of=lambda axis, rng: still) -> tuple[Vigil, FloatArray]:  # type: ignore[no-untyped-def]
    """The watch at its first shift after the onset, or at the end of the run; and the true axis."""
    rng = np.random.default_rng([2026, seed])
    setup, axis = setup_of(run, rng)
    vigil = Vigil(setup)
    for frame, at_s in frames(run, axis, rng, base_of(axis, rng)):
        vigil = watch(vigil, frame, at_s)
        if vigil.new is not None:
            break
    return vigil, axis


@pytest.mark.parametrize(
    "seed", [1, pytest.param(2, marks=pytest.mark.slow), pytest.param(3, marks=pytest.mark.slow)]
)
@pytest.mark.parametrize("way", [-5.0, 5.0])
def test_a_kick_of_five_arcseconds_is_found_within_five_minutes(seed: int, way: float) -> None:
    def kick(axis, rng):  # type: ignore[no-untyped-def]
        return sudden(ONSET_S, way * declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0))

    vigil, axis = kept(RUN, seed, kick)
    shift = vigil.new
    assert shift is not None and shift.sudden and shift.part is Part.DECLINATION
    assert ONSET_S <= shift.found_s <= ONSET_S + 300.0
    assert shift.onset_s == pytest.approx(ONSET_S, abs=16.0)
    assert shift.size_rad * ARCSEC_PER_RAD == pytest.approx(5.0, abs=0.8)
    k = way * declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0)
    truth = east_and_up(true_pole_enu(SITE), SITE) @ np.cross(k, axis)
    assert np.array([shift.east_rad, shift.up_rad]) * ARCSEC_PER_RAD == pytest.approx(truth, abs=0.9)


@pytest.mark.parametrize("seed", [4, 5, pytest.param(6, marks=pytest.mark.slow)])
def test_a_foot_that_sinks_by_ten_arcseconds_an_hour_is_found_within_five_minutes(seed: int) -> None:
    def sink(axis, rng):  # type: ignore[no-untyped-def]
        return slow(ONSET_S, 10.0 * declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0))

    shift = kept(RUN, seed, sink)[0].new
    assert shift is not None and not shift.sudden
    assert ONSET_S <= shift.found_s <= ONSET_S + 300.0
    assert shift.rate_rad_h * ARCSEC_PER_RAD == pytest.approx(10.0, abs=6.0)


@pytest.mark.parametrize(
    "seed", [0, pytest.param(1, marks=pytest.mark.slow), pytest.param(2, marks=pytest.mark.slow)]
)
def test_a_quiet_night_stays_quiet(seed: int) -> None:
    """Worm, flexure, gusts in one frame of a hundred, clouds, a flip and a slew."""
    run = Run(fields=((-1.2, 35.0, 1.2), (0.1, 35.0, 0.8)), clouds_per_night=2, gusts=0.02)
    vigil = kept(run, 50 + seed)[0]
    assert vigil.new is None and vigil.shifts == ()
    assert vigil.watches == 2


@pytest.mark.parametrize("run", [Run(guided=True, dithers_every=4), Run(dithers_every=6)])
def test_dithering_and_guiding_raise_no_alarm(run: Run) -> None:
    vigil = kept(replace(run, fields=FIELD), 7)[0]
    assert vigil.shifts == ()


def test_behind_a_guider_a_large_shift_of_the_base_is_still_seen() -> None:
    run = replace(RUN, guided=True, dithers_every=4)

    def kick(axis, rng):  # type: ignore[no-untyped-def]
        d = declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0)
        return sudden(ONSET_S, 60.0 * np.cross(d, axis))

    shift = kept(run, 8, kick)[0].new
    assert shift is not None and shift.part is Part.BASE
    assert ONSET_S <= shift.found_s <= ONSET_S + 300.0
    assert shift.size_rad * ARCSEC_PER_RAD == pytest.approx(60.0, abs=4.0 * shift.sigma_rad * ARCSEC_PER_RAD)


@pytest.mark.parametrize(
    ("sudden", "rate_arcsec_h", "said"),
    [
        (True, 0.0, "moved by"),
        (False, 0.5 * SETTLED_RAD_H * ARCSEC_PER_RAD, "stopped sinking"),
        (False, 2.0 * SETTLED_RAD_H * ARCSEC_PER_RAD, "has been sinking by"),
    ],
)
def test_whatever_moved_the_mount_the_axis_is_to_be_measured_again(
    sudden: bool, rate_arcsec_h: float, said: str
) -> None:
    size, rate = 6.0 / ARCSEC_PER_RAD, rate_arcsec_h / ARCSEC_PER_RAD
    words = shift_words(Shift(sudden, Part.DECLINATION, 60.0, 180.0, size, rate, 0.1 * size, 0.0, size))
    assert said in words and words.lower().endswith("measure the axis again.")
    assert ("feet" in words) is (said == "has been sinking by")


def test_what_a_guider_hides_is_not_claimed() -> None:
    """The same size along the declination axis is taken out by the guider: nothing is seen, and nothing is said."""
    run = replace(RUN, guided=True)

    def kick(axis, rng):  # type: ignore[no-untyped-def]
        return sudden(ONSET_S, 20.0 * declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0))

    assert kept(run, 9, kick)[0].shifts == ()


def test_a_turn_in_right_ascension_harms_nobody() -> None:
    vigil = kept(RUN, 10, lambda axis, rng: sudden(ONSET_S, 60.0 * axis))[0]
    assert vigil.shifts == ()


def test_a_settled_kick_is_reported_once() -> None:
    rng = np.random.default_rng(11)
    setup, axis = setup_of(RUN, rng)
    vigil = Vigil(setup)
    base = sudden(ONSET_S, 12.0 * declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0))
    for frame, at_s in frames(RUN, axis, rng, base):
        vigil = watch(vigil, frame, at_s)
    assert len(vigil.shifts) == 1 and vigil.new is None


def test_an_old_frame_changes_nothing() -> None:
    rng = np.random.default_rng(12)
    setup, axis = setup_of(RUN, rng)
    vigil, some = Vigil(setup), []
    for frame, at_s in frames(RUN, axis, rng):
        vigil = watch(vigil, frame, at_s)
        some.append((frame, at_s))
        if len(some) == 6:
            break
    again = watch(vigil, *some[2])
    assert again.looks == vigil.looks and again.new is None


def test_any_direction_of_a_large_kick_is_found_unguided() -> None:
    vigil = kept(RUN, 13, lambda axis, rng: sudden(ONSET_S, 120.0 * across_the_axis(axis, rng)))[0]
    assert vigil.new is not None and vigil.new.found_s <= ONSET_S + 300.0


# the search itself


def series(n: int = 100, seed: int = 0) -> tuple[FloatArray, FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    return np.arange(float(n)) * 10.0, rng.normal(0.0, 1.0, n), np.ones(n)


QUIET = Quiet(0.0, 1e-3, 0.05, 500.0)


def test_a_step_and_a_ramp_are_told_apart_and_sized() -> None:
    t, x, sigma = series()
    step = find_change(t, x + 6.0 * (t >= 800.0), sigma, QUIET, 400.0)
    assert step is not None and not step.ramp
    assert step.onset_s == 800.0 and step.size == pytest.approx(6.0, abs=1.0) and step.sigmas > 8.0
    ramp = find_change(t, x + 0.05 * np.maximum(t - 700.0, 0.0), sigma, QUIET, 400.0)
    assert ramp is not None and ramp.ramp
    assert ramp.onset_s == pytest.approx(700.0, abs=60.0) and ramp.size == pytest.approx(0.05, rel=0.25)


def test_nothing_in_pure_noise() -> None:
    worst = [find_change(*series(seed=s), QUIET, 400.0) for s in range(40)]
    assert max(c.sigmas for c in worst if c is not None) < 4.8


def test_lone_outliers_are_left_out() -> None:
    t, x, sigma = series(seed=3)
    plain = find_change(t, x, sigma, QUIET, 400.0)
    x[[-1, -20, -33]] += [25.0, -18.0, 30.0]
    gusty = find_change(t, x, sigma, QUIET, 400.0)
    assert plain is None or plain.sigmas < 4.8
    assert gusty is None or gusty.sigmas < 4.8


def test_scatter_is_robust_and_blind_to_slopes() -> None:
    t, x, _ = series(400, 4)
    x = x + 0.01 * t
    x[::50] += 100.0
    assert scatter(x) == pytest.approx(1.0, rel=0.2)


def test_a_short_series_says_nothing() -> None:
    t, x, sigma = series(6)
    assert find_change(t, x, sigma, QUIET, 400.0) is None


def test_a_mount_runs_free_only_if_it_did_so_twice() -> None:
    """Ten minutes of looks: a worm of 8 arcseconds in four minutes, or the still star of a guided mount."""

    def look(at_s: float, worm_arcsec: float) -> Look:
        along = worm_arcsec / ARCSEC_PER_RAD * math.sin(2.0 * math.pi * at_s / 240.0)
        return Look(at_s, 0.0, 0.0, 1e-7, 1e-7, along)

    times = [15.0 * i for i in range(44)]
    free, held = 8.0, 0.0
    ends = {(free, free): True, (free, held): False, (held, free): False, (held, held): False}
    for (before, latest), expected in ends.items():
        assert runs_free([look(t, before if t < 345.0 else latest) for t in times]) is expected
    assert runs_free([look(t, free) for t in times[:20]]) is None
