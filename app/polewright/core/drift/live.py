"""Proof by drift, live: frames of a tracking mount come in, both components of the axis error come out.

It shares nothing with the turn about the RA axis but the star places: an independent word on the same axis, and a
measurement in its own right for whoever cannot turn the RA axis. Declination guiding must be off. State is frozen and
plain; `add_frame` gives the next one. See core/drift/fit.py for the method.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about, separation_rad
from polewright.core.drift.fit import DriftData, DriftFit, about, fit_drift
from polewright.core.drift.nudge import Nudge, Nudged, nudge_in
from polewright.core.drift.parts import parts_of, widening
from polewright.core.drift.rates import drift_rates
from polewright.core.drift.reasons import (
    DriftDoubt,
    DriftRefusal,
    Guided,
    GuidingRefusal,
    Held,
    Jumped,
    MaybeGuided,
    NoFramesYet,
    NotTracking,
    OddRate,
    PartsDisagree,
    Sign,
    TooFewFrames,
    TooShort,
    TooShortToTell,
    Unknown,
    Wanders,
)
from polewright.core.drift.red_noise import step_sigma_rad
from polewright.core.drift.stillness import (
    FIELD_S,
    FieldMotion,
    along_ra,
    field_motion,
    nothing_moves,
)
from polewright.core.drift.stillness import LEAST_FRAMES as TELLING_FRAMES
from polewright.core.model import Atmosphere, Attitude, FloatArray, IntArray, Site, SkyFrame, TargetPole
from polewright.core.offset import Covariance, covariance_of
from polewright.core.sky.places import east_and_up, hemisphere_sign, offset_from_pole, pole_enu, true_pole_enu

Vector = tuple[float, float, float]
LEAST_FRAMES = 6  # four unknowns and something left to judge them by
LEAST_SECONDS = 20.0  # a minute of arc drifts 0.09 arcsec in that time: less would be noise alone
NEW_POSITION_RAD = np.radians(0.7)  # farther from where the sky should have carried it: the mount was slewed
# a knock, not noise: of 400 fields of 4 to 40 min whose pointing wanders by 0.2 to 0.6" 1 shows one without a step,
# of 100 with one of 4" 95 (judged by one lag and at 6: 8, and 99)
STEP_SIGMAS = 5.5
_LEAST_STEP_RAD = 1.0 / ARCSEC_PER_RAD  # smaller ones are seeing
NOTHING_YET = NoFramesYet()
SIGNS = {Nudge.TAKEN_BACK: Sign.TAKEN_BACK, Nudge.DRIFTS_OTHERWISE: Sign.DRIFTS_OTHERWISE}
# of several nudges the first of these counts
_GRAVEST = (Nudge.TAKEN_BACK, Nudge.DRIFTS_OTHERWISE, Nudge.TOO_EARLY, Nudge.STAYED)
_UNKNOWN_RAD, _UNKNOWN_SHARE = np.radians(3.0 / 60.0), 6.0  # so uncertain, alone and beside the other: unknown


@dataclass(frozen=True)
class DriftSample:
    """One frame: seconds since the first, boresight in observed ENU, sigma along one axis, number of the position.

    `camera_x_enu`, `roll_sigma_rad`: the camera's x axis and how well its turn is known; None where not measured.
    """

    at_s: float
    direction_enu: Vector
    sigma_rad: float
    position: int
    camera_x_enu: Vector | None = None
    roll_sigma_rad: float = 0.0


@dataclass(frozen=True)
class PositionDrift:
    """What one position shows. `dec_drift_rad_s`: how fast stars move toward the elevated pole for the axis found,
    and its sigma from this position's frames alone. Residuals: declination after the fit, one a frame."""

    hour_angle_rad: float
    dec_p_rad: float
    frames: int
    seconds: float
    dec_drift_rad_s: float
    sigma_rad_s: float
    dec_residual_rad: tuple[float, ...]
    at_s: tuple[float, ...]


