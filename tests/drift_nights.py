"""Simulated tracking for drift tests: the simulated mount, its gears and tube, seen frame by frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.drift.live import DriftProof, DriftSample
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.night.states import NightPlan
from polewright.core.sky.places import pole_altitude_rad
from polewright.simulate.mount import Mount, MountSpec
from polewright.simulate.refraction import refract

AIR = Atmosphere(985.0, 6.0)


def site_at(lat_deg: float) -> Site:
    return Site(lat_deg, 12.5, 240.0)


def plan_at(site: Site) -> NightPlan:
    """A night with a tolerance that a drift can prove from a pier, of a rig that nothing is known of."""
    return NightPlan(
        site,
        TargetPole.REFRACTED,
        pole_altitude_rad(site, AIR, TargetPole.REFRACTED),
        150.0 / ARCSEC_PER_RAD,
        air=AIR,
        flexure=FLEXURE_PRIOR,
    )


def mount_off(
    lat_deg: float, east_arcmin: float, up_arcmin: float, air: Atmosphere = AIR, **more: float
) -> MountSpec:
    """A mount whose axis is off the REFRACTED pole (traced rays) by (east, up) on the sky."""
    lat = np.radians(lat_deg)
    side = 1.0 if lat_deg >= 0.0 else -1.0
    pole = refract(np.array([[0.0, side * np.cos(lat), abs(np.sin(lat))]]), air)[0]
    up = np.array([0.0, -side * pole[2], abs(pole[1])])
    size = np.hypot(east_arcmin, up_arcmin) / ARCMIN_PER_RAD
    toward = np.array([east_arcmin, 0.0, 0.0]) + up_arcmin * up
    axis = np.cos(size) * pole + (np.sin(size) * toward / np.linalg.norm(toward) if size else 0.0)
    return MountSpec(
        axis_azimuth_deg=float(np.degrees(np.arctan2(axis[0], axis[1]))),
        axis_altitude_deg=float(np.degrees(np.arcsin(axis[2]))),
        southern=lat_deg < 0.0,
        **more,  # type: ignore[arg-type]
    )


def look_at(lat_deg: float, hour_angle_h: float, dec_p_deg: float) -> FloatArray:
    """ENU of an hour angle and a declination toward the elevated pole."""
    lat, h, d = np.radians([lat_deg, 15.0 * hour_angle_h, dec_p_deg])
    side = 1.0 if lat_deg >= 0.0 else -1.0
    u, n = np.array([0.0, -np.sin(lat), np.cos(lat)]), np.array([0.0, np.cos(lat), np.sin(lat)])
    return np.asarray(np.cos(d) * (np.cos(h) * u - np.sin(h) * np.array([1.0, 0.0, 0.0])) + np.sin(d) * side * n)


@dataclass(frozen=True)
class Nudging:
    """A press on the hand controller in every field, and what the guider, if there is one, makes of it.

    `back_arcsec_s`: how fast it is pulled back after `wait_s` (backlash); `lets_go`: the guider loses its star."""

    at_s: float = 60.0
    arcsec: float = 60.0
    back_arcsec_s: float = 0.0
    wait_s: float = 0.0
    lets_go: bool = False

    def left_rad(self, t: float) -> float:
        """How far the declination is away at `t` s of the field; the press runs at half the sidereal rate."""
        since = t - self.at_s
        there = min(max(since, 0.0) * 7.5, abs(self.arcsec))
        back = max(since - abs(self.arcsec) / 7.5 - self.wait_s, 0.0) * self.back_arcsec_s
        return float(np.sign(self.arcsec) * max(there - back, 0.0) / ARCSEC_PER_RAD)


ROLL_RAD = 25.0 / ARCSEC_PER_RAD  # of a solved frame of two degrees: fifty times its place and more


def frame(at_s: float, number: int, camera: FloatArray, error: FloatArray, rolls: np.random.Generator) -> DriftSample:
    """What a solved frame tells of an attitude (3, 3): `error` (2,) along its axes, rad, and that of its turn."""
    v = camera[:, 2] + error[0] * camera[:, 0] + error[1] * camera[:, 1]
    v = v / np.linalg.norm(v)
    x = camera[:, 0] + rolls.normal(0.0, ROLL_RAD) * camera[:, 1]
    x = x - (x @ v) * v
    x = x / np.linalg.norm(x)
    place, side = ((float(w[0]), float(w[1]), float(w[2])) for w in (v, x))
    return DriftSample(at_s, place, 0.3 / ARCSEC_PER_RAD, number, side, ROLL_RAD)


def axis_of(spec: MountSpec) -> FloatArray:
    """The upper end of the mount axis, ENU."""
    azimuth, altitude = np.radians([spec.axis_azimuth_deg, spec.axis_altitude_deg])
    return np.array([np.cos(altitude) * np.sin(azimuth), np.cos(altitude) * np.cos(azimuth), np.sin(altitude)])


def turned_in_dec(axis: FloatArray, camera: FloatArray, angle_rad: float) -> FloatArray:
    """The camera (3, 3) after its declination about the axis grew by so much."""
    hinge = np.cross(camera[:, 2], axis)
    return rotation_about(hinge / np.linalg.norm(hinge), angle_rad) @ camera


def guided_mount(
    spec: MountSpec,
    lat_deg: float,
    positions: Sequence[tuple[float, float]],
    seconds_each: float,
    cadence_s: float,
    noise_arcsec: float,
    rng: np.random.Generator,
    wander_arcsec: float,
    memory: float,
    both_axes: bool,
    nudge: Nudging | None = None,
) -> DriftProof:
    """A mount off the pole whose declination (or both axes) a guider holds on a star, seen through the air (traced
    rays); what it leaves has that sigma and remembers a share of its last error. The field turns all the same, and
    where right ascension is free it runs as the mount's own axis and drive have it."""
    mount, axis, rolls = Mount(spec), axis_of(spec), np.random.default_rng(3)
    north = look_at(lat_deg, 0.0, 90.0)
    hemisphere = -1.0 if spec.southern else 1.0
    samples: list[DriftSample] = []
    now = 0.0
    for number, (hour, dec_p) in enumerate(positions):
        begun = mount.point(now + 20.0, look_at(lat_deg, hour, dec_p)) + 5.0
        mount.set_tracking(begun - 5.0, True)
        first = mount.attitude(begun)[:, 2]
        left = rng.normal(0.0, wander_arcsec, 2)
        free_from = np.inf
        dec_then = 0.0
        for t in np.arange(0.0, seconds_each + 0.5 * cadence_s, cadence_s):
            left = memory * left + wander_arcsec * np.sqrt(1.0 - memory**2) * rng.normal(size=2)
            turn = rotation_about(north, -hemisphere * SIDEREAL_RATE_RAD_S * t)
            star = refract((turn @ lowered(first))[None, :], AIR)[0]
            c = mount.attitude(begun + t)
            if both_axes:
                c = rotation_about(axis, _about(axis, c[:, 2], star) + left[0] / ARCSEC_PER_RAD) @ c
            off = np.arcsin(star @ axis) - np.arcsin(c[:, 2] @ axis)
            if nudge is not None and nudge.lets_go and t >= nudge.at_s:
                free_from, dec_then = (t, off) if t < free_from else (free_from, dec_then)
                off = dec_then
            away = 0.0 if nudge is None else nudge.left_rad(t)
            c = turned_in_dec(axis, c, off + left[1] / ARCSEC_PER_RAD + away)
            samples.append(frame(begun + t, number, c, noise_arcsec / ARCSEC_PER_RAD * rng.normal(size=2), rolls))
        now = begun + seconds_each
    return DriftProof(site_at(lat_deg), AIR, TargetPole.REFRACTED, tuple(samples), nudged=nudge is not None)


