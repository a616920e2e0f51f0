"""The error budget of a capture: every nuisance turns the frames a little, and the axis is asked where it goes.

The fit is linear in turns of arcseconds: how far the axis goes for a turn of one frame is one matrix, and with it
every part is a product. Star noise and shaking turn each frame by itself, the nuisances of core/axis/nuisances.py all
of them together; what a frame is off by whose stars placed others turns it and those others together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.axis.fit import AxisFit, cross_matrix
from polewright.core.axis.mishaps import places_of
from polewright.core.axis.nuisances import (
    ANOMALOUS_RAD,
    LATE_EACH_S,
    PLACE_RAD,
    Geometry,
    late_turn,
    pole_lift_rad,
    sigmas,
    turns,
)
from polewright.core.axis.scatter import scatter_rad2
from polewright.core.axis.suspects import Verdict
from polewright.core.bending import bending_pair
from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.covariance import covariance_of, nearest_covariance
from polewright.core.flexure import Flexure
from polewright.core.model import Atmosphere, AxisEstimate, FloatArray, SkyFrame, SkyPosition, TargetPole
from polewright.core.sky.places import east_and_up


@dataclass(frozen=True, eq=False)
class Response:
    """(N, 2, 3): how (east, up) of the axis, rad, follows a small turn of each frame in ENU, rad."""

    per_frame: FloatArray

    @classmethod
    def of(cls, fit: AxisFit, attitudes: FloatArray, directions: FloatArray) -> Response:
        """Of a fit to `attitudes` (N, 3, 3), along `directions` (2, 3): C^T p - b moves by C^T (p x turn)."""
        moves = fit.camera_basis.T @ attitudes.transpose(0, 2, 1) @ cross_matrix(fit.axis_enu)
        return cls(np.asarray(directions @ fit.enu_basis @ fit.gain[:, :2] @ moves))

    def of_places(self, attitudes: FloatArray) -> Response:
        """The same for a turn that all frames of one place of the RA axis share."""
        places = np.array(places_of(attitudes))
        return Response(np.stack([self.per_frame[places == k].sum(axis=0) for k in range(int(places[-1]) + 1)]))

    def together(self, turn: FloatArray) -> FloatArray:
        """(2,): where the axis goes when every frame is turned by its row of `turn` (N, 3)."""
        return np.asarray(np.einsum("nij,nj->i", self.per_frame, turn))

    def each(self, covariance: FloatArray) -> FloatArray:
        """(2, 2): covariance of the axis when frames are turned each by itself, with (3, 3) or (N, 3, 3), rad^2."""
        return np.asarray((self.per_frame @ covariance @ self.per_frame.transpose(0, 2, 1)).sum(axis=0))


def capture_budget(
    verdict: Verdict, frames: Sequence[SkyFrame], estimate: AxisEstimate, atmosphere: Atmosphere, flexure: Flexure
) -> Budget:
    """All parts of the error of `estimate`, which rests on `verdict` over these (kept) `frames`."""
    fit, attitudes = verdict.fit, verdict.attitudes
    seconds = np.array([frame.utc_mid.seconds_since(frames[0].utc_mid) for frame in frames])
    geometry = Geometry(attitudes, seconds, fit.axis_enu, fit.axis_in_camera, estimate.site, atmosphere)
    directions = east_and_up(estimate.target_enu, estimate.site)
    response = Response.of(fit, attitudes, directions)
    chances = _chances(verdict, response, directions, frames) | _unseen_chances(response, geometry)
    columns = _columns(response, geometry, estimate.target, flexure)
    return Budget(tuple(Chance(part, covariance_of(c)) for part, c in chances.items()), columns)


def _chances(
    verdict: Verdict, response: Response, directions: FloatArray, frames: Sequence[SkyFrame]
) -> dict[Part, FloatArray]:
    """Star noise, and what shakes; frames that contradict each other without a clear reason add what was widened."""
    own = np.stack([frame.attitude_enu.covariance_rad2 for frame in frames])
    told = directions @ verdict.fit.axis_covariance_enu @ directions.T
    unexplained = told - response.each(_in_enu(verdict, verdict.covariances))
    shaking = response.each(np.eye(3) * scatter_rad2(verdict.fit, own))
    stars = _by_stars(response, _in_enu(verdict, own), _lent(verdict, frames), frames)
    return {Part.STARS: stars, Part.SETTLING: shaking + unexplained}


def _lent(verdict: Verdict, frames: Sequence[SkyFrame]) -> dict[SkyPosition, FloatArray]:
    """The error (3, 3) of every anchor, rad^2 in ENU, as the first frame inherited it; the sky turns it by a few
    degrees during a capture, which is left out."""
    found: dict[SkyPosition, FloatArray] = {}
    for frame, attitude in zip(frames, verdict.attitudes):
        if frame.anchor is not None and frame.inherited_rad2 is not None:
            found.setdefault(frame.anchor, np.asarray(attitude @ frame.inherited_rad2 @ attitude.T))
    return found


def _by_stars(
    response: Response, own: FloatArray, lent: Mapping[SkyPosition, FloatArray], frames: Sequence[SkyFrame]
) -> FloatArray:
    """Star noise of frames with `own` (N, 3, 3) in ENU; the error of an anchor turns all that it placed together."""
    common = np.zeros((2, 2))
    for anchor, error in lent.items():
        members = [i for i, frame in enumerate(frames) if anchor in (frame.anchor, frame.centre)]
        moves = response.per_frame[members].sum(axis=0)
        common += moves @ error @ moves.T
        own[members] = nearest_covariance(own[members] - error)
    return np.asarray(common + response.each(own))


def _unseen_chances(response: Response, geometry: Geometry) -> dict[Part, FloatArray]:
    late = late_turn(geometry.site) * LATE_EACH_S
    air = response.each(np.eye(3) * ANOMALOUS_RAD**2)
    places = response.of_places(geometry.attitudes).each(np.eye(3) * PLACE_RAD**2)
    return {Part.AIR: air, Part.DRIVE: places + response.each(np.outer(late, late))}


def _in_enu(verdict: Verdict, covariances: FloatArray) -> FloatArray:
    """Covariances (N, 3, 3) of attitudes, from camera axes."""
    return np.asarray(verdict.attitudes @ covariances @ verdict.attitudes.transpose(0, 2, 1))


def _columns(response: Response, geometry: Geometry, target: TargetPole, flexure: Flexure) -> tuple[Column, ...]:
    sigma = sigmas(geometry.atmosphere)
    lift = pole_lift_rad(geometry.site, geometry.atmosphere, target)
    found, turn = [], turns(geometry)
    for nuisance, size in sigma.items():
        east, up = response.together(turn[nuisance])
        found.append(Column(nuisance, float(east), float(up) + lift.get(nuisance, 0.0), size))
    bends = np.stack([response.together(turn[name]) for name in (Nuisance.SAG, Nuisance.PULL)], axis=1)
    return (*found, *bending_pair(bends, flexure))