@dataclass(frozen=True)
class DriftResult:
    """The axis against the target pole, from drift. `axis_enu` is the axis itself.

    `noise_rad`: scatter of one frame in declination; `inflation`: growth of the variance because neighbouring frames
    err together; `drive_wave_rad`: half the swing of the drive's own error (periodic error), about the axis.
    `unknown`: what the positions so far do not tell.
    """

    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    axis_enu: Vector
    noise_rad: float
    inflation: float
    drive_wave_rad: float
    positions: tuple[PositionDrift, ...]
    unknown: Unknown | None = None
    warnings: tuple[DriftDoubt, ...] = ()
    disturbed: bool = False  # the declination jumped
    held: bool = False  # nothing moves at all: guided, in all likelihood
    still: bool = False  # no field drifts in declination by more than a guided one may
    runs: bool = False  # some field shows that the drive is free
    nudge: Nudge | None = None  # what became of a nudge in declination
    nudge_left_s: float = 0.0  # how much longer until that can be told

    @property
    def sigma_rad(self) -> float:
        """The larger of the two sigmas."""
        return float(np.sqrt(max(self.covariance_rad2[0][0], self.covariance_rad2[1][1])))


@dataclass(frozen=True)
class DriftProof:
    """The state: where, against which pole, the frames so far, and what they say.

    `orientation_sigma_rad`: how well the camera's orientation is known; 0 for solved frames, which measure it.
    `nudged`: the person has nudged the declination, to show that it is free; else a jump is a mishap."""

    site: Site
    atmosphere: Atmosphere
    target: TargetPole
    samples: tuple[DriftSample, ...] = ()
    result: DriftResult | DriftRefusal = NOTHING_YET
    orientation_sigma_rad: float = 0.0
    nudged: bool = False


def add_frame(state: DriftProof, frame: SkyFrame, at_s: float) -> DriftProof:
    """The state with one more solved frame; `at_s` is its mid-exposure, s from any fixed moment, growing."""
    return _measured(state, with_frame(state.samples, state.site, at_s, frame.attitude_enu))


def add_direction(state: DriftProof, at_s: float, direction_enu: FloatArray, sigma_rad: float) -> DriftProof:
    """The state with one more boresight (3,) in observed ENU. A frame older than the last one changes nothing."""
    return _measured(state, with_sample(state.samples, state.site, at_s, direction_enu, sigma_rad))


def _measured(state: DriftProof, samples: tuple[DriftSample, ...]) -> DriftProof:
    if samples is state.samples:
        return state
    return replace(state, samples=samples, result=measure(replace(state, samples=samples)))


def with_frame(
    samples: tuple[DriftSample, ...], site: Site, at_s: float, attitude: Attitude
) -> tuple[DriftSample, ...]:
    """The samples with one more frame, the turn of its camera included."""
    covariance = attitude.covariance_rad2
    sigma = float(np.sqrt(0.5 * (covariance[0, 0] + covariance[1, 1])))
    more = with_sample(samples, site, at_s, attitude.camera_to_sky[:, 2], sigma)
    if more is samples:
        return samples
    turned = replace(
        more[-1],
        camera_x_enu=_vector(attitude.camera_to_sky[:, 0]),
        roll_sigma_rad=float(np.sqrt(covariance[2, 2])),
    )
    return (*samples, turned)


def with_sample(
    samples: tuple[DriftSample, ...], site: Site, at_s: float, direction_enu: FloatArray, sigma_rad: float
) -> tuple[DriftSample, ...]:
    """The samples with one more boresight (3,) in observed ENU, nothing measured; the same ones when it is older than
    the last."""
    if samples and at_s <= samples[-1].at_s:
        return samples
    position = _position_of(samples, site, at_s, direction_enu)
    return (*samples, DriftSample(float(at_s), _vector(direction_enu), float(sigma_rad), position))


def _vector(v: FloatArray) -> Vector:
    return float(v[0]), float(v[1]), float(v[2])


def measure(state: DriftProof) -> DriftResult | DriftRefusal:
    """What the frames say. Positions with fewer than three frames are left out."""
    data, nudge = drift_data(state)
    if data is None or data.at_s.size < LEAST_FRAMES:
        usable = 0 if data is None else data.at_s.size
        return TooFewFrames(int(usable), LEAST_FRAMES)
    span = max(float(np.ptp(data.at_s[data.position == k])) for k in range(data.positions))
    if span < LEAST_SECONDS:
        return TooShort(span, LEAST_SECONDS)
    pole = pole_enu(state.site, state.atmosphere, state.target)
    turned = float(np.abs(_sky_turn(state, data)).max())
    if turned > 0.5 * SIDEREAL_RATE_RAD_S:
        return NotTracking()
    up = east_and_up(pole, state.site)[1]
    whole = _result(state, data, fit_drift(data, pole, up), pole)
    if nudge is not None:
        whole = replace(whole, nudge=nudge.what, nudge_left_s=nudge.left_s)
    return _held_against(whole, [_result(state, part, fit_drift(part, pole, up), pole) for part in parts_of(data)])


