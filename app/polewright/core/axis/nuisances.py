"""What no frame of a capture shows, each as a small turn of the frames, and how large it is supposed to be.

One idea for all: turn every frame by what one unit of the nuisance does to it, and see how far the axis goes
(core/axis/budgeting.py). A turn (N, 3) is a rotation vector in ENU, rad per unit: C_seen = Rot(turn) C_true.

Sizes, and where they are from:
* refraction: 3 % where nobody knows the weather (8 K of 283 K and 10 hPa of 1013 hPa, in quadrature), 1 % with
  thermometer and barometer (3 K along the light, 3 hPa): refraction goes with pressure over temperature. The share
  itself travels with the air: Atmosphere.scale_sigma.
* low air: the term of the refraction in tan z sec^2 z goes with the height of the homogeneous atmosphere (Green,
  Spherical Astronomy, 1985, ch. 4), which layers of warm air change. A fifth of it makes 9' at the horizon, as is
  observed (0.16 degrees: Schaefer & Liller 1990, from memory); 0.1" at 30 degrees, 0.3" at 20, 2" at 10.
* anomalous refraction: 0.5" a frame along both axes (tilted layers: some tenths of an arcsecond over minutes; Pier et
  al. 2003, from memory).
* sag and pull: core/flexure.py.
* late stamps: up to a second, all frames alike (0.58 s rms about zero) and each by itself (0.29 s): uniform
  distributions. What the drive does turns the frames about the mount axis itself, and the axis does not feel it.
* places: every place of the RA axis is off by 1" by itself, about all three axes, and all its frames with it:
  bearings that run out, a clutch, a hand that has just let go (chosen: as much as a mount at rest moves from reading
  to reading, core/night/rest.py; no published figure is known).
* creep: 4" in ten minutes, a tripod just set down (common practice, no source; as core/drift/reading.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.axis.fit import rotation_angles
from polewright.core.axis.mishaps import declination_axis
from polewright.core.budget import Nuisance
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.sky.places import hemisphere_sign, pole_altitude_rad, pole_enu
from polewright.core.sky.refraction import lift_rad, low_air_rad

ANOMALOUS_RAD = 0.5 / ARCSEC_PER_RAD
PLACE_RAD = 1.0 / ARCSEC_PER_RAD
LATE_S, LATE_EACH_S = 1.0 / math.sqrt(3.0), 1.0 / math.sqrt(12.0)
CREEP_RAD_S = 4.0 / ARCSEC_PER_RAD / 600.0
_LEAST_TILT = 1e-3  # sine of boresight to axis: nearer to it, the declination axis is not told by the camera


@dataclass(frozen=True, eq=False)
class Geometry:
    """A capture as a nuisance meets it: attitudes (N, 3, 3) and seconds (N,), the axis in ENU and in the camera."""

    attitudes: FloatArray
    seconds: FloatArray
    axis_enu: FloatArray
    axis_in_camera: FloatArray
    site: Site
    atmosphere: Atmosphere

    @property
    def boresights(self) -> FloatArray:
        """(N, 3) in ENU."""
        return np.asarray(self.attitudes[:, :, 2])


def turns(geometry: Geometry) -> dict[Nuisance, FloatArray]:
    """The turn (N, 3) of every frame by one unit of each nuisance."""
    look = geometry.boresights
    raise_by = _raising(look)
    height = np.arcsin(np.clip(look[:, 2], -1.0, 1.0))
    since = (geometry.seconds - geometry.seconds.max())[:, None]  # the axis is to be that of the last frame
    return {
        Nuisance.REFRACTION: -raise_by * lift_rad(height, geometry.atmosphere)[:, None],
        Nuisance.LOW_AIR: -raise_by * low_air_rad(height, geometry.atmosphere)[:, None],
        Nuisance.SAG: sag_turn(geometry.attitudes),
        Nuisance.PULL: pull_turn(geometry.attitudes, geometry.axis_enu, geometry.axis_in_camera),
        Nuisance.LATE: np.tile(late_turn(geometry.site), (len(look), 1)),
        Nuisance.CREEP_EAST: since * np.array([0.0, 1.0, 0.0]),
        Nuisance.CREEP_NORTH: since * np.array([-1.0, 0.0, 0.0]),
    }


def sigmas(atmosphere: Atmosphere) -> dict[Nuisance, float]:
    """One sigma of each, in its own unit; those of sag and pull are what is known of the rig (core/bending.py)."""
    return {
        Nuisance.REFRACTION: atmosphere.scale_sigma,
        Nuisance.LOW_AIR: 1.0,
        Nuisance.LATE: LATE_S,
        Nuisance.CREEP_EAST: CREEP_RAD_S,
        Nuisance.CREEP_NORTH: CREEP_RAD_S,
    }


def late_turn(site: Site) -> FloatArray:
    """(3,): a frame whose stamp is a second late is placed where the sky has turned to meanwhile."""
    air_free = pole_enu(site, Atmosphere(0.0), TargetPole.TRUE)
    return np.asarray(-hemisphere_sign(site) * SIDEREAL_RATE_RAD_S * air_free)


def pole_lift_rad(site: Site, atmosphere: Atmosphere, target: TargetPole) -> dict[Nuisance, float]:
    """By how much one unit of a nuisance of the air raises the target pole."""
    height = np.array([pole_altitude_rad(site, atmosphere, TargetPole.REFRACTED)])
    return {
        Nuisance.REFRACTION: target.value * float(lift_rad(height, atmosphere)[0]),
        Nuisance.LOW_AIR: target.value * float(low_air_rad(height, atmosphere)[0]),
    }


def _raising(look: FloatArray) -> FloatArray:
    """(N, 3): the horizontal axes about which a right-handed turn raises `look` (N, 3); at the zenith, any."""
    level = np.maximum(np.hypot(look[:, 0], look[:, 1]), 1e-12)
    return np.stack([look[:, 1] / level, -look[:, 0] / level, np.zeros(len(look))], axis=-1)


def sag_turn(attitudes: FloatArray) -> FloatArray:
    """(N, 3): down, by the cosine of the altitude."""
    look = attitudes[:, :, 2]
    return np.asarray(-_raising(look) * np.hypot(look[:, 0], look[:, 1])[:, None])


def pull_turn(attitudes: FloatArray, axis: FloatArray, in_camera: FloatArray) -> FloatArray:
    """(N, 3): about the declination axis, by the angle turned about the mount axis."""
    known = math.hypot(in_camera[0], in_camera[1]) > _LEAST_TILT
    hinge = declination_axis(in_camera) if known else np.array([1.0, 0.0, 0.0])
    angle = rotation_angles(attitudes, axis)
    return np.asarray((attitudes @ hinge) * (angle - angle.mean())[:, None])
