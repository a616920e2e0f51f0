"""The stretch of sky that is chosen for turning, against ERFA's horizon and a search of every other stretch."""

from __future__ import annotations

import itertools
import math

import erfa
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polewright.core.model import Site
from polewright.core.plan import sky_choice
from polewright.core.plan.sky_choice import Obstacle, SkyChoice, SkySpot, choose_sky, screw_factor, three_frame_factor

PLACES = [Site(52.0, 3.0), Site(-33.9, 18.4), Site(5.0, 100.0), Site(69.0, 20.0)]
HOUSE = (Obstacle(120.0, 200.0, 55.0), Obstacle(330.0, 20.0, 50.0))


def horizon_deg(site: Site, hour_h: float, dec_deg: float) -> tuple[float, float]:
    """(altitude, azimuth) by ERFA; declination positive to the north."""
    azimuth, altitude = erfa.hd2ae(*np.radians([15.0 * hour_h, dec_deg, site.lat_deg]))
    return math.degrees(altitude), math.degrees(azimuth) % 360.0


def is_free(site: Site, hour_h: float, dec_deg: float, obstacles: tuple[Obstacle, ...]) -> bool:
    altitude, azimuth = horizon_deg(site, hour_h, dec_deg)
    hidden = [
        altitude < o.below_altitude_deg
        and (
            o.from_azimuth_deg <= azimuth <= o.to_azimuth_deg
            if o.from_azimuth_deg < o.to_azimuth_deg
            else azimuth >= o.from_azimuth_deg or azimuth <= o.to_azimuth_deg
        )
        for o in obstacles
    ]
    return altitude >= 25.0 and not any(hidden)


def spots(choice: SkyChoice) -> tuple[SkySpot, ...]:
    return choice.first, choice.adjust, choice.last


@pytest.mark.parametrize("obstacles", [(), HOUSE], ids=["open", "house"])
@pytest.mark.parametrize("site", PLACES, ids=lambda site: f"{site.lat_deg:.0f}")
def test_the_whole_stretch_is_up_and_free_and_where_it_says(site: Site, obstacles: tuple[Obstacle, ...]) -> None:
    choices = choose_sky(site, obstacles)
    assert choices
    for choice in choices:
        first, adjust, last = spots(choice)
        assert first.declination_deg == adjust.declination_deg == last.declination_deg
        for spot in spots(choice):
            altitude, azimuth = horizon_deg(site, spot.hour_angle_h, spot.declination_deg)
            assert spot.altitude_deg == pytest.approx(altitude, abs=1e-4)
            assert math.remainder(spot.azimuth_deg - azimuth, 360.0) == pytest.approx(0.0, abs=1e-4)
        assert first.hour_angle_h <= adjust.hour_angle_h <= last.hour_angle_h, "always turned westward"
        assert choice.span_deg == pytest.approx(15.0 * (last.hour_angle_h - first.hour_angle_h), abs=1e-4)
        assert 15.0 <= choice.span_deg <= 90.0 + 1e-6
        outward = -1.0 if choice.side == "east" else 1.0
        assert -0.5 - 1e-6 <= outward * first.hour_angle_h <= 6.5 + 1e-6
        assert -0.5 - 1e-6 <= outward * last.hour_angle_h <= 6.5 + 1e-6
        for hour in np.arange(first.hour_angle_h, last.hour_angle_h + 1e-6, 1.0 / 6.0):
            assert is_free(site, float(hour), first.declination_deg, obstacles)


def test_the_longest_stretch_of_any_pattern_is_found() -> None:
    """Against itertools, over every pattern of nine."""
    for pattern in itertools.product((False, True), repeat=9):
        runs, at = [], 0
        for good, members in itertools.groupby(pattern):
            length = len(list(members))
            runs += [(length, -at)] if good else []
            at += length
        wanted = None if not runs else (-max(runs)[1], -max(runs)[1] + max(runs)[0] - 1)
        assert sky_choice._longest_run(np.array(pattern)) == wanted


@pytest.mark.parametrize("site", PLACES, ids=lambda site: f"{site.lat_deg:.0f}")
def test_the_screws_are_watched_where_one_frame_tells_most_of_them(site: Site) -> None:
    """The factor again from a camera that the base really turns: rotations by scipy, least squares by numpy."""
    for azimuth, altitude in ((30.0, 40.0), (140.0, 55.0), (200.0, 30.0), (325.0, 65.0)):
        toward_pole = 0.0 if site.lat_deg >= 0.0 else 180.0
        b, h = np.radians(azimuth), np.radians(altitude)
        look = np.array([math.sin(b) * math.cos(h), math.cos(b) * math.cos(h), math.sin(h)])
        right = np.array([math.cos(b), -math.sin(b), 0.0])
        camera = np.stack([right, np.cross(look, right), look], axis=1)
        pole = np.radians(toward_pole)
        tilt_axis = np.array([math.cos(pole), -math.sin(pole), 0.0])
        moved = []
        for axis in (np.array([0.0, 0.0, -1.0]), tilt_axis):  # a turn of azimuth, of altitude
            step = (camera.T @ Rotation.from_rotvec(1e-6 * axis).as_matrix() @ camera - np.eye(3)) / 1e-6
            moved.append([step[0, 2], step[1, 2], step[1, 0] / 70.0])
        design = np.array(moved).T
        covariance = np.linalg.inv(design.T @ design)
        share = math.cos(math.radians(site.lat_deg))
        total = math.sqrt(covariance[0, 0] * share**2 + covariance[1, 1])
        assert float(screw_factor(altitude, azimuth, site)) == pytest.approx(total, rel=1e-4)


@pytest.mark.parametrize("site", PLACES[:2], ids=lambda site: f"{site.lat_deg:.0f}")
def test_no_other_declination_serves_better(site: Site) -> None:
    """Every declination of the search with the same stretch of hours, free or not: none that is free wins."""
    for choice in choose_sky(site):
        first, last = choice.first, choice.last
        chosen = math.hypot(choice.axis_factor, choice.screw_factor)
        toward_pole = -1.0 if site.lat_deg < 0.0 else 1.0
        for dec in np.arange(-30.0, 86.0, 5.0):
            hours = np.linspace(first.hour_angle_h, last.hour_angle_h, 37)
            places = np.array([horizon_deg(site, float(hour), toward_pole * float(dec)) for hour in hours])
            if np.min(places[:, 0]) < 25.0:
                continue
            air = (1.0 / np.mean(np.sin(np.radians(places[:, 0])))) ** 0.6
            axis = air * three_frame_factor(math.radians(choice.span_deg), math.radians(90.0 - float(dec)))
            screws = float(np.min(screw_factor(places[:, 0], places[:, 1], site)))
            near_the_pole = dec > 60.0 >= abs(first.declination_deg)  # where a hand misses the hour angle
            assert chosen <= math.hypot(axis, screws) * (1.51 if near_the_pole else 1.01)
