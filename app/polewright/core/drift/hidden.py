"""What a drift cannot show and must be doubted for: slow wander, a base that creeps, a tube that bends, unknown air.

Each moves the stars of a field at some rate, as an axis error would; the rates of the fields are put through the same
least squares as the drift itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.covariance import Covariance, covariance_of
from polewright.core.drift.fit import WEAK_PRIOR_RAD
from polewright.core.drift.live import DriftProof, DriftResult, PositionDrift
from polewright.core.drift.rates import refraction_bias_rad, star_enu
from polewright.core.drift.red_noise import slope_growth
from polewright.core.flexure import Flexure
from polewright.core.model import FloatArray
from polewright.core.sky.places import pole_enu


def whole_covariance(proof: DriftProof, told: DriftResult, flexure: Flexure) -> Covariance:
    """Covariance (2, 2), rad^2, of (east, up): scatter and slow wander of the frames (`told` comes from
    `wandering`), the tube and the air."""
    return covariance_of(np.array(told.covariance_rad2) + _faked(proof, told.positions, flexure))


def wandering(result: DriftResult) -> DriftResult:
    """The same, its scatter grown by the slow wander that the frames show."""
    red = slope_growth([(np.array(p.at_s), np.array(p.dec_residual_rad)) for p in result.positions])
    more = max(red / result.inflation, 1.0)
    grown = covariance_of(np.array(result.covariance_rad2) * more)
    return replace(result, covariance_rad2=grown, inflation=result.inflation * more)


def _faked(proof: DriftProof, positions: Sequence[PositionDrift], flexure: Flexure) -> FloatArray:
    answers = [np.array([np.cos(p.hour_angle_rad), np.sin(p.hour_angle_rad)]) for p in positions]
    weights = [1.0 / max(p.sigma_rad_s / SIDEREAL_RATE_RAD_S, 1e-9) ** 2 for p in positions]
    normal = (
        sum(w * np.outer(h, h) for w, h in zip(weights, answers)) + np.eye(2) / WEAK_PRIOR_RAD**2
    )  # what one field leaves open stays where it is
    total = np.zeros((2, 2))
    for shares in _rates(proof, positions, flexure):
        moved = np.linalg.solve(normal, sum(w * h * share for w, h, share in zip(weights, answers, shares)))
        total += np.outer(moved, moved)
    return total


def _rates(proof: DriftProof, positions: Sequence[PositionDrift], flexure: Flexure) -> FloatArray:
    """Declination rate over the sidereal one of each field (3, K), for what sag, pull and air may be; what a rig has
    taught is not taken off the stars here, and counts as doubt."""
    places = [(p.hour_angle_rad, p.dec_p_rad) for p in positions]
    site, air = proof.site, proof.atmosphere
    sag = [np.hypot(flexure.sag_sigma_rad, flexure.sag_rad) * _sinking(proof, *place) for place in places]
    pull = [np.hypot(flexure.pull_sigma, flexure.pull)] * len(places)
    thick = [air.scale_sigma * refraction_bias_rad(site, air, *place, axis=proof.target) for place in places]
    return np.array([sag, pull, thick])


def _sinking(proof: DriftProof, hour_rad: float, dec_p_rad: float) -> float:
    """How fast declination falls per radian of the sky's turn in a tube that sags by 1 rad * cos(altitude)."""
    step = 0.01
    pole = pole_enu(proof.site, proof.atmosphere, proof.target)
    seen = star_enu(proof.site, np.array([hour_rad - step, hour_rad + step]), dec_p_rad)
    along = (pole[2] - seen[:, 2] * (seen @ pole)) / np.cos(dec_p_rad)
    return float(-(along[1] - along[0]) / (2.0 * step))
