"""The axis anew with every frame while the screws are turned, after a capture has shown where it is in the camera.

As long as camera and declination are untouched, the axis stays where it is in camera axes, whatever the RA axis
does, so that every frame shows it: C b. That rests on the roll of the frame, poor away from the pole; what is known
of the RA axis (it tracks, or it rests) makes the good pointing count instead. Every frame is judged against what the
mount may have done, simplest first: nothing, the screws turned, the RA axis was moved, both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, separation_rad
from polewright.core.axis.accuracy import FrameNoise
from polewright.core.axis.estimate import without_repeats
from polewright.core.axis.following_motion import UNKNOWN_RAD, Motion, Pose, Update, screw_motion, twist_rad, update
from polewright.core.axis.following_start import KnownAxis, pose_at_frame, pose_of_capture
from polewright.core.axis.suspects import judge
from polewright.core.axis.viewing import weakness
from polewright.core.axis_reasons import (
    AxisTurned,
    FollowDoubt,
    OlderFrame,
    TakenInMotion,
    TrackingSeemsSwitched,
    WeakView,
)
from polewright.core.covariance import nearest_covariance
from polewright.core.model import AxisEstimate, Camera, FloatArray, Site, SkyFrame, Utc
from polewright.core.sky.places import east_and_up, hemisphere_sign, offset_from_pole
from polewright.core.unsolved import AxisLeapt, NotFollowed, OtherCamera

PERIODIC_ERROR_RAD = 10.0 / ARCSEC_PER_RAD  # a drive may wander by this from its rate, within about a minute
PERIODIC_TIME_S = 60.0
RATE_ERROR_RAD_S = 0.02 / ARCSEC_PER_RAD  # lunar or solar rate instead of sidereal, a poor crystal
STANDING_RAD = 1.0 / ARCSEC_PER_RAD  # an axis that does not track
UNTOUCHED_SCREWS_RAD = 15.0 / ARCSEC_PER_RAD  # what a RA axis moved by hand may do to the mount
LARGEST_STEP_RAD = math.radians(8.0)  # no screw moves the axis so far between two frames
SMALL_TURN_SIGMA_RAD = 3.0 / ARCSEC_PER_RAD  # how well the RA axis is known over a few seconds and small turns
GOOD_ENOUGH_RAD = 6.0 / ARCSEC_PER_RAD  # total sigma up to which nobody is sent elsewhere
SEEING_MEMORY_S = 1.0  # frames closer in time than this share some of their image motion
_REST_CHI2, _SCREWS_CHI2, _RA_CHI2 = 14.2, 9.0, 9.2  # 3, 1 and 2 degrees of freedom: 0.3, 0.3 and 1 per cent
_SURE_ODDS = 3.0  # natural log of the odds from which tracking counts as known
_MOST_ODDS = 10.0


@dataclass(frozen=True, eq=False)
class FollowState:
    """All that one frame hands on to the next. `tracking_log_odds` is positive when the RA axis seems to track.

    `common_rad2` (2, 2): what the capture is off by beyond its stars, and every reading after it by as much;
    `known_rad` (2,): the part of that which is known, and taken off (core/flexure.py).
    """

    site: Site
    target_enu: FloatArray
    pose: Pose
    utc: Utc
    camera: Camera
    rms_arcsec: float
    stars_matched: int
    tracking_log_odds: float = 0.0
    frames_at_rest: int = 1
    common_rad2: FloatArray = field(default_factory=lambda: np.zeros((2, 2)))
    known_rad: FloatArray = field(default_factory=lambda: np.zeros(2))


@dataclass(frozen=True, eq=False)
class AxisReading:
    """Where the axis points by one more frame, against the target pole.

    `east_rad`, `up_rad` on the sky and their covariance (2, 2), rad^2, what the capture left uncertain included.
    `tracking` is "on", "off" or "unknown". `moved`: the screws turned since the frame before; `settled`: they did
    not; `ra_moved`: the RA axis was turned otherwise than by tracking. `frames_at_rest` frames are averaged in the
    reading. `refused` says why the frame could not be used: the reading is then that of the frame before.
    """

    name: str
    east_rad: float
    up_rad: float
    covariance_rad2: FloatArray
    tracking: str
    warnings: tuple[FollowDoubt, ...] = ()
    moved: bool = False
    settled: bool = False
    ra_moved: bool = False
    frames_at_rest: int = 1
    refused: NotFollowed | None = None
    chi2: float = 0.0
    dof: int = 0


def start_following(estimate: AxisEstimate, frames: Sequence[SkyFrame]) -> FollowState:
    """The state after a capture: `estimate` is what estimate_axis made of these same `frames`."""
    kept, _ = without_repeats(frames)
    attitudes = np.stack([frame.attitude_enu.camera_to_sky for frame in kept])
    covariances = np.stack([frame.attitude_enu.covariance_rad2 for frame in kept])
    apart = estimate.budget is None
    verdict = judge([frame.name for frame in kept], attitudes, covariances, estimate.target_enu, apart)
    used = [frame for frame, keep in zip(kept, verdict.kept) if keep]
    last = max(range(len(used)), key=lambda i: used[i].utc_mid)
    pose = pose_of_capture(verdict, last)
    east, up = offset_from_pole(verdict.fit.axis_enu, estimate.target_enu, estimate.site)
    return FollowState(
        site=estimate.site,
        target_enu=estimate.target_enu,
        pose=pose,
        common_rad2=_beyond_the_stars(estimate, pose),
        known_rad=np.array([east - estimate.east_rad, up - estimate.up_rad]),
        utc=used[last].utc_mid,
        camera=used[last].camera,
        rms_arcsec=float(np.median([frame.rms_arcsec for frame in used])),
        stars_matched=int(np.median([frame.stars_matched for frame in used])),
    )


def _beyond_the_stars(estimate: AxisEstimate, pose: Pose) -> FloatArray:
    """What the capture is unsure of beyond what its pose knows; nothing without a budget."""
    if estimate.budget is None:
        return np.zeros((2, 2))
    directions = east_and_up(estimate.target_enu, estimate.site)
    return nearest_covariance(estimate.covariance_rad2 - directions @ pose.axis_covariance_enu @ directions.T)


def start_following_axis(site: Site, target_enu: FloatArray, offset: KnownAxis, frame: SkyFrame) -> FollowState:
    """The state at one frame when the axis is known by other means than a turn: by the drift of the stars."""
    return FollowState(
        site=site,
        target_enu=target_enu,
        pose=pose_at_frame(offset, target_enu, site, frame),
        utc=frame.utc_mid,
        camera=frame.camera,
        rms_arcsec=frame.rms_arcsec,
        stars_matched=frame.stars_matched,
    )


def follow(state: FollowState, frame: SkyFrame) -> tuple[FollowState, AxisReading]:
    """The axis by one more frame. A frame that cannot be used leaves the state as it is and says why."""
    if _is_other_camera(state, frame):
        return state, _reading(state, frame, refused=OtherCamera(frame.name))
    noise = _noise_of(state, frame)
    seconds = frame.utc_mid.seconds_since(state.utc)
    choice = _judge(state, frame.attitude_enu.camera_to_sky, noise, seconds)
    step = float(separation_rad(choice.update.pose.axis_enu, state.pose.axis_enu))
    if step > LARGEST_STEP_RAD:
        return state, _reading(state, frame, refused=AxisLeapt(step))
    odds = _new_odds(state.tracking_log_odds, choice)
    after = replace(
        state,
        pose=choice.update.pose,
        utc=frame.utc_mid,
        tracking_log_odds=odds,
        frames_at_rest=state.frames_at_rest + 1 if choice.settled else 1,
    )
    weak = _weak(after, noise)
    told = _warnings(state, after, frame, choice)
    reading = _reading(after, frame, told if weak is None else (*told, weak))
    return after, replace(
        reading,
        moved=choice.screws,
        settled=choice.settled,
        ra_moved=choice.ra_moved,
        chi2=choice.update.chi2,
        dof=choice.update.dof,
    )


@dataclass(frozen=True, eq=False)
class _Choice:
    """What the mount did, as far as the frame tells. `evidence`: log odds of tracking against not, by this frame."""

    update: Update
    evidence: float
    settled: bool = False
    screws: bool = False
    ra_moved: bool = False


def _judge(state: FollowState, attitude: FloatArray, noise: FloatArray, seconds: float) -> _Choice:
    """The simplest thing the mount can have done that agrees with the frame."""
    for screws, limit in ((False, _REST_CHI2), (True, _SCREWS_CHI2)):
        on, off = (update(state.pose, motion, attitude, noise) for motion in _drive_motions(state, seconds, screws))
        evidence = 0.5 * (off.chi2 - on.chi2)
        best = _by_odds(state, on, off, evidence)
        if best is None:
            both = _either_way(on.motion, off.motion)
            best = update(state.pose, both, attitude, noise)
        if best.chi2 < limit:
            return _Choice(best, evidence, settled=not screws, screws=screws)
    return _judge_moved_ra(state, attitude, noise)


def _judge_moved_ra(state: FollowState, attitude: FloatArray, noise: FloatArray) -> _Choice:
    """The RA axis was turned by hand or by motor: alone, or the screws as well."""
    pose = state.pose
    turn = twist_rad(pose.attitude.T @ attitude, pose.axis_in_camera)
    alone = Motion(turn, UNKNOWN_RAD, screws=True, screws_sigma_rad=UNTOUCHED_SCREWS_RAD)
    found = update(pose, alone, attitude, noise)
    if found.chi2 < _RA_CHI2:
        return _Choice(found, 0.0, ra_moved=True)
    screws, _, _ = screw_motion(pose.axis_enu, attitude @ pose.axis_in_camera)
    turn = twist_rad((screws @ pose.attitude).T @ attitude, pose.axis_in_camera)
    both = Motion(turn, UNKNOWN_RAD, screws=True)
    return _Choice(update(pose, both, attitude, noise), 0.0, screws=True, ra_moved=True)


def _drive_motions(state: FollowState, seconds: float, screws: bool) -> tuple[Motion, Motion]:
    """The RA axis following the sky, and standing still."""
    wander = PERIODIC_ERROR_RAD * math.sqrt(1.0 - math.exp(-abs(seconds) / PERIODIC_TIME_S))
    sidereal = -hemisphere_sign(state.site) * SIDEREAL_RATE_RAD_S * seconds
    return (
        Motion(sidereal, math.hypot(wander, RATE_ERROR_RAD_S * seconds), screws),
        Motion(0.0, STANDING_RAD, screws),
    )


def _by_odds(state: FollowState, on: Update, off: Update, evidence: float) -> Update | None:
    """The likelier of the two, what is known from before included; None while it is open."""
    odds = max(-4.5, min(4.5, state.tracking_log_odds)) + evidence
    if abs(odds) < 2.0:
        return None
    return on if odds > 0.0 else off


def _either_way(on: Motion, off: Motion) -> Motion:
    """A motion that covers both."""
    middle, half = 0.5 * (on.turn_rad + off.turn_rad), 0.5 * abs(on.turn_rad - off.turn_rad)
    return replace(on, turn_rad=middle, turn_sigma_rad=math.hypot(on.turn_sigma_rad, half))


def _new_odds(odds: float, choice: _Choice) -> float:
    """Log odds of tracking after this frame; strong evidence against them turns them over at once."""
    if abs(choice.evidence) > 15.0 and odds * choice.evidence < 0.0:
        return math.copysign(6.0, choice.evidence)
    odds = (0.5 if choice.ra_moved else 0.9) * odds + max(-8.0, min(8.0, choice.evidence))
    return max(-_MOST_ODDS, min(_MOST_ODDS, odds))


def _tracking(odds: float) -> str:
    if abs(odds) < _SURE_ODDS:
        return "unknown"
    return "on" if odds > 0.0 else "off"


def _noise_of(state: FollowState, frame: SkyFrame) -> FloatArray:
    """Covariance (3, 3) of the frame's attitude; frames in quick succession share some of their image motion."""
    seconds = abs(frame.utc_mid.seconds_since(state.utc))
    shared = SEEING_MEMORY_S / max(seconds, 0.1) if seconds < SEEING_MEMORY_S else 1.0
    return np.asarray(frame.attitude_enu.covariance_rad2 * shared)


