"""How much the mount shook between the frames of a capture, as far as they show it: wind, a hand, a settling tripod.

Every frame is turned by its own small turn, of sigma s about each axis. Frames say how likely every s is (restricted
likelihood: what the fit used up of them is not counted twice), and before them a mean size is supposed. Three frames
leave two numbers to judge by, which a gust may happen to hide: the mean of s^2 over all that is still likely is large
then, and becomes what they show when there are more.

Decided 2026-11-30. Captures of three frames stay too careful. Of 1000 of tests/bench/budget_coverage.py --pixels
--weather 988 lie inside 95 % (958 without all that settles); three frames that agree are as likely of a calm mount as
of a lucky storm, and whoever spares the first pays for the second. Tried on the frames of those 1000, and on 200 in
wind of 18", the worst of which lies 3.8 sigmas off: with what places count already taken off, 987 and 4.0; with a
prior of a calm mount and one storm in thirty as well, 977 and 5.7; or with half of the tail (Student, 2 degrees of
freedom), 980 and 5.3. None gains at both ends.
"""

from __future__ import annotations

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis.fit import AxisFit, cross_matrix
from polewright.core.model import FloatArray

# Of a mount left alone, and as often more as less. Chosen: with 3 frames of 0.1 to 0.3 px in wind of 6" the truth
# lies inside the whole 95 % in 97 % of captures; without wind this part is 6 to 10", with two frames a place 2".
USUAL_RAD = 0.5 / ARCSEC_PER_RAD
SIZES_RAD = np.geomspace(0.1, 400.0, 34) / ARCSEC_PER_RAD  # chosen: from nothing to a kick


def scatter_rad2(fit: AxisFit, covariances: FloatArray) -> float:
    """Mean of s^2, rad^2, over what N frames with star noise (N, 3, 3) leave likely about their fit."""
    noise = fit.camera_basis.T @ cross_matrix(fit.axis_in_camera)
    stars, shake = noise @ covariances @ noise.T, noise @ noise.T
    likelihood = np.array([_log_likelihood(stars + s**2 * shake, fit.slope, fit.residual) for s in SIZES_RAD])
    weight = np.exp(likelihood - likelihood.max()) * _prior(SIZES_RAD)
    return float(np.sum(weight * SIZES_RAD**2) / np.sum(weight))


def _prior(sizes_rad: FloatArray) -> FloatArray:
    """Half-Cauchy density about nothing, times the step of the logarithmic grid."""
    return np.asarray(sizes_rad / (1.0 + np.square(sizes_rad / USUAL_RAD)))


def _log_likelihood(covariance: FloatArray, slope: FloatArray, residual: FloatArray) -> float:
    weight = np.linalg.inv(covariance)
    weighted = slope.transpose(0, 2, 1) @ weight
    normal = (weighted @ slope).sum(axis=0)
    pull = (weighted @ residual[:, :, None]).sum(axis=0)[:, 0]
    chi2 = np.einsum("ni,nij,nj->", residual, weight, residual) - pull @ np.linalg.solve(normal, pull)
    volume = np.linalg.slogdet(covariance)[1].sum() + np.linalg.slogdet(normal)[1]
    return float(-0.5 * (volume + chi2))
