"""The error budget of a capture against closed forms, against mounts that have just one fault, and against wind.

The mounts are those of tests/axis_sky.py (another road to the sky than the estimator's); every fault is put into
their attitudes by formulas of this file. Closed form of a sagging tube, by hand: f cos(h) downward is the rotation
f (zenith x boresight), linear in the boresight v = cos(rho) p + sin(rho) w. Of the two terms the first turns the axis
p itself, by f cos(rho) cos(latitude) downward; the second turns about p or with the camera, and moves nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from axis_sky import ARCSEC, EARTH_RATE, Rig
from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.nuisances import LATE_S
from polewright.core.budget import Nuisance, Part
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import (
    Attitude,
    AxisEstimate,
    FloatArray,
    Site,
    SkyFrame,
    SkyPosition,
    TargetPole,
    Utc,
)

SITE = Site(47.0, 11.0, 600.0)
RIG = Rig(SITE, east_arcmin=20.0, up_arcmin=-14.0, rho_deg=45.0, hour_deg=-60.0, noise_px=0.01)
TURNS_DEG = (0.0, 45.0, 90.0)
UP = np.array([0.0, 0.0, 1.0])
SPACING_S = 40.0


@dataclass(frozen=True)
class Fault:
    """What is wrong with a mount: a turn (3,) in ENU of each frame (attitude, number), a late stamp, other air."""

    turn: Callable[[FloatArray, int], FloatArray] = lambda attitude, number: np.zeros(3)
    late_s: float = 0.0
    refraction: float = 0.0


def sag(size_rad: float) -> Fault:
    return Fault(lambda attitude, number: size_rad * np.cross(UP, attitude[:, 2]))


def pull(size: float, rig: Rig = RIG) -> Fault:
    def turn(attitude: FloatArray, number: int) -> FloatArray:
        hinge = np.cross(rig.axis, attitude[:, 2])
        return np.asarray(hinge / np.linalg.norm(hinge) * size * np.radians(TURNS_DEG[number]))

    return Fault(turn)


def creep(rate_east: float) -> Fault:
    """Where the mount stands at the last frame counts."""
    last = len(TURNS_DEG) - 1
    return Fault(lambda attitude, number: np.array([0.0, rate_east * (number - last) * SPACING_S, 0.0]))


def wind(sigma_rad: float, rng: np.random.Generator) -> Fault:
    return Fault(lambda attitude, number: rng.normal(0.0, sigma_rad, 3))


def captured(
    rig: Rig, fault: Fault, rng: np.random.Generator, turns_deg: Sequence[float] = TURNS_DEG
) -> list[SkyFrame]:
    """Frames as the program places them, of a mount with this fault, seen through other air than it thinks."""
    real = rig.but(air=replace(rig.air, pressure_hpa=rig.air.pressure_hpa * (1.0 + fault.refraction)))
    frames = []
    for number, turn in enumerate(turns_deg):
        seconds = number * SPACING_S
        utc = rig.start.plus_seconds(seconds)
        attitude = rig.attitude(turn, seconds)
        bent = Rotation.from_rotvec(fault.turn(attitude, number)).as_matrix() @ attitude
        stamp: Utc = utc.plus_seconds(fault.late_s)
        frames.append(sky_frame(f"f{number}", stamp, rig.site, rig.air, real.solution(bent, utc, rng)))
    return frames


def estimated(rig: Rig, frames: Sequence[SkyFrame], flexure: Flexure | None = FLEXURE_PRIOR) -> AxisEstimate:
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.TRUE, flexure)
    assert isinstance(found, AxisEstimate)
    return found


def moved(rig: Rig, fault: Fault) -> tuple[FloatArray, AxisEstimate]:
    """(east, up) by which the fault moves the axis, rad, and the estimate with the fault."""
    sound, faulty = (estimated(rig, captured(rig, f, np.random.default_rng(1))) for f in (Fault(), fault))
    return np.array([faulty.east_rad - sound.east_rad, faulty.up_rad - sound.up_rad]), faulty


@given(
    latitude=st.floats(-70.0, 70.0).filter(lambda lat: abs(lat) > 15.0),
    rho=st.floats(8.0, 80.0),
    hour=st.floats(-100.0, 20.0),
)
def test_sag_moves_the_axis_as_the_closed_form_says(latitude: float, rho: float, hour: float) -> None:
    rig = RIG.but(site=Site(latitude, 11.0), rho_deg=rho, hour_deg=hour, east_arcmin=3.0, up_arcmin=-2.0)
    if min(rig.attitude(turn)[2, 2] for turn in TURNS_DEG) < 0.1:
        return
    column = estimated(rig, captured(rig, Fault(), np.random.default_rng(2))).budget
    assert column is not None
    found = column.column(Nuisance.SAG)
    assert found is not None
    expected = -np.cos(np.radians(rho)) * np.cos(np.radians(latitude))
    assert found.up_rad == pytest.approx(expected, abs=0.004)  # the axis is 3.6' off the pole
    assert found.east_rad == pytest.approx(0.0, abs=0.004)


@pytest.mark.parametrize(
    ("nuisance", "fault", "size"),
    [
        (Nuisance.SAG, sag(30.0 * ARCSEC), 30.0 * ARCSEC),
        (Nuisance.PULL, pull(3.0 * ARCSEC), 3.0 * ARCSEC),
        (Nuisance.CREEP_EAST, creep(0.02 * ARCSEC), 0.02 * ARCSEC),
        (Nuisance.LATE, Fault(late_s=10.0), 10.0),
        (Nuisance.REFRACTION, Fault(refraction=0.03), 0.03),
    ],
)
def test_a_column_is_what_the_fault_does(nuisance: Nuisance, fault: Fault, size: float) -> None:
    shift, estimate = moved(RIG, fault)
    assert estimate.budget is not None
    column = estimate.budget.column(nuisance)
    assert column is not None
    assert column.per_unit * size == pytest.approx(shift, rel=0.02, abs=0.08 * ARCSEC)
    assert np.linalg.norm(shift) > 0.4 * ARCSEC


@pytest.mark.parametrize("part", [Part.AIR, Part.FLEXURE, Part.DRIVE])
def test_a_mount_with_one_kind_of_fault_is_off_by_that_part(part: Part) -> None:
    """Within one sigma of its own part in 68 % of captures, along the wider of the part's own axes.

    The drive's faults are drawn at a tenth of their size: frames that contradict each other by more are weighed anew,
    which takes some of a shake off again, and the part is too wide then, never too narrow.
    """
    assert 0.55 < _inside(part, 0.1 if part is Part.DRIVE else 1.0) < 0.81
    assert _inside(part, 1.0) > 0.55


@cache
def _inside(part: Part, share: float) -> float:
    """In how many captures, with faults drawn at this share of their size: the air's are the cheapest."""
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(360 if part is Part.AIR else 90):
        shift, estimate = moved(RIG, _drawn(part, rng, share))
        assert estimate.budget is not None
        values, vectors = np.linalg.eigh(estimate.budget.part(part))
        inside.append(abs(shift @ vectors[:, 1]) < share * np.sqrt(values[1]))
    return float(np.mean(inside))