def _is_other_camera(state: FollowState, frame: SkyFrame) -> bool:
    """Whether the frame is none of the capture's camera: mirrored, or of another scale."""
    width, known = frame.camera.width_px / frame.camera.focal_px, state.camera.width_px / state.camera.focal_px
    return frame.camera.mirrored != state.camera.mirrored or abs(math.log(width / known)) > 0.01


def _weak(state: FollowState, noise: FloatArray) -> WeakView | None:
    """Where to point instead, when the camera sees the screws badly and the reading suffers from it."""
    pose = state.pose
    distance = float(separation_rad(pose.attitude[:, 2], pose.axis_enu))
    quality = FrameNoise(math.sqrt(0.5 * (noise[0, 0] + noise[1, 1])), math.sqrt(noise[2, 2]), distance)
    if math.sqrt(np.trace(_own_covariance(state))) < GOOD_ENOUGH_RAD:
        return None
    return weakness(pose.axis_enu, pose.attitude[:, 2], quality, SMALL_TURN_SIGMA_RAD)


def _offset_covariance(state: FollowState) -> FloatArray:
    """Covariance (2, 2) of a reading: its own, and what it shares with the capture."""
    return np.asarray(_own_covariance(state) + state.common_rad2)


def _own_covariance(state: FollowState) -> FloatArray:
    directions = east_and_up(state.target_enu, state.site)
    covariance = directions @ state.pose.axis_covariance_enu @ directions.T
    return np.asarray(0.5 * (covariance + covariance.T))


