"""Readings of the axis at rest, judged by tables of chi-square: what is a motion, and how sure the mean is."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.distance import mahalanobis

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.night.rest import DRIFT_CHI2, MOVED_CHI2, Reading, Rest, add_reading, own_sigmas_rad, rest_offset
from polewright.core.offset import Covariance, covariance_of

SHARED = np.array([[90.0, 20.0], [20.0, 60.0]])  # arcsec^2: what the capture left open
OWN = np.array([[9.0, -5.0], [-5.0, 4.0]])
WAYS = [np.array(way, dtype=float) for way in itertools.product((-1, 0, 1), repeat=2) if any(way)]


def covariance(arcsec2: np.ndarray) -> Covariance:
    return covariance_of(arcsec2 / ARCSEC_PER_RAD**2)


def reading(at_s: float, place: np.ndarray, own: np.ndarray = OWN) -> Reading:
    east, up = (float(x) for x in place / ARCSEC_PER_RAD)
    return Reading(at_s, east, up, covariance(SHARED + own))


def resting(*places: np.ndarray) -> Rest:
    return Rest(tuple(reading(float(n), place) for n, place in enumerate(places)))


def place_at(chi2: float, way: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """So many squared sigmas away, by scipy."""
    return np.asarray(way * math.sqrt(chi2) / mahalanobis(way, np.zeros(2), np.linalg.inv(spread)))


def test_the_limits_are_those_of_two_degrees_of_freedom() -> None:
    assert stats.chi2.sf(DRIFT_CHI2, 2) == pytest.approx(0.01, rel=0.01)
    assert stats.chi2.sf(MOVED_CHI2, 2) == pytest.approx(4e-6, rel=0.1)


@pytest.mark.parametrize("way", WAYS, ids=str)
def test_a_motion_is_told_by_its_sigmas_whatever_its_way(way: np.ndarray) -> None:
    """The noise leans: 3.6 times as sure along one diagonal as along the other."""
    rest, spread = resting(np.zeros(2)), 2.0 * OWN  # one reading against one
    for chi2, moved in ((24.5, False), (25.5, True)):
        after, told = add_reading(rest, reading(9.0, place_at(chi2, way, spread)), covariance(SHARED))
        assert told is moved and len(after.readings) == (1 if moved else 2)


@pytest.mark.parametrize("way", WAYS, ids=str)
def test_readings_that_hardly_agree_are_let_go_but_for_the_last(way: np.ndarray) -> None:
    rest, spread = resting(*np.zeros((3, 2))), OWN + OWN / 3.0
    for chi2, kept in ((9.0, 4), (9.4, 2)):
        after, told = add_reading(rest, reading(9.0, place_at(chi2, way, spread)), covariance(SHARED))
        assert not told and len(after.readings) == kept
        assert after.readings[-2:] == (rest.readings[-1], after.readings[-1])


def test_the_first_reading_is_no_motion() -> None:
    assert add_reading(Rest(), reading(0.0, np.zeros(2)), covariance(SHARED)) == (resting(np.zeros(2)), False)


def test_the_mean_has_what_is_common_and_its_share_of_what_is_not() -> None:
    places = np.array([[3.0, -1.0], [4.0, 1.0], [5.0, -3.0]])
    mean = rest_offset(resting(*places), covariance(SHARED))
    assert mean is not None
    assert np.array([mean.east_rad, mean.up_rad]) * ARCSEC_PER_RAD == pytest.approx(places.mean(axis=0))
    assert np.array(mean.covariance_rad2) * ARCSEC_PER_RAD**2 == pytest.approx(SHARED + OWN / 3.0)


def test_from_four_readings_on_their_scatter_counts_where_it_is_larger() -> None:
    places = np.array([[0.0, 0.0], [20.0, 0.1], [-20.0, -0.1], [8.0, 0.0]])
    sigmas = np.array(own_sigmas_rad(resting(*places), covariance(SHARED))) * ARCSEC_PER_RAD
    assert sigmas == pytest.approx([stats.sem(places[:, 0]), 2.0 / math.sqrt(4.0)])
    three = np.array(own_sigmas_rad(resting(*places[:3]), covariance(SHARED))) * ARCSEC_PER_RAD
    assert three == pytest.approx([3.0 / math.sqrt(3.0), 2.0 / math.sqrt(3.0)])


@pytest.mark.parametrize("lean", [-1.0, 1.0])
def test_a_noise_below_the_floor_is_an_arcsecond_and_leans_no_more_than_it_can(lean: float) -> None:
    own = np.array([[0.25, 2.0 * lean], [2.0 * lean, 0.25]])
    rest = Rest((reading(0.0, np.zeros(2), own),))
    mean = rest_offset(rest, covariance(SHARED))
    assert mean is not None
    left = np.array(mean.covariance_rad2) * ARCSEC_PER_RAD**2 - SHARED
    assert left == pytest.approx(np.array([[1.0, 0.95 * lean], [0.95 * lean, 1.0]]))