def _drawn(part: Part, rng: np.random.Generator, share: float) -> Fault:
    if part is Part.AIR:
        return Fault(
            lambda attitude, number: rng.normal(0.0, 0.5 * ARCSEC, 3), refraction=rng.normal(0.0, RIG.air.scale_sigma)
        )
    if part is Part.DRIVE:
        return Fault(
            lambda attitude, number: (
                share * (rng.uniform(-0.5, 0.5) * EARTH_RATE * -_pole() + rng.normal(0.0, 1.0 * ARCSEC, 3))
            ),
            late_s=share * rng.normal(0.0, LATE_S),
        )
    bend, tug = sag(rng.normal(0.0, 10.0 * ARCSEC)), pull(rng.normal(0.0, 10.0 * ARCSEC))
    return Fault(lambda attitude, number: bend.turn(attitude, number) + tug.turn(attitude, number))


def _pole() -> FloatArray:
    latitude = np.radians(SITE.lat_deg)
    return np.array([0.0, np.cos(latitude), np.sin(latitude)])


def test_what_a_rig_is_known_to_give_is_taken_off() -> None:
    known = Flexure(sag_rad=25.0 * ARCSEC, sag_sigma_rad=2.0 * ARCSEC, pull=-40.0 * ARCSEC, pull_sigma=2.0 * ARCSEC)
    bend, tug = sag(known.sag_rad), pull(known.pull)
    both = Fault(lambda attitude, number: bend.turn(attitude, number) + tug.turn(attitude, number))
    frames = captured(RIG, both, np.random.default_rng(1))
    sound = estimated(RIG, captured(RIG, Fault(), np.random.default_rng(1)), None)
    told, blind = estimated(RIG, frames, known), estimated(RIG, frames, None)
    assert np.hypot(blind.east_rad - sound.east_rad, blind.up_rad - sound.up_rad) > 15.0 * ARCSEC
    assert np.hypot(told.east_rad - sound.east_rad, told.up_rad - sound.up_rad) < 0.5 * ARCSEC


