"""An equatorial mount of metal: a base that leans, two screws, two axes that are not quite square, a tube that sags.

All of it exact rotations. The head frame has x to the east (to the west in the south), y along the RA axis toward
the elevated pole and z square to both, toward the upper meridian. Hour angle grows when the head turns by a negative
angle about y in the north, by a positive one in the south.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.errors import UsageError
from polewright.core.model import FloatArray
from polewright.simulate.drive import LooseDrive
from polewright.simulate.real_mount import PERFECT, RealMount
from polewright.simulate.rotations import rotations, rotations_about
from polewright.simulate.screw import Screw, ScrewSpec

_X, _Y, _Z = np.eye(3)
_TOWARD_NADIR = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])  # v @ it is v x (0, 0, -1)


@dataclass(frozen=True)
class MountSpec:
    """A mount and how it was set down. Angles of the axis are those of its upper end, in ENU, before anything moves.

    `axis_azimuth_deg`, `axis_altitude_deg`: where the RA axis points at first. `lean_east_deg`, `lean_north_deg`: the
    base's vertical leans that way. `azimuth`, `altitude`: the two screws. `axes_not_square_arcmin`: declination
    axis against RA axis; `cone_arcmin`: camera against the declination axis. `roll_deg`: camera about its boresight.
    `sag_arcsec`: the camera looks lower by sag * cos(altitude); higher where the sag is negative. `real`: what else
    metal and air do.
    """

    axis_azimuth_deg: float
    axis_altitude_deg: float
    southern: bool = False
    lean_east_deg: float = 0.0
    lean_north_deg: float = 0.0
    azimuth: ScrewSpec = field(default_factory=ScrewSpec)
    altitude: ScrewSpec = field(default_factory=ScrewSpec)
    azimuth_slack: float = 0.0
    altitude_slack: float = 0.0
    ra_backlash_arcsec: float = 0.0
    ra_slack: float = 0.0
    periodic_error_arcsec: float = 0.0
    periodic_error_s: float = 480.0
    slew_deg_s: float = 3.0
    axes_not_square_arcmin: float = 0.0
    cone_arcmin: float = 0.0
    roll_deg: float = 0.0
    sag_arcsec: float = 0.0
    settle_tripod_arcmin: float = 0.0
    settle_tripod_toward_deg: float = 0.0
    settle_tripod_s: float = 600.0
    real: RealMount = PERFECT


class Mount:
    """The mount over time, in seconds since the start of the night. Commands come in the order of time."""

    def __init__(self, spec: MountSpec) -> None:
        self.spec = spec
        self.azimuth = Screw(spec.azimuth, spec.azimuth_slack)
        self.altitude = Screw(spec.altitude, spec.altitude_slack)
        self._side = -1.0 if spec.southern else 1.0
        self._lean = _tilt(np.radians(spec.lean_east_deg), np.radians(spec.lean_north_deg))
        in_base = self._lean.T @ _direction(spec.axis_azimuth_deg, spec.axis_altitude_deg)
        self._base_azimuth = float(np.arctan2(in_base[0], in_base[1]))
        self._base_altitude = float(np.arctan2(in_base[2], np.hypot(in_base[0], in_base[1])))
        self._ra = LooseDrive(0.0, np.radians(spec.ra_backlash_arcsec / 3600.0), spec.ra_slack)
        self._dec = LooseDrive(np.pi / 2.0, 0.0)
        self._knocks: list[tuple[float, FloatArray]] = []
        self._slips: list[tuple[float, float]] = []
        self._tracking: list[tuple[float, bool]] = [(float("-inf"), False)]

    # commands

    def rotate_ra(self, at_s: float, west_deg: float) -> float:
        """Turn the RA axis westward (hour angle grows, in both hemispheres); returns when it is done, s."""
        return self._slew_ra(self._ra.ready_s(at_s), -self._side * np.radians(west_deg))

    def point(self, at_s: float, enu: FloatArray) -> float:
        """Swing both axes until the camera looks in the direction (3,) in ENU, to the cone error; returns the end, s.

        Raises UsageError for a direction below the horizon.
        """
        if enu[2] < 0.0:
            raise UsageError("The mount cannot point below the horizon: choose a higher direction.")
        begin = max(at_s, self._ra.busy_until(), self._dec.busy_until())
        head = self._head(_at(begin))[0].T @ enu
        turn = np.arctan2(head[0], head[2]) - self._ra.driver(begin)
        turn = (turn + np.pi) % (2.0 * np.pi) - np.pi
        raise_by = np.arcsin(np.clip(head[1], -1.0, 1.0)) - self._dec.driver(begin)
        end = self._slew_ra(at_s, turn)
        return max(end, self._dec.move(at_s, float(raise_by), self._slew_s(float(raise_by)))[1])

    def set_tracking(self, at_s: float, on: bool) -> None:
        """Start or stop the clock drive."""
        self._tracking.append((at_s, on))
        self._ra.set_base_rate(at_s, -self._side * SIDEREAL_RATE_RAD_S if on else 0.0)

    def tighten(self, at_s: float) -> None:
        """Tighten the locks of both screws."""
        self.azimuth.tighten(at_s)
        self.altitude.tighten(at_s)

    def knock(self, at_s: float, rotation_enu_rad: FloatArray) -> None:
        """The tripod is kicked: everything turns by the small rotation vector (3,) in ENU, for good."""
        self._knocks.append((at_s, np.asarray(rotation_enu_rad, dtype=float)))

    def slip_declination(self, at_s: float, arcmin: float) -> None:
        """The declination clutch slips, toward the elevated pole when positive."""
        self._slips.append((at_s, np.radians(arcmin / 60.0)))

    # truth

    def axis_enu(self, at_s: float) -> FloatArray:
        """Unit vector (3,) of the RA axis, on the side of the elevated pole."""
        return np.asarray(self._head(_at(at_s))[0] @ _Y)

    def turn_worth_arcmin(self, at_s: float) -> tuple[float, float]:
        """What an engaged turn of each screw is worth where the axis points now, signed: arcmin of bearing (clockwise
        from above) of the azimuth screw, arcmin of height of the altitude screw. A leaning base changes both."""
        step = 1e-4
        bearing, height = _bearing_and_height(self.axis_enu(at_s))
        sideways, _ = _bearing_and_height(self._head(_at(at_s), step, 0.0)[0] @ _Y)
        _, upward = _bearing_and_height(self._head(_at(at_s), 0.0, step)[0] @ _Y)
        turned = (sideways - bearing + np.pi) % (2.0 * np.pi) - np.pi
        return (
            self.azimuth.rate_arcmin(at_s) * float(turned) / step,
            self.altitude.rate_arcmin(at_s) * float(upward - height) / step,
        )

    def attitude(self, at_s: float) -> FloatArray:
        """Camera to ENU, a proper rotation (3, 3), of an un-mirrored camera (x right, y down, z outward)."""
        return np.asarray(self.attitudes(_at(at_s))[0])

    def attitudes(self, at_s: FloatArray) -> FloatArray:
        """The same at many moments (S,), (S, 3, 3)."""
        spec, ra_angle = self.spec, self._ra_angle(at_s)
        leaning, beside = spec.real.shaft_tilt_rad(ra_angle), spec.real.tube_shift_rad(ra_angle, at_s)
        tube = (
            self._head(at_s)
            @ rotations(leaning @ np.array([_X, _Z]))
            @ rotations_about(_Y, ra_angle)
            @ rotation_about(_Z, np.radians(spec.axes_not_square_arcmin / 60.0))
            @ rotations_about(_X, -self._dec_angle(at_s) - beside[:, 1])
            @ rotations_about(_Y, np.radians(spec.cone_arcmin / 60.0) + beside[:, 0])
            @ rotation_about(_Z, np.radians(spec.roll_deg))
        )
        sag = tube[:, :, 2] @ _TOWARD_NADIR * np.radians(spec.sag_arcsec / 3600.0)
        return np.asarray(rotations(sag) @ tube)

    def tracking(self, at_s: float) -> bool:
        """Whether the clock drive runs."""
        return next(on for start, on in reversed(self._tracking) if start <= at_s)

    def busy_until(self) -> float:
        """When the last slew ends, s."""
        return max(self._ra.busy_until(), self._dec.busy_until())

    def _slew_ra(self, at_s: float, angle_rad: float) -> float:
        return self._ra.move(at_s, angle_rad, self._slew_s(angle_rad))[1]

    def _slew_s(self, angle_rad: float) -> float:
        return max(abs(float(np.degrees(angle_rad))) / self.spec.slew_deg_s, 0.1)

    def _head(self, at_s: FloatArray, more_azimuth_rad: float = 0.0, more_altitude_rad: float = 0.0) -> FloatArray:
        """Head frame to ENU, (S, 3, 3); as it would be with the screws' axes turned by so much more."""
        azimuth = self._base_azimuth + _each(self.azimuth.angle_rad, at_s) + more_azimuth_rad
        altitude = self._base_altitude + _each(self.altitude.angle_rad, at_s) + more_altitude_rad
        base = self._lean @ rotations_about(_Z, -azimuth) @ rotations_about(_X, altitude)
        for start, rotation in self._knocks:
            base = np.where((start <= at_s)[:, None, None], _rotation(rotation) @ base, base)
        return np.asarray(self._sinking(at_s) @ base)

    def _sinking(self, at_s: FloatArray) -> FloatArray:
        """What the slowly sinking and creeping tripod has turned by, (S, 3, 3)."""
        spec = self.spec
        sunk = np.radians(spec.settle_tripod_arcmin / 60.0) * -np.expm1(-np.maximum(at_s, 0.0) / spec.settle_tripod_s)
        crept = spec.real.crept_rad(at_s)
        sinking, creeping = _hinge(spec.settle_tripod_toward_deg), _hinge(spec.real.creep_toward_deg)
        return rotations(sinking * sunk[:, None] + creeping * crept[:, None])

    def _ra_angle(self, at_s: FloatArray) -> FloatArray:
        spec = self.spec
        phase = _each(self._ra.driver, at_s) / (SIDEREAL_RATE_RAD_S * spec.periodic_error_s) * 2.0 * np.pi
        periodic = np.radians(spec.periodic_error_arcsec / 3600.0) * np.sin(phase)
        return np.asarray(_each(self._ra.output, at_s) + periodic)

    def _dec_angle(self, at_s: FloatArray) -> FloatArray:
        slipped = sum((amount * (start <= at_s) for start, amount in self._slips), np.zeros(at_s.size))
        return _each(self._dec.output, at_s) + slipped