def _held_against(whole: DriftResult, parts: Sequence[DriftResult]) -> DriftResult:
    """The result of all frames, widened where its parts disagree, and refused where every part of it is guided."""
    if not parts:
        return whole
    found, told = np.array([whole.east_rad, whole.up_rad]), np.array([[p.east_rad, p.up_rad] for p in parts])
    covariances = np.array([p.covariance_rad2 for p in parts])
    covariance = widening(found, np.array(whole.covariance_rad2), told, covariances)
    held = not whole.held and all(p.held for p in parts)
    doubts: list[DriftDoubt] = [Held()] if held else []
    if covariance is not None:
        doubts.append(PartsDisagree(float(max(np.hypot(*(a - b)) for a in told for b in told))))
    return replace(
        whole,
        covariance_rad2=whole.covariance_rad2 if covariance is None else covariance_of(covariance),
        unknown=whole.unknown if covariance is None else unknown_in(covariance),
        warnings=(*whole.warnings, *doubts),
        held=whole.held or held,
    )


def _result(state: DriftProof, data: DriftData, fit: DriftFit, pole: FloatArray) -> DriftResult:
    east, up = offset_from_pole(fit.axis_enu, pole, state.site)
    positions = tuple(_position_drift(state, data, fit, k, east, up) for k in range(data.positions))
    jump, motions = _jump(data, fit), _motions(state, data, pole, positions)
    held = nothing_moves([(m.still, p.seconds) for m, p in zip(motions, positions)])
    return DriftResult(
        east_rad=east,
        up_rad=up,
        covariance_rad2=covariance_of(fit.covariance_rad2),
        axis_enu=(float(fit.axis_enu[0]), float(fit.axis_enu[1]), float(fit.axis_enu[2])),
        noise_rad=fit.noise_rad,
        inflation=fit.inflation,
        drive_wave_rad=float(max(np.ptp(fit.wave_rad[data.position == k]) for k in range(data.positions)) / 2.0),
        positions=positions,
        unknown=unknown_in(fit.covariance_rad2),
        warnings=(*_warnings(jump, fit), *((Held(),) if held else ())),
        disturbed=jump is not None,
        held=held,
        still=all(motion.dec_still for motion in motions),
        runs=any(motion.runs for motion in motions),
    )


def guiding_refusal(result: DriftResult, guiding_is_off: bool | None) -> GuidingRefusal | None:
    """Why this drift is no word on the axis, given what the person says of guiding (None: nothing).

    The frames are believed over the person; where they are too few to tell, more are asked for.
    """
    if guiding_is_off is False:
        return Guided(Sign.SAID)
    if result.nudge in SIGNS:
        return Guided(SIGNS[result.nudge])
    if result.nudge is Nudge.TOO_EARLY:
        return TooShortToTell(FIELD_S)
    if result.nudge is Nudge.STAYED:
        return None
    if result.held:
        return Guided()
    if not result.still:
        return None
    if guiding_is_off is None:
        return MaybeGuided()
    if result.runs:
        return None
    long_enough = all(p.seconds >= FIELD_S and p.frames >= TELLING_FRAMES for p in result.positions)
    return Guided(Sign.UNTOLD) if long_enough else TooShortToTell(FIELD_S)


def _motions(
    state: DriftProof, data: DriftData, pole: FloatArray, positions: tuple[PositionDrift, ...]
) -> list[FieldMotion]:
    """What moves in each field, about the pole: a guided star turns about that, and one field leaves the axis free to
    run away from it."""
    dec, angle = about(pole, east_and_up(pole, state.site)[1], data)
    found = []
    for k, position in enumerate(positions):
        here = data.position == k
        at_s = data.at_s[here]
        along = along_ra(at_s, angle[here], dec[here])
        left = np.array(position.dec_residual_rad)
        found.append(field_motion(at_s, along, left, position.dec_drift_rad_s, position.sigma_rad_s))
    return found