def lowered(seen: FloatArray) -> FloatArray:
    """The direction without air of one that is seen, by fixed point."""
    true = seen
    for _ in range(6):
        true = true + seen - refract(true[None, :], AIR)[0]
        true = true / np.linalg.norm(true)
    return true


def _about(axis: FloatArray, start: FloatArray, end: FloatArray) -> float:
    """The angle about the axis from one direction to another."""
    one, two = (v - (v @ axis) * axis for v in (start, end))
    return float(np.arctan2(np.cross(one, two) @ axis, one @ two))


def watched(
    spec: MountSpec,
    lat_deg: float,
    positions: Sequence[tuple[float, float]],
    seconds_each: float,
    cadence_s: float,
    noise_arcsec: float,
    rng: np.random.Generator,
    noise_memory: float = 0.0,
    target: TargetPole = TargetPole.REFRACTED,
    air: Atmosphere = AIR,
    nudge: Nudging | None = None,
) -> DriftProof:
    """All frames at once; `noise_memory` is the correlation of neighbouring frames."""
    mount = Mount(spec)
    samples: list[DriftSample] = []
    now = 0.0
    rolls = np.random.default_rng(len(positions))  # of its own, so that the other draws stay what they were
    for number, (hour, dec_p) in enumerate(positions):
        now = mount.point(now + 20.0, look_at(lat_deg, hour, dec_p))
        mount.set_tracking(now, True)
        error = rng.normal(size=2)
        for t in np.arange(0.0, seconds_each + 0.5 * cadence_s, cadence_s):
            error = noise_memory * error + np.sqrt(1.0 - noise_memory**2) * rng.normal(size=2)
            c = mount.attitude(now + 5.0 + t)
            if nudge is not None:
                c = turned_in_dec(axis_of(spec), c, nudge.left_rad(t))
            samples.append(frame(now + 5.0 + t, number, c, noise_arcsec / ARCSEC_PER_RAD * error, rolls))
        now += 5.0 + seconds_each
    return DriftProof(site_at(lat_deg), air, target, tuple(samples), nudged=nudge is not None)


