"""Simulated tracking for drift tests: the simulated mount, its gears and tube, seen frame by frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.drift.live import DriftProof, DriftSample
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.simulate.mount import Mount, MountSpec
from polewright.simulate.refraction import refract

AIR = Atmosphere(985.0, 6.0)


def site_at(lat_deg: float) -> Site:
    return Site(lat_deg, 12.5, 240.0)


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
) -> DriftProof:
    """All frames at once; `noise_memory` is the correlation of neighbouring frames."""
    mount = Mount(spec)
    samples: list[DriftSample] = []
    now = 0.0
    for number, (hour, dec_p) in enumerate(positions):
        now = mount.point(now + 20.0, look_at(lat_deg, hour, dec_p))
        mount.set_tracking(now, True)
        error = rng.normal(size=2)
        for t in np.arange(0.0, seconds_each + 0.5 * cadence_s, cadence_s):
            error = noise_memory * error + np.sqrt(1.0 - noise_memory**2) * rng.normal(size=2)
            c = mount.attitude(now + 5.0 + t)
            v = c[:, 2] + noise_arcsec / ARCSEC_PER_RAD * (error[0] * c[:, 0] + error[1] * c[:, 1])
            v = v / np.linalg.norm(v)
            place = (float(v[0]), float(v[1]), float(v[2]))
            samples.append(DriftSample(now + 5.0 + t, place, 0.3 / ARCSEC_PER_RAD, number))
        now += 5.0 + seconds_each
    return DriftProof(site_at(lat_deg), air, target, tuple(samples))


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