def _position_drift(
    state: DriftProof, data: DriftData, fit: DriftFit, k: int, east: float, up: float
) -> PositionDrift:
    here = np.flatnonzero(data.position == k)
    at_s = data.at_s[here]
    hour = -float(np.median(fit.angle_rad[here]))
    dec_p = float(np.mean(fit.dec_rad[here]))
    rates = drift_rates(east, up, hour, dec_p, hemisphere_sign(state.site))
    spread = float(np.sqrt(np.sum(np.square(at_s - at_s.mean()))))
    residual = fit.dec_residual_rad[here]
    return PositionDrift(
        hour_angle_rad=hour,
        dec_p_rad=dec_p,
        frames=int(here.size),
        seconds=float(np.ptp(at_s)),
        dec_drift_rad_s=rates.dec_p,
        sigma_rad_s=float(fit.noise_rad * np.sqrt(fit.inflation) / max(spread, 1e-9)),
        dec_residual_rad=tuple(float(x) for x in residual),
        at_s=tuple(float(t) for t in at_s),
    )


def _position_of(samples: tuple[DriftSample, ...], site: Site, at_s: float, direction_enu: FloatArray) -> int:
    """The last position if the sky has carried the boresight there, else a new one."""
    if not samples:
        return 0
    last = samples[-1]
    north = true_pole_enu(site) * hemisphere_sign(site)
    carried = rotation_about(north, -SIDEREAL_RATE_RAD_S * (at_s - last.at_s)) @ np.array(last.direction_enu)
    return last.position + int(separation_rad(carried, np.asarray(direction_enu)) > NEW_POSITION_RAD)


def drift_data(state: DriftProof) -> tuple[DriftData | None, Nudged | None]:
    """The frames of positions with three or more, numbered afresh, and the gravest nudge: the frames since it
    are a position of their own, those in which it happened are left out."""
    samples = state.samples
    numbers = 2 * np.array([s.position for s in samples], dtype=np.int64)
    found = _nudges(state, numbers) if state.nudged else {}
    usable = np.ones(numbers.size, dtype=bool)
    told = []
    for k, nudged in found.items():
        here = np.flatnonzero(numbers == k)
        left = nudged.what is Nudge.TOO_EARLY and k < numbers[-1]  # before it could tell: what came after it is open
        numbers[here[nudged.after]] += 1
        usable[here[nudged.after | nudged.moving if left else nudged.moving]] = False
        told += [] if left or nudged.what is None else [nudged]
    kept = tuple(sample for sample, use in zip(samples, usable) if use)
    gravest = min(told, key=lambda nudged: _GRAVEST.index(nudged.what), default=None)
    return _data(kept, numbers[usable], state.orientation_sigma_rad), gravest


def _nudges(state: DriftProof, numbers: IntArray) -> dict[int, Nudged]:
    return {int(k): nudged for k in np.unique(numbers) if (nudged := _nudge_at(state, numbers == k)) is not None}


def _nudge_at(state: DriftProof, here: NDArray[np.bool_]) -> Nudged | None:
    samples = [sample for sample, is_here in zip(state.samples, here) if is_here]
    pole = pole_enu(state.site, state.atmosphere, state.target)
    dec = np.arcsin(np.clip(np.array([s.direction_enu for s in samples]) @ pole, -1.0, 1.0))
    return nudge_in(np.array([s.at_s for s in samples]), dec)


def _data(samples: tuple[DriftSample, ...], numbers: IntArray, leak_sigma: float) -> DriftData | None:
    kept, counts = np.unique(numbers, return_counts=True)
    kept = kept[counts >= 3]
    usable = np.isin(numbers, kept)
    if not usable.any():
        return None
    at = np.array([s.at_s for s in samples])[usable]
    return DriftData(
        at_s=at - at[0],
        direction_enu=np.array([s.direction_enu for s in samples])[usable],
        sigma_rad=np.maximum(np.array([s.sigma_rad for s in samples])[usable], 1e-8),
        position=np.searchsorted(kept, numbers[usable]),
        leak_sigma=leak_sigma,
        camera_x_enu=_cameras(samples, usable),
        roll_sigma_rad=np.maximum(np.array([s.roll_sigma_rad for s in samples])[usable], 1e-7),
    )


