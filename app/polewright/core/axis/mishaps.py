"""What can go wrong between the frames of a capture, as one or two more unknowns of the axis fit.

Each mishap says how it moves the residual C_i^T p - b of the frames it touches, and how to undo it exactly. A change
that stays is counted against the frames BEFORE it, so that axis and camera are always those of the present.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import rotation_about, unit
from polewright.core.axis.fit import AxisFit, chi2_survival, fit_axis
from polewright.core.axis_reasons import Mishap
from polewright.core.model import FloatArray

BoolArray = NDArray[np.bool_]
_ROUNDS = 5
_CONVERGED_RAD = 1e-9  # 2e-4 arcsec: mishaps are told to a tenth of a minute
_SLIP_NEEDS_DISTANCE_RAD = math.radians(0.5)  # nearer the axis, the direction of declination is not defined
_TURNED_RAD = math.radians(2.0)  # more than a drive turns between the frames of one place (chosen)
_LARGEST_SLIP_RAD = math.radians(20.0)
_LARGEST_KICK_RAD = math.radians(10.0)


@dataclass(frozen=True)
class Suspicion:
    """`mishap` at frame number `index`: only there, or from there on when it `stays` (SLIPS: up to there).

    `places`: for SLIPS, which place of the RA axis each frame was taken at.
    """

    mishap: Mishap
    index: int
    stays: bool
    places: tuple[int, ...] = ()

    @property
    def unknowns(self) -> int:
        if self.mishap is Mishap.SLIPS:
            return max(self.places)  # the declination of every place but the last is free: only roll is left
        return 2 if self.mishap in (Mishap.KICK, Mishap.ODD) else 1

    def touched(self, count: int) -> FloatArray:
        """(N,) 1.0 for the frames that deviate from the present (or from the rest), 0.0 for the others."""
        number = np.arange(count)
        return np.asarray((number < self.index) if self.stays else (number == self.index), dtype=float)


@dataclass(frozen=True, eq=False)
class Explanation:
    """A capture with one mishap undone: attitudes (M, 3, 3) that agree, the fit, and the size of the mishap.

    `kept` (N,) tells which frames are among them. `size_rad` is the slip or the kick, or the angle of the sky's turn
    that a wrong time stands for; its sign is that of the model.
    """

    suspicion: Suspicion
    attitudes: FloatArray
    covariances: FloatArray
    kept: BoolArray
    fit: AxisFit
    size_rad: float

    @property
    def probability(self) -> float:
        """Of a chi-square as large as this, with this mishap and nothing else wrong."""
        return float(chi2_survival(self.fit.chi2, self.fit.dof))

    @property
    def score(self) -> float:
        """Smaller is better: chi-square and a price for every unknown."""
        return float(self.fit.chi2 + 4.0 * self.suspicion.unknowns)


def places_of(attitudes: FloatArray) -> tuple[int, ...]:
    """The place of the RA axis that each frame (N, 3, 3) was taken at, counted from 0; the drive may run on."""
    steps = attitudes[1:] @ attitudes[:-1].transpose(0, 2, 1)
    turned = np.arccos(np.clip(0.5 * (np.trace(steps, axis1=1, axis2=2) - 1.0), -1.0, 1.0)) > _TURNED_RAD
    return (0, *np.cumsum(turned).tolist())


def possible_mishaps(places: Sequence[int]) -> list[Suspicion]:
    """Everything that is tried on a capture; a clutch slips while the RA axis is turned, not while it rests."""
    count = len(places)
    found = [repeated_slips(places)]
    for k in range(count):
        found += [Suspicion(Mishap.TIME, k, False), Suspicion(Mishap.ODD, k, False)]
        if k > 0 and places[k] != places[k - 1]:  # a slip after the first frame is one that stays
            found += [Suspicion(Mishap.SLIP, k, False), Suspicion(Mishap.SLIP, k, True)]
        if 2 <= k <= count - 2:
            found += [Suspicion(Mishap.KICK, k, True), Suspicion(Mishap.TIME, k, True)]
    return found


def repeated_slips(places: Sequence[int]) -> Suspicion:
    """The declination may be another at every place: what a loose clutch does."""
    return Suspicion(Mishap.SLIPS, len(places) - 1, True, tuple(places))


def explain(
    suspicion: Suspicion, attitudes: FloatArray, covariances: FloatArray, pole: FloatArray
) -> Explanation | None:
    """The capture refitted with this mishap; None where it cannot be told or is absurdly large."""
    touched = suspicion.touched(len(attitudes))
    if suspicion.mishap is Mishap.ODD:
        keep = touched < 0.5
        fit = fit_axis(attitudes[keep], covariances[keep], pole)
        return Explanation(suspicion, attitudes[keep], covariances[keep], keep, fit, 0.0)
    fit = fit_axis(attitudes, covariances, pole)
    mended, total = attitudes, np.zeros(suspicion.unknowns)
    for _ in range(_ROUNDS):
        slope = _slope(suspicion, mended, fit, pole, touched)
        if slope is None:
            return None
        before, fit = fit, fit_axis(mended, covariances, pole, slope)
        total = total + fit.extra
        if float(np.linalg.norm(total)) > _limit_rad(suspicion.mishap):
            return None
        mended = _undone(suspicion, mended, before, pole, fit.extra, touched)
        if float(np.linalg.norm(fit.extra)) < _CONVERGED_RAD:
            break
    return Explanation(
        suspicion, mended, covariances, np.ones(len(attitudes), dtype=bool), fit, _size(suspicion.mishap, total)
    )


def _size(mishap: Mishap, total: FloatArray) -> float:
    if mishap is Mishap.SLIPS:
        return float(np.ptp(np.append(total, 0.0)))
    return float(total[0]) if total.size == 1 else float(np.linalg.norm(total))


def _limit_rad(mishap: Mishap) -> float:
    return {Mishap.SLIP: _LARGEST_SLIP_RAD, Mishap.SLIPS: _LARGEST_SLIP_RAD, Mishap.KICK: _LARGEST_KICK_RAD}.get(
        mishap, math.pi
    )


def _slope(
    suspicion: Suspicion, attitudes: FloatArray, fit: AxisFit, pole: FloatArray, touched: FloatArray
) -> FloatArray | None:
    """How the unknowns of the mishap move C_i^T p - b, (N, 3, K) in camera axes; None when they do not."""
    to_camera = attitudes.transpose(0, 2, 1)
    b = fit.axis_in_camera
    if suspicion.mishap in (Mishap.SLIP, Mishap.SLIPS):
        if np.hypot(b[0], b[1]) < np.sin(_SLIP_NEEDS_DISTANCE_RAD):
            return None
        once = -np.cross(declination_axis(b), b)
        if suspicion.mishap is Mishap.SLIPS:
            return np.asarray(_at_places(suspicion)[:, None, :] * once[:, None])
        moved = np.tile(once, (len(attitudes), 1))[:, :, None]
    elif suspicion.mishap is Mishap.TIME:
        moved = -(to_camera @ np.cross(pole, fit.axis_enu))[:, :, None]
        if float(np.linalg.norm(moved[0])) < 1e-5:  # an axis within 2" of the pole shows no clock error
            return None
    else:
        moved = -to_camera @ fit.enu_basis
    return np.asarray(moved * touched[:, None, None])


def _undone(
    suspicion: Suspicion, attitudes: FloatArray, fit: AxisFit, pole: FloatArray, step: FloatArray, touched: FloatArray
) -> FloatArray:
    """The attitudes with the mishap taken back by `step`, exactly, where it touched them."""
    if suspicion.mishap is Mishap.SLIPS:
        axis = declination_axis(fit.axis_in_camera)
        mended = attitudes @ np.stack([rotation_about(axis, -float(a)) for a in _at_places(suspicion) @ step])
    elif suspicion.mishap is Mishap.SLIP:
        mended = attitudes @ rotation_about(declination_axis(fit.axis_in_camera), -float(step[0]))
    elif suspicion.mishap is Mishap.TIME:
        mended = rotation_about(pole, -float(step[0])) @ attitudes
    else:
        turn = np.cross(fit.enu_basis @ step, fit.axis_enu)
        angle = float(np.linalg.norm(turn))
        mended = rotation_about(turn / angle, angle) @ attitudes if angle > 0.0 else attitudes
    return np.where(touched[:, None, None] > 0.5, mended, attitudes)


def _at_places(suspicion: Suspicion) -> FloatArray:
    """(N, K): 1 where a frame was taken at a place whose slip is unknown."""
    return np.equal.outer(suspicion.places, np.arange(suspicion.unknowns)).astype(float)


def declination_axis(axis_in_camera: FloatArray) -> FloatArray:
    """Unit vector (3,), camera axes, about which the boresight turns away from the mount axis (no cone error)."""
    return unit(np.array([axis_in_camera[1], -axis_in_camera[0], 0.0]))