def guided(
    lat_deg: float,
    positions: Sequence[tuple[float, float]],
    seconds_each: float,
    cadence_s: float,
    noise_arcsec: float,
    rng: np.random.Generator,
    corrections_arcsec: float = 0.25,
    memory: float = 0.3,
    periodic_error_arcsec: float | None = None,
) -> DriftProof:
    """A mount that is held on its star in both axes, wherever its own axis points: the star's place through the air
    (traced rays), what a guider leaves (it remembers a share, `memory`, of its last error), and the scatter of the
    frames. With a periodic error right ascension runs free and the declination alone is held."""
    site = site_at(lat_deg)
    north = look_at(lat_deg, 0.0, 90.0)
    samples: list[DriftSample] = []
    begun_s = 0.0
    for number, (hour, dec_p) in enumerate(positions):
        left = np.zeros(2)
        for t in np.arange(0.0, seconds_each + 0.5 * cadence_s, cadence_s):
            left = memory * left + corrections_arcsec * rng.normal(size=2)
            star = look_at(lat_deg, hour + SIDEREAL_RATE_RAD_S * t * 12.0 / np.pi, dec_p)
            seen = refract(star[None, :], AIR)[0]
            east = np.cross(north, seen) / np.linalg.norm(np.cross(north, seen))
            if periodic_error_arcsec is not None:
                left[0] = periodic_error_arcsec * np.sin(2.0 * np.pi * (begun_s + t) / 480.0)
            x, y = (left + noise_arcsec * rng.normal(size=2)) / ARCSEC_PER_RAD
            v = seen + x * east + y * np.cross(seen, east)
            v = v / np.linalg.norm(v)
            place = (float(v[0]), float(v[1]), float(v[2]))
            samples.append(DriftSample(begun_s + t, place, 0.3 / ARCSEC_PER_RAD, number))
        begun_s += seconds_each + 30.0
    return DriftProof(site, AIR, TargetPole.REFRACTED, tuple(samples))