def _cameras(samples: tuple[DriftSample, ...], usable: NDArray[np.bool_]) -> FloatArray | None:
    """The x axes (N, 3) of the usable frames; None unless all of them are known."""
    known = [s.camera_x_enu for s, use in zip(samples, usable) if use and s.camera_x_enu is not None]
    return np.array(known) if len(known) == int(usable.sum()) else None


def _sky_turn(state: DriftProof, data: DriftData) -> FloatArray:
    """How fast (K,) each position moves against the sky, rad/s, end to end."""
    north = true_pole_enu(state.site) * hemisphere_sign(state.site)
    rates = []
    for k in range(data.positions):
        here = np.flatnonzero(data.position == k)
        elapsed = data.at_s[here[-1]] - data.at_s[here[0]]
        if elapsed < LEAST_SECONDS:
            continue
        carried = rotation_about(north, -SIDEREAL_RATE_RAD_S * elapsed) @ data.direction_enu[here[0]]
        apart = separation_rad(carried, data.direction_enu[here[-1]])
        rates.append(float(apart) / elapsed / max(float(np.linalg.norm(np.cross(north, carried))), 0.2))
    return np.array(rates)


def unknown_in(covariance: FloatArray) -> Unknown | None:
    """What a covariance (2, 2) of (east, up) leaves unknown."""
    values, vectors = np.linalg.eigh(covariance)
    if values[1] < max(_UNKNOWN_RAD**2, _UNKNOWN_SHARE**2 * values[0]):
        return None
    east, up = np.abs(vectors[:, 1])
    if east > 0.95:
        return Unknown.AZIMUTH
    return Unknown.ALTITUDE if up > 0.95 else Unknown.ONE_DIRECTION


def _jump(data: DriftData, fit: DriftFit) -> tuple[float, float] | None:
    """(size, rad; when, s) of the first jump in declination; None when there is none."""
    for k in range(data.positions):
        here = np.flatnonzero(data.position == k)
        size, at, sigmas = largest_step(data.at_s[here], fit.dec_residual_rad[here])
        if sigmas > STEP_SIGMAS and abs(size) > _LEAST_STEP_RAD:
            return size, float(data.at_s[here[at]])
    return None


def _warnings(jump: tuple[float, float] | None, fit: DriftFit) -> tuple[DriftDoubt, ...]:
    found: list[DriftDoubt] = []
    if jump is not None:
        found.append(Jumped(*jump))
    if fit.inflation > 4.0:
        found.append(Wanders())
    if abs(fit.rate_error) > 1.5e-3:
        found.append(OddRate())
    return tuple(found)


def largest_step(at_s: FloatArray, residual: FloatArray) -> tuple[float, int, float]:
    """(size, index, sigmas) of the likeliest step beside a line, with four frames at least on either side."""
    n = residual.size
    if n < 12:
        return 0.0, 0, 0.0
    line = np.linalg.qr(np.stack([np.ones(n), at_s - at_s.mean()], axis=1))[0]
    cuts = np.arange(4, n - 4)
    bare = residual - line @ (line.T @ residual)
    after = np.cumsum(line[::-1], axis=0)[::-1][cuts]  # each step 0 ... 0 1 ... 1 in terms of the line
    weight = (n - cuts) - np.square(after).sum(axis=1)
    sizes = np.cumsum(bare[::-1])[::-1][cuts] / weight
    best = int(np.argmax(np.abs(sizes) * np.sqrt(weight)))
    step = np.asarray(np.arange(n) >= cuts[best], dtype=float) - line @ after[best]
    left = bare - sizes[best] * step
    sigma = max(float(np.sqrt(np.sum(np.square(left)) / (n - 3) / weight[best])), 1e-12)
    if abs(sizes[best]) > STEP_SIGMAS * sigma:  # a wander makes it none the surer
        sigma = max(step_sigma_rad(at_s, left, int(cuts[best])), sigma)
    return float(sizes[best]), int(cuts[best]), float(abs(sizes[best]) / sigma)
