"""What the engine measured, as plain frozen values: exact in a log, comparable, free of arrays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polewright.core.axis_reasons import AxisDoubt, FollowDoubt
from polewright.core.budget import Budget
from polewright.core.model import Attitude, AxisEstimate, Camera, FloatArray, Matrix, SkyFrame, SkyPosition, Utc
from polewright.core.offset import Covariance, covariance_of


@dataclass(frozen=True)
class PlacedFrame:
    """A solved frame: a SkyFrame with tuples in place of arrays. Frame of reference and units as there."""

    name: str
    utc_mid: Utc
    camera_to_enu: Matrix
    covariance_rad2: Matrix
    camera: Camera
    stars_matched: int
    rms_arcsec: float
    centre: SkyPosition
    inherited_rad2: Matrix | None = None
    anchor: SkyPosition | None = None

    @classmethod
    def of(cls, frame: SkyFrame) -> PlacedFrame:
        """The same, from a SkyFrame."""
        return cls(
            frame.name,
            frame.utc_mid,
            _matrix(frame.attitude_enu.camera_to_sky),
            _matrix(frame.attitude_enu.covariance_rad2),
            frame.camera,
            frame.stars_matched,
            frame.rms_arcsec,
            frame.centre,
            None if frame.inherited_rad2 is None else _matrix(frame.inherited_rad2),
            frame.anchor,
        )

    @property
    def boresight(self) -> FloatArray:
        """Unit vector (3,), ENU, of the middle of the frame."""
        return np.array([row[2] for row in self.camera_to_enu])

    def sky_frame(self) -> SkyFrame:
        """The same, as the axis estimator takes it."""
        attitude = Attitude(np.array(self.camera_to_enu), np.array(self.covariance_rad2))
        return SkyFrame(
            self.name,
            self.utc_mid,
            attitude,
            self.camera,
            self.stars_matched,
            self.rms_arcsec,
            self.centre,
            None if self.inherited_rad2 is None else np.array(self.inherited_rad2),
            self.anchor,
        )


@dataclass(frozen=True)
class RotationGain:
    """What one more frame would buy: total sigma of the axis after rotating the RA axis by so much more."""

    rotation_rad: float
    sigma_rad: float


@dataclass(frozen=True)
class MeasuredAxis:
    """Where the axis points against the target pole, from a capture: the plain part of an AxisEstimate.

    `gains` is what further rotations would buy (core.axis.predicted_sigma_rad). `budget`: the parts of the
    covariance; None in records that knew of the stars only.
    """

    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    chi2: float = 0.0
    dof: int = 0
    companion_east_rad: float = 0.0
    companion_up_rad: float = 0.0
    rotation_rad: tuple[float, ...] = ()
    frames: tuple[str, ...] = ()
    suspect: str | None = None
    warnings: tuple[AxisDoubt, ...] = ()
    gains: tuple[RotationGain, ...] = ()
    budget: Budget | None = None

    @property
    def sigma_rad(self) -> float:
        """Total sigma: root of the trace."""
        return math.sqrt(self.covariance_rad2[0][0] + self.covariance_rad2[1][1])

    @property
    def chance_sigma_rad(self) -> float:
        """Total sigma of what further frames can make smaller."""
        ((ee, _), (_, uu)) = self.covariance_rad2 if self.budget is None else self.budget.told
        return math.sqrt(ee + uu)

    def sigma_with_rad(self, chance_sigma_rad: float) -> float:
        """Total sigma once further frames have brought their part down to `chance_sigma_rad`."""
        shared2 = max(self.sigma_rad**2 - self.chance_sigma_rad**2, 0.0)
        return math.sqrt(shared2 + chance_sigma_rad**2)

    @classmethod
    def of(cls, estimate: AxisEstimate, gains: tuple[RotationGain, ...] = ()) -> MeasuredAxis:
        """The plain part of an estimate."""
        return cls(
            float(estimate.east_rad),
            float(estimate.up_rad),
            covariance_of(estimate.covariance_rad2),
            float(estimate.chi2),
            int(estimate.dof),
            float(estimate.companion_east_rad),
            float(estimate.companion_up_rad),
            tuple(float(angle) for angle in estimate.rotation_rad),
            tuple(estimate.frames),
            estimate.suspect,
            tuple(estimate.warnings),
            gains,
            estimate.budget,
        )


@dataclass(frozen=True)
class FollowedAxis:
    """Where the axis points by one more frame after a capture: the plain part of an AxisReading.

    `covariance_rad2` is the whole covariance, what the capture left uncertain included.
    """

    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    tracking: str = "unknown"  # "on", "off", "unknown"
    warnings: tuple[FollowDoubt, ...] = ()


def _matrix(m: FloatArray) -> Matrix:
    rows = [(float(row[0]), float(row[1]), float(row[2])) for row in np.asarray(m)]
    return rows[0], rows[1], rows[2]
