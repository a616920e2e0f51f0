"""Where to point tonight: a stretch of sky for turning the RA axis, and a place to watch the screws from.

Declination stays untouched from the capture to the end, so both are chosen together: the same declination must offer
60 to 90 degrees of hour angle above the horizon, free of obstacles and on one side of the meridian (a flip of the
mount would turn the camera over), and a place where both screws move the field well. Hour angle is positive westward.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, Site

BoolArray = NDArray[np.bool_]

LOWEST_DEG = 25.0  # chosen: refraction there is 2', and its doubt a few arcseconds
# of hour angle (chosen): a longer stretch is cut at its lower end; the smaller one is told as too little
WANTED_SPAN_DEG, USEFUL_SPAN_DEG = 90.0, 60.0
ROLL_TO_POINTING = 70.0  # roll is this much less sure than pointing in a guide scope's field of two degrees
PAST_MERIDIAN_H = 0.5  # tracked past the meridian before a flip (common practice, no source)
HIGHEST_DEG = 60.0  # of declination, where it will do: nearer to the pole a hand misses the hour angle (chosen)
# times as sure (chosen): up to the pole it is 1.27 at most where the sky is free, 3 and more behind a house
WORTH_HIGHER = 1.5
STEP_H = 1.0 / 6.0  # ten minutes of hour angle: the step of the search, nothing else


@dataclass(frozen=True)
class Obstacle:
    """Between two azimuths (clockwise from the first, degrees) nothing is seen below the altitude."""

    from_azimuth_deg: float
    to_azimuth_deg: float
    below_altitude_deg: float = 90.0


@dataclass(frozen=True)
class SkySpot:
    """One place to point to."""

    hour_angle_h: float
    declination_deg: float
    altitude_deg: float
    azimuth_deg: float


@dataclass(frozen=True)
class SkyChoice:
    """A stretch on one side of the meridian: from where to where, and from where to watch the screws.

    `axis_factor`, `screw_factor`: sigma of the axis from three frames over the stretch, and of a later reading,
    in units of one frame's pointing error.
    """

    side: str  # "east" or "west"
    first: SkySpot
    last: SkySpot
    span_deg: float
    adjust: SkySpot
    axis_factor: float
    screw_factor: float


def choose_sky(
    site: Site, obstacles: Sequence[Obstacle] = (), lowest_deg: float = LOWEST_DEG
) -> tuple[SkyChoice, ...]:
    """The best stretch east and west of the meridian, the better one first; empty when no sky is free at all."""
    found = [c for side in ("east", "west") if (c := _best_on(site, side, obstacles, lowest_deg)) is not None]
    return tuple(sorted(found, key=_doubt))


def _best_on(site: Site, side: str, obstacles: Sequence[Obstacle], lowest_deg: float) -> SkyChoice | None:
    """The surest one; near the pole only where nothing lower comes near it."""
    each = (_stretch(site, side, float(dec), obstacles, lowest_deg) for dec in np.arange(-30.0, 86.0, 5.0))
    found = [choice for choice in each if choice is not None]
    lower = [choice for choice in found if abs(choice.first.declination_deg) <= HIGHEST_DEG]
    best, usual = min(found, key=_doubt, default=None), min(lower, key=_doubt, default=None)
    if best is None or usual is None:
        return best
    return usual if _doubt(usual) <= WORTH_HIGHER * _doubt(best) else best


def _doubt(choice: SkyChoice) -> float:
    """Of the axis and of a later reading together."""
    return math.hypot(choice.axis_factor, choice.screw_factor)


def _stretch(
    site: Site, side: str, dec_p_deg: float, obstacles: Sequence[Obstacle], lowest_deg: float
) -> SkyChoice | None:
    """The longest free run of hour angles at one declination (counted toward the elevated pole)."""
    inner = -PAST_MERIDIAN_H
    hours = np.arange(inner, 6.5 + 1e-9, STEP_H) * (-1.0 if side == "east" else 1.0)
    altitude, azimuth = horizontal_deg(site, hours, dec_p_deg)
    free = altitude >= lowest_deg
    for obstacle in obstacles:
        free &= ~behind(obstacle, altitude, azimuth)
    run = _longest_run(free)
    if run is None:
        return None
    first, last = run
    # no longer than wanted: keep the end nearest the meridian, where the air is thinnest
    last = min(last, first + math.ceil(WANTED_SPAN_DEG / (15.0 * STEP_H)))
    span = 15.0 * abs(float(hours[last] - hours[first]))
    if span < 15.0:
        return None
    air = 1.0 / float(np.mean(np.sin(np.radians(altitude[first : last + 1]))))
    factor = three_frame_factor(math.radians(span), math.radians(90.0 - dec_p_deg)) * air**0.6
    watch = screw_factor(altitude[first : last + 1], azimuth[first : last + 1], site)
    pick = first + int(np.argmin(watch))
    sign = -1.0 if site.lat_deg < 0.0 else 1.0

    def spot(index: int) -> SkySpot:
        return SkySpot(round(float(hours[index]), 6), sign * dec_p_deg, float(altitude[index]), float(azimuth[index]))

    ends = (last, first) if side == "east" else (first, last)  # always turned westward, as the sky goes
    return SkyChoice(
        side,
        spot(ends[0]),
        spot(ends[1]),
        span,
        spot(pick),
        factor,
        float(np.min(watch)),
    )


def horizontal_deg(site: Site, hour_angle_h: FloatArray, dec_p_deg: float) -> tuple[FloatArray, FloatArray]:
    """(altitude, azimuth) in degrees, without refraction; declination counted toward the elevated pole."""
    side = -1.0 if site.lat_deg < 0.0 else 1.0
    phi, dec = math.radians(abs(site.lat_deg)), math.radians(dec_p_deg)
    hour = np.radians(15.0 * np.asarray(hour_angle_h, dtype=float))
    up = math.sin(phi) * math.sin(dec) + math.cos(phi) * math.cos(dec) * np.cos(hour)
    toward_pole = math.cos(phi) * math.sin(dec) - math.sin(phi) * math.cos(dec) * np.cos(hour)
    east = -math.cos(dec) * np.sin(hour)
    altitude = np.degrees(np.arctan2(up, np.hypot(toward_pole, east)))
    return np.asarray(altitude), np.asarray(np.degrees(np.arctan2(east, side * toward_pole)) % 360.0)


def three_frame_factor(span_rad: float, from_axis_rad: float, roll_ratio: float = ROLL_TO_POINTING) -> float:
    """Total sigma of the axis from three equal steps over a span, in units of the pointing error of one frame.

    Exact to first order: F = S_R / (cos^2 rho + k^2 sin^2 rho) + S_T, with the scatter matrices of (cos, sin) and
    (-sin, cos) of the angles; the total is the root of the trace of its inverse.
    """
    angle = np.array([-0.5, 0.0, 0.5]) * span_rad
    return axis_factor(angle, from_axis_rad, roll_ratio)


def axis_factor(angle_rad: FloatArray, from_axis_rad: float, roll_ratio: float = ROLL_TO_POINTING) -> float:
    """The same for any set of angles about the axis."""
    radial = np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=1)
    tangential = np.stack([-np.sin(angle_rad), np.cos(angle_rad)], axis=1)
    radial, tangential = radial - radial.mean(axis=0), tangential - tangential.mean(axis=0)
    variance = math.cos(from_axis_rad) ** 2 + (roll_ratio * math.sin(from_axis_rad)) ** 2
    information = radial.T @ radial / variance + tangential.T @ tangential
    return float(np.sqrt(np.trace(np.linalg.inv(information))))


def screw_factor(
    altitude_deg: FloatArray | float,
    azimuth_deg: FloatArray | float,
    site: Site,
    roll_ratio: float = ROLL_TO_POINTING,
) -> FloatArray:
    """Total sigma of (azimuth on the sky, altitude) read off one frame there, in units of its pointing error.

    With B the azimuth from the axis: an azimuth turn moves the field by (cos h, 0) and rolls it by -sin h, an
    altitude turn by (sin h sin B, cos B) and rolls it by cos h sin B. Weak near the zenith and due east or west.
    """
    h = np.radians(np.asarray(altitude_deg, dtype=float))
    b = np.radians(np.asarray(azimuth_deg, dtype=float) - (180.0 if site.lat_deg < 0.0 else 0.0))
    roll = 1.0 / roll_ratio**2
    first = np.cos(h) ** 2 + np.sin(h) ** 2 * roll
    cross = np.cos(h) * np.sin(h) * np.sin(b) * (1.0 - roll)
    second = np.sin(h) ** 2 * np.sin(b) ** 2 + np.cos(b) ** 2 + np.cos(h) ** 2 * np.sin(b) ** 2 * roll
    shrink = math.cos(math.radians(site.lat_deg)) ** 2
    return np.asarray(np.sqrt((second * shrink + first) / (first * second - cross**2)))


def behind(obstacle: Obstacle, altitude_deg: FloatArray, azimuth_deg: FloatArray) -> BoolArray:
    """Which of these directions the obstacle hides."""
    width = (obstacle.to_azimuth_deg - obstacle.from_azimuth_deg) % 360.0
    within = (azimuth_deg - obstacle.from_azimuth_deg) % 360.0 <= width
    return np.asarray(within & (altitude_deg < obstacle.below_altitude_deg))


def _longest_run(free: BoolArray) -> tuple[int, int] | None:
    """First and last index of the longest stretch of True."""
    best: tuple[int, int] | None = None
    start: int | None = None
    for index, good in enumerate([*free.tolist(), False]):
        if good and start is None:
            start = index
        if not good and start is not None:
            if best is None or index - 1 - start > best[1] - best[0]:
                best = (start, index - 1)
            start = None
    return best