@pytest.mark.parametrize("wind_arcsec", [0.0, 1.0, 6.0, 18.0])
def test_three_frames_in_wind_say_how_unsure_they_are(wind_arcsec: float) -> None:
    """Of what frames show and a mount left alone may do: inside 95 % in nine captures of ten, and by the whole never
    five sigmas off. The stars alone were more than five sigmas off in 4 captures of 16, at 6 arcseconds."""
    rng = np.random.default_rng(11)
    rig = RIG.but(noise_px=0.1)
    distances, by_the_whole = [], []
    for _ in range(60):
        estimate = estimated(rig, captured(rig, wind(wind_arcsec * ARCSEC, rng), rng))
        assert estimate.budget is not None
        shown = estimate.budget.part(Part.STARS) + estimate.budget.part(Part.SETTLING)
        truth = estimated(rig, captured(rig.but(noise_px=0.001), Fault(), rng), None)
        off = np.array([estimate.east_rad - truth.east_rad, estimate.up_rad - truth.up_rad])
        distances.append(float(np.sqrt(off @ np.linalg.solve(shown, off))))
        by_the_whole.append(float(np.sqrt(off @ np.linalg.solve(estimate.covariance_rad2, off))))
    assert max(by_the_whole) < 5.0
    assert np.mean(np.array(distances if wind_arcsec < 6.0 else by_the_whole) < 2.45) > 0.92


def test_without_a_flexure_everything_is_as_in_older_records() -> None:
    frames = captured(RIG, Fault(), np.random.default_rng(1))
    old = estimated(RIG, frames, None)
    assert old.budget is None
    assert np.sqrt(np.trace(old.covariance_rad2)) < 1.0 * ARCSEC


ANCHORED = np.diag([0.3, 0.3, 10.0]) * ARCSEC  # errors of a frame that few catalogue stars placed
TRIPLES_DEG = tuple(np.repeat(TURNS_DEG, 3))


def by_neighbours(frames: Sequence[SkyFrame], rng: np.random.Generator) -> list[SkyFrame]:
    """Three frames a place: an anchor, and two that inherit its error and add a fifth of it of their own."""
    found = []
    for number, frame in enumerate(frames):
        place, own = SkyPosition(float(number // 3), 0.0), ANCHORED / 5.0
        if number % 3 == 0:
            shared, own = ANCHORED @ rng.normal(size=3), 0.0 * own
        off = Rotation.from_rotvec(shared + own @ rng.normal(size=3)).as_matrix()
        attitude = Attitude(frame.attitude_enu.camera_to_sky @ off, ANCHORED**2 + own**2)
        found.append(replace(frame, attitude_enu=attitude, centre=place))
        if number % 3:
            centre = SkyPosition(float(number // 3), 0.1 * number)
            found[-1] = replace(found[-1], centre=centre, inherited_rad2=ANCHORED**2, anchor=place)
    return found


def distances(lonely: bool) -> FloatArray:
    """(400,): squared distance of the axis from the truth in sigmas of the part of the stars."""
    rng = np.random.default_rng(12)
    sound = captured(RIG.but(noise_px=1e-4), Fault(), rng, TRIPLES_DEG)
    truth = estimated(RIG, sound)
    found = []
    for _ in range(400):
        frames = by_neighbours(sound, rng)
        axis = estimated(RIG, [replace(f, anchor=None, inherited_rad2=None) for f in frames] if lonely else frames)
        off = np.array([axis.east_rad - truth.east_rad, axis.up_rad - truth.up_rad])
        assert axis.budget is not None
        found.append(off @ np.linalg.solve(axis.budget.part(Part.STARS), off))
    return np.array(found)


def test_what_frames_inherit_from_one_anchor_is_not_averaged_away() -> None:
    """The mean of chi-square with two degrees of freedom is 2, and 95 % lie below 5.991 (handbook table).

    Measured here over five seeds: 1.76, and 97 %; a little is counted twice where the sky has turned meanwhile.
    """
    told = distances(lonely=False)
    assert 1.4 < told.mean() < 2.3
    assert np.mean(told < 5.991) > 0.92


def test_frames_taken_for_independent_would_be_too_sure() -> None:
    """The adversary: the same frames without a word of their anchors."""
    told = distances(lonely=True)
    assert np.mean(told < 5.991) < 0.8