def _at(at_s: float) -> FloatArray:
    return np.array([at_s])


def _each(of: Callable[[float], float], at_s: FloatArray) -> FloatArray:
    """What a drive says at each moment (S,)."""
    return np.array([of(moment) for moment in at_s.tolist()])


def offset_from(pole: FloatArray, axis: FloatArray) -> tuple[float, float]:
    """(east, up) of the axis against the pole on the sky, rad: great-circle distance split by its direction.

    `pole` and `axis` are unit vectors (3,) in ENU. The two add up in quadrature to the exact distance.
    """
    side = 1.0 if pole[1] >= 0.0 else -1.0
    flat = float(np.hypot(pole[0], pole[1]))
    east = side * np.array([pole[1], -pole[0], 0.0]) / flat if flat > 1e-12 else _X
    up = side * np.cross(east, pole)
    toward = np.array([axis @ east, axis @ up])
    length = np.hypot(*toward)
    if length == 0.0:
        return 0.0, 0.0
    distance = np.arctan2(length, axis @ pole)
    return float(toward[0] / length * distance), float(toward[1] / length * distance)


def _direction(azimuth_deg: float, altitude_deg: float) -> FloatArray:
    a, h = np.radians(azimuth_deg), np.radians(altitude_deg)
    return np.array([np.cos(h) * np.sin(a), np.cos(h) * np.cos(a), np.sin(h)])


def _bearing_and_height(axis: FloatArray) -> tuple[float, float]:
    return float(np.arctan2(axis[0], axis[1])), float(np.arctan2(axis[2], np.hypot(axis[0], axis[1])))


def _hinge(toward_deg: float) -> FloatArray:
    """The horizontal axis (3,) about which a base turns that sinks toward an azimuth."""
    toward = np.radians(toward_deg)
    return np.array([-np.cos(toward), np.sin(toward), 0.0])


def _tilt(east_rad: float, north_rad: float) -> FloatArray:
    """The rotation (3, 3) that leans the vertical toward east and north."""
    return _rotation(np.array([-north_rad, east_rad, 0.0]))


def _rotation(vector_rad: FloatArray) -> FloatArray:
    """Rotation matrix (3, 3) of a rotation vector (3,)."""
    return np.asarray(rotations(vector_rad[None])[0])
