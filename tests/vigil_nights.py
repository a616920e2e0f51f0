"""Imaging runs to keep watch over, made of plain rotations: a mount that tracks, a base that may move, mishaps."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.drift.rates import star_enu
from polewright.core.model import Attitude, Camera, FloatArray, Site, SkyFrame, SkyPosition, Utc
from polewright.core.sky.places import true_pole_enu
from polewright.core.vigil.watch import VigilSetup

SITE = Site(47.0, 8.0, 400.0)
CAMERA = Camera(4000, 3000, 180000.0)
Motion = Callable[[float], FloatArray]


@dataclass(frozen=True)
class Run:
    """How a night goes. Angles arcsec, times s.

    `fields`: (hour angle at the start in hours, declination in deg, length in hours), one after the other; the camera
    is turned by half a circle from one to the next, as by a flip."""

    cadence_s: float = 15.0
    noise: float = 0.1
    roll_share: float = 70.0
    worm: float = 10.0
    flexure_per_h: float = 2.0
    wander: float = 0.1
    gusts: float = 0.01
    clouds_per_night: int = 3
    dithers_every: int = 0
    guided: bool = False
    axis_sigma: float = 5.0
    fields: tuple[tuple[float, float, float], ...] = ((-3.0, 35.0, 3.0), (0.1, 35.0, 2.0), (-1.0, 60.0, 3.0))


def still(at_s: float) -> FloatArray:
    """A base that stays where it is."""
    return np.zeros(3)


def setup_of(run: Run, rng: np.random.Generator, dithered: bool | None = None) -> tuple[VigilSetup, FloatArray]:
    """What the watch knows, and the true axis (3,), apart by the sigma of the alignment."""
    pole = true_pole_enu(SITE)
    off = rng.normal(0.0, 20.0, 2) / ARCSEC_PER_RAD
    axis = _unit(pole + np.array([off[0], -off[1] * pole[2], off[1] * pole[1]]))
    miss = rng.normal(0.0, run.axis_sigma / np.sqrt(2.0), 2) / ARCSEC_PER_RAD
    known = _unit(axis + np.array([miss[0], -miss[1] * pole[2], miss[1] * pole[1]]))
    return (
        VigilSetup(
            SITE,
            (float(known[0]), float(known[1]), float(known[2])),
            run.axis_sigma / ARCSEC_PER_RAD,
            guided=run.guided,
            dithered=run.dithers_every > 0 if dithered is None else dithered,
        ),
        axis,
    )


def frames(
    run: Run, axis: FloatArray, rng: np.random.Generator, base: Motion = still
) -> Iterator[tuple[SkyFrame, float]]:
    """The frames of the night with their times; `base` gives the rotation vector (3,) of the base in ENU, rad."""
    start, flipped = 0.0, 0.0
    for hour, dec_deg, hours in run.fields:
        yield from _field(run, axis, rng, base, start, hour, dec_deg, hours * 3600.0, flipped)
        start += hours * 3600.0 + 180.0
        flipped += np.pi


def _field(
    run: Run,
    axis: FloatArray,
    rng: np.random.Generator,
    base: Motion,
    start: float,
    hour: float,
    dec_deg: float,
    length_s: float,
    turned: float,
) -> Iterator[tuple[SkyFrame, float]]:
    s = star_enu(SITE, np.radians(15.0 * hour), np.radians(dec_deg))
    m = _unit(s - (s @ axis) * axis)
    d = np.cross(axis, m)
    up = _unit(axis - (axis @ s) * s)
    first = np.stack([np.cross(up, s), up, s], axis=1) @ rotation_about(np.array([0.0, 0.0, 1.0]), turned)
    cloudy = [(c, c + rng.uniform(200.0, 1200.0)) for c in rng.uniform(0.0, length_s, run.clouds_per_night)]
    phase, slope = rng.uniform(0.0, 6.28, 3), rng.normal(0.0, run.flexure_per_h)
    dither, still_at, error = np.zeros(2), None, np.zeros(2)
    for number, t in enumerate(np.arange(0.0, length_s, run.cadence_s)):
        if any(a <= t <= b for a, b in cloudy):
            continue
        if run.dithers_every and number % run.dithers_every == 0:
            dither = rng.uniform(-6.0, 6.0, 2)
        ra = run.worm * np.sin(2 * np.pi * t / 480.0 + phase[0]) + dither[0]
        dec = slope * t / 3600.0 + run.wander * np.sin(2 * np.pi * t / 3000.0 + phase[1]) + dither[1]
        moved = _rotation(base(start + t))
        tube = rotation_about(d, dec / ARCSEC_PER_RAD) @ first
        c = moved @ rotation_about(axis, -SIDEREAL_RATE_RAD_S * t + ra / ARCSEC_PER_RAD) @ tube
        if run.guided:  # both axes hold the star where it was, but for the dither
            still_at = still_at if still_at is not None else s
            c = _held(c, rotation_about(axis, -SIDEREAL_RATE_RAD_S * t) @ still_at, axis, dither)
        error = 0.2 * error + np.sqrt(1 - 0.2**2) * rng.normal(0.0, run.noise, 2)
        gust = rng.normal(0.0, 4.0, 2) if rng.random() < run.gusts else np.zeros(2)
        shaken = np.array([*(error + gust), rng.normal(0.0, run.noise * run.roll_share)]) / ARCSEC_PER_RAD
        stated = np.diag([run.noise**2, run.noise**2, (run.noise * run.roll_share) ** 2]) / ARCSEC_PER_RAD**2
        attitude = Attitude(c @ _rotation(shaken), stated)
        name = f"light-{number:04d}"
        yield SkyFrame(name, Utc(2461000.5, 0.0), attitude, CAMERA, 30, 0.4, SkyPosition(0.0, dec_deg)), start + t


def _held(c: FloatArray, wanted: FloatArray, axis: FloatArray, dither: FloatArray) -> FloatArray:
    """The attitude after small turns about both axes have brought the boresight to `wanted`, dithered."""
    hinge = _unit(np.cross(axis, c[:, 2]))
    for _ in range(2):
        slopes = np.stack([np.cross(axis, c[:, 2]), np.cross(hinge, c[:, 2])], axis=1)
        a, b = np.linalg.lstsq(slopes, wanted - c[:, 2], rcond=None)[0]
        c = rotation_about(axis, a) @ rotation_about(hinge, b) @ c
    a, b = dither / ARCSEC_PER_RAD
    return np.asarray(rotation_about(axis, a) @ rotation_about(hinge, b) @ c)


def sudden(at_s: float, rotation_arcsec: FloatArray) -> Motion:
    """A kick."""
    return lambda t: rotation_arcsec / ARCSEC_PER_RAD if t >= at_s else np.zeros(3)


def slow(at_s: float, arcsec_per_h: FloatArray) -> Motion:
    """A foot that begins to sink."""
    return lambda t: arcsec_per_h / ARCSEC_PER_RAD * max(t - at_s, 0.0) / 3600.0


def declination_axis(axis: FloatArray, hour_h: float, dec_deg: float) -> FloatArray:
    """d (3,) of a field at an hour angle."""
    s = star_enu(SITE, np.radians(15.0 * hour_h), np.radians(dec_deg))
    return np.cross(axis, _unit(s - (s @ axis) * axis))


def across_the_axis(axis: FloatArray, rng: np.random.Generator) -> FloatArray:
    """A unit vector square to the axis, in any direction: a rotation about it moves the axis by its full size."""
    v = rng.normal(size=3)
    return _unit(v - (v @ axis) * axis)


def _unit(v: FloatArray) -> FloatArray:
    return np.asarray(v / np.linalg.norm(v))


def _rotation(vector: FloatArray) -> FloatArray:
    size = float(np.linalg.norm(vector))
    return rotation_about(vector / size, size) if size > 0.0 else np.eye(3)
