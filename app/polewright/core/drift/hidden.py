"""What a drift cannot show and must be doubted for: slow wander, a base that creeps, a tube that bends, unknown air.

Each moves the stars of a field at some rate, as an axis error would; the rates of the fields are put through the same
least squares as the drift itself. What a rig has taught of its tube is taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.covariance import Covariance, covariance_of
from polewright.core.drift.fit import WEAK_PRIOR_RAD
from polewright.core.drift.live import DriftProof, DriftResult
from polewright.core.drift.rates import refraction_bias_rad, star_enu
from polewright.core.drift.red_noise import slope_growth
from polewright.core.flexure import Flexure
from polewright.core.model import FloatArray
from polewright.core.sky.places import hemisphere_sign, pole_enu


class Place(Protocol):
    """What a field is to the sums below: where, and how sure its rate is."""

    @property
    def hour_angle_rad(self) -> float: ...
    @property
    def dec_p_rad(self) -> float: ...
    @property
    def sigma_rad_s(self) -> float: ...


def whole_covariance(proof: DriftProof, told: DriftResult, flexure: Flexure) -> Covariance:
    """Covariance (2, 2), rad^2, of (east, up): scatter and slow wander of the frames (`told` comes from
    `wandering`), the tube and the air."""
    return covariance_of(np.array(told.covariance_rad2) + hidden_from_frames(proof, told.positions, flexure))


def wandering(result: DriftResult) -> DriftResult:
    """The same, its scatter grown by the slow wander that the frames show."""
    red = slope_growth([(np.array(p.at_s), np.array(p.dec_residual_rad)) for p in result.positions])
    more = max(red / result.inflation, 1.0)
    grown = covariance_of(np.array(result.covariance_rad2) * more)
    return replace(result, covariance_rad2=grown, inflation=result.inflation * more)


def without_taught(proof: DriftProof, result: DriftResult, flexure: Flexure) -> DriftResult:
    """The same, what the tube is known to give taken off the axis."""
    sag, pull, _ = _rates(proof, result.positions)
    east, up = _moved(result.positions, flexure.sag_rad * sag + flexure.pull * pull)
    return replace(result, east_rad=result.east_rad - float(east), up_rad=result.up_rad - float(up))


def hidden_from_frames(proof: DriftProof, positions: Sequence[Place], flexure: Flexure) -> FloatArray:
    """Covariance (2, 2), rad^2, of (east, up) by what tube and air may do in these fields."""
    sigmas = flexure.sag_sigma_rad, flexure.pull_sigma, proof.atmosphere.scale_sigma
    moves = [_moved(positions, sigma * rates) for sigma, rates in zip(sigmas, _rates(proof, positions))]
    return np.asarray(sum(np.outer(move, move) for move in moves))


def _moved(positions: Sequence[Place], rates: FloatArray) -> FloatArray:
    """Where (east, up) the least squares of a drift put the axis for `rates` (K,), declination lost per radian of the
    sky's turn in each field; what one field leaves open stays where it is."""
    answers = [np.array([np.cos(p.hour_angle_rad), np.sin(p.hour_angle_rad)]) for p in positions]
    weights = [1.0 / max(p.sigma_rad_s / SIDEREAL_RATE_RAD_S, 1e-9) ** 2 for p in positions]
    normal = sum(w * np.outer(h, h) for w, h in zip(weights, answers)) + np.eye(2) / WEAK_PRIOR_RAD**2
    return np.asarray(np.linalg.solve(normal, sum(w * h * rate for w, h, rate in zip(weights, answers, rates))))


def _rates(proof: DriftProof, positions: Sequence[Place]) -> FloatArray:
    """Declination lost per radian of the sky's turn in each field (3, K), by one radian of sag, a pull of one radian
    a radian, and by air thicker by the whole of it."""
    places = [(p.hour_angle_rad, p.dec_p_rad) for p in positions]
    site, air = proof.site, proof.atmosphere
    sag = [_sinking(proof, *place) for place in places]
    pull = [-hemisphere_sign(site)] * len(places)  # tracking turns left-handed about the northern pole
    thick = [refraction_bias_rad(site, air, *place, axis=proof.target) for place in places]
    return np.array([sag, pull, thick])


def _sinking(proof: DriftProof, hour_rad: float, dec_p_rad: float) -> float:
    """How fast declination falls per radian of the sky's turn in a tube that sags by 1 rad * cos(altitude)."""
    step = 0.01
    pole = pole_enu(proof.site, proof.atmosphere, proof.target)
    seen = star_enu(proof.site, np.array([hour_rad - step, hour_rad + step]), dec_p_rad)
    along = (pole[2] - seen[:, 2] * (seen @ pole)) / np.cos(dec_p_rad)
    return float(-(along[1] - along[0]) / (2.0 * step))