def _reading(
    state: FollowState,
    frame: SkyFrame,
    warnings: tuple[FollowDoubt, ...] = (),
    refused: NotFollowed | None = None,
) -> AxisReading:
    east, up = offset_from_pole(state.pose.axis_enu, state.target_enu, state.site)
    return AxisReading(
        name=frame.name,
        east_rad=east - float(state.known_rad[0]),
        up_rad=up - float(state.known_rad[1]),
        covariance_rad2=_offset_covariance(state),
        tracking=_tracking(state.tracking_log_odds),
        warnings=warnings,
        frames_at_rest=state.frames_at_rest,
        refused=refused,
    )


def _warnings(before: FollowState, after: FollowState, frame: SkyFrame, choice: _Choice) -> tuple[FollowDoubt, ...]:
    """What a person should know about this frame."""
    said: list[FollowDoubt] = []
    was, now = _tracking(before.tracking_log_odds), _tracking(after.tracking_log_odds)
    if {was, now} == {"on", "off"}:
        said.append(TrackingSeemsSwitched(now == "on"))
    if choice.ra_moved:
        turn = abs(choice.update.motion.turn_rad)
        said.append(AxisTurned(turn, choice.screws, math.sqrt(np.trace(_offset_covariance(after)))))
    if frame.utc_mid < before.utc:
        said.append(OlderFrame(frame.name))
    if frame.rms_arcsec > 3.0 * before.rms_arcsec and frame.rms_arcsec > 1.0:
        said.append(TakenInMotion(frame.name))
    return tuple(said)
