"""A misaligned mount under the real sky, as star lists, for tests of the axis: astronomy by another road.

The estimator uses ERFA's CIO-based routines (apco13, atciqz, atioq). Here star places come from the equinox-based
chain (pnm06a, epv00, ab, gst06a) with diurnal aberration as a vector and refraction as the root of
z + A tan z + B tan^3 z = z0; rotations come from scipy. Nothing of places.py, axis*.py or attitude.py is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import erfa
import numpy as np
from scipy.spatial.transform import Rotation

from polewright.core.model import Atmosphere, Attitude, Camera, FloatArray, MatchedStars, PlateSolution, Site, Utc
from polewright.simulate.refraction import refraction_table

ARCSEC = np.pi / 648000.0
EARTH_RATE = 7.292115e-5  # rad/s
LIGHT_AU_PER_DAY = 173.14463267424034
EVENING = Utc(2461370.5, 0.9)  # 2026-11-26, about 21:36 UTC
GUIDE_SCOPE = Camera(1280, 960, 240.0 / 0.005)  # 240 mm, 5 um: 1.53 x 1.15 degrees


@lru_cache(maxsize=64)
def place_matrix(utc: Utc, site: Site) -> FloatArray:
    """True equator and equinox of date, turned by sidereal time and latitude: rows East, North, Up."""
    tt = tt_of(utc)
    last = erfa.ufunc.gst06a(utc.jd1, utc.jd2, *tt) + np.radians(site.lon_deg)
    lat = np.radians(site.lat_deg)
    east = [-np.sin(last), np.cos(last), 0.0]
    up = [np.cos(lat) * np.cos(last), np.cos(lat) * np.sin(last), np.sin(lat)]
    north = np.cross(up, east)
    return _kept(np.array([east, north, up]))


@lru_cache(maxsize=64)
def icrs_to_enu(utc: Utc, site: Site) -> FloatArray:
    """(3, 3) ICRS to East, North, Up, without aberration and refraction."""
    return _kept(place_matrix(utc, site) @ erfa.ufunc.pnm06a(*tt_of(utc)))


@lru_cache(maxsize=64)
def earth(utc: Utc) -> tuple[FloatArray, float]:
    """(barycentric velocity (3,) of the Earth in parts of light's, its distance from the Sun in au)."""
    heliocentric, barycentric, _ = erfa.ufunc.epv00(*tt_of(utc))
    return _kept(np.array(barycentric["v"]) / LIGHT_AU_PER_DAY), float(np.linalg.norm(heliocentric["p"]))


def _kept(array: FloatArray) -> FloatArray:
    """Nobody changes what others are handed too."""
    array.flags.writeable = False
    return array


def tt_of(utc: Utc) -> tuple[float, float]:
    tai1, tai2, _ = erfa.ufunc.utctai(utc.jd1, utc.jd2)
    tt1, tt2, _ = erfa.ufunc.taitt(tai1, tai2)
    return float(tt1), float(tt2)


def observed(icrs: FloatArray, utc: Utc, site: Site, air: Atmosphere) -> FloatArray:
    """Observed ENU unit vectors (N, 3): annual aberration, equinox, sidereal time, diurnal aberration, refraction."""
    velocity, distance = earth(utc)
    proper = erfa.ufunc.ab(icrs, velocity, distance, np.sqrt(1.0 - velocity @ velocity))
    enu = proper @ icrs_to_enu(utc, site).T
    spin = EARTH_RATE * (6378137.0 + site.elev_m) * np.cos(np.radians(site.lat_deg)) / 299792458.0
    enu = enu + np.array([spin, 0.0, 0.0])
    return refract(enu / np.linalg.norm(enu, axis=-1, keepdims=True), air)


def refract(enu: FloatArray, air: Atmosphere) -> FloatArray:
    """Lift unit vectors (N, 3) by refraction: the root of z + A tan z + B tan^3 z = true zenith distance; from 75
    degrees on, where that ends, by the simulator's traced rays, scaled to join it."""
    if air.pressure_hpa < 0.1:
        return enu
    a, b = erfa.ufunc.refco(air.pressure_hpa, air.temperature_c, air.relative_humidity, air.wavelength_um)
    level = np.hypot(enu[..., 0], enu[..., 1])
    true_z = np.arctan2(level, enu[..., 2])
    z = true_z
    for _ in range(8):  # below 75 degrees each step gains two digits or more
        t = np.tan(np.minimum(z, np.radians(87.0)))
        z = true_z - a * t - b * t**3
    z = np.where(true_z > _LOW_Z, true_z - _low_bending(true_z, air, a, b), z)
    scale = np.sin(z) / np.maximum(level, 1e-15)
    return np.stack([enu[..., 0] * scale, enu[..., 1] * scale, np.cos(z)], axis=-1)


_LOW_Z = np.radians(75.0)


def _low_bending(true_z: FloatArray, air: Atmosphere, a: float, b: float) -> FloatArray:
    table, t = refraction_table(air), np.tan(_LOW_Z)
    traced = float(table.bending_rad(np.array([_LOW_Z + a * t + b * t**3]))[0])
    return np.asarray(table.bending_rad(np.minimum(true_z, np.radians(90.5))) * (a * t + b * t**3) / traced)


def refracted_pole(site: Site, air: Atmosphere) -> FloatArray:
    lat = np.radians(site.lat_deg)
    pole = np.array([0.0, np.cos(lat), np.sin(lat)]) * (1.0 if site.lat_deg >= 0.0 else -1.0)
    return np.asarray(refract(pole[None], air)[0])


def displaced(pole: FloatArray, site: Site, east_arcmin: float, up_arcmin: float) -> FloatArray:
    """The pole moved along a great circle, by (east, up)."""
    side = 1.0 if site.lat_deg >= 0.0 else -1.0
    up = np.array([0.0, -side * pole[2], side * pole[1]])
    toward = east_arcmin * np.array([1.0, 0.0, 0.0]) + up_arcmin * up
    return np.asarray(Rotation.from_rotvec(np.cross(pole, toward) * 60.0 * ARCSEC).apply(pole))


@dataclass(frozen=True)
class Rig:
    """A mount whose axis is off the refracted pole by (east, up), with a camera on it.

    `rho_deg` from boresight to axis, `hour_deg` where the camera starts about the axis (0: toward the zenith side of
    the meridian, counted as a right-handed turn), `roll_deg` of the camera, noise of each centroid, of all together.
    """

    site: Site
    east_arcmin: float = 0.0
    up_arcmin: float = 0.0
    rho_deg: float = 30.0
    hour_deg: float = 0.0
    roll_deg: float = 25.0
    tracking: bool = True
    air: Atmosphere = field(default_factory=lambda: Atmosphere(1010.0))
    camera: Camera = GUIDE_SCOPE
    stars: int = 30
    noise_px: float = 0.15
    common_arcsec: float = 0.0
    start: Utc = EVENING

    @property
    def axis(self) -> FloatArray:
        return _axis(self).copy()  # the rotations of scipy want one that they may write to

    def attitude(self, turn_deg: float, seconds: float = 0.0) -> FloatArray:
        """Camera to ENU after the RA axis was turned by `turn_deg` and ran for `seconds` if tracking."""
        return _attitude(self, turn_deg, seconds).copy()

    def solution(
        self, camera_to_enu: FloatArray, utc: Utc, rng: np.random.Generator, noise_px: float | None = None
    ) -> PlateSolution:
        """What a solver hands over for this attitude: stars at random places of the field, measured with noise."""
        camera, noise = self.camera, self.noise_px if noise_px is None else noise_px
        icrs = self._stars_in_field(camera_to_enu, utc, rng)
        seen = observed(icrs, utc, self.site, self.air) @ camera_to_enu
        sign = -1.0 if camera.mirrored else 1.0
        x = sign * seen[:, 0] / seen[:, 2] * camera.focal_px + (camera.width_px - 1) / 2.0
        y = seen[:, 1] / seen[:, 2] * camera.focal_px + (camera.height_px - 1) / 2.0
        together = rng.normal(0.0, self.common_arcsec / camera.scale_arcsec_px, 2)
        x, y = (v + rng.normal(0.0, noise, v.size) + t for v, t in zip((x, y), together))
        to_icrs = icrs_to_enu(utc, self.site).T
        n = x.size
        matched = MatchedStars(
            x, y, np.full(n, max(noise, 1e-6)), icrs, np.arange(n), np.full(n, 8.0), np.zeros((n, 2))
        )
        attitude = Attitude(to_icrs @ camera_to_enu, np.eye(3) * 1e-10)
        return PlateSolution(attitude, camera, matched, n, noise * camera.scale_arcsec_px, 100.0, "test")

    def _stars_in_field(self, camera_to_enu: FloatArray, utc: Utc, rng: np.random.Generator) -> FloatArray:
        camera = self.camera
        u = rng.uniform(-0.5, 0.5, (self.stars, 2)) * [camera.width_px, camera.height_px] / camera.focal_px
        v = np.concatenate([u, np.ones((self.stars, 1))], axis=1)
        enu = (v / np.linalg.norm(v, axis=1, keepdims=True)) @ camera_to_enu.T
        return np.asarray(enu @ icrs_to_enu(utc, self.site))

    def capture(
        self, turns_deg: Sequence[float], rng: np.random.Generator, spacing_s: float = 40.0
    ) -> list[tuple[str, Utc, PlateSolution]]:
        """(name, mid-exposure, solution) of frames at these angles of the RA axis, `spacing_s` apart."""
        found = []
        for k, turn in enumerate(turns_deg):
            utc = self.start.plus_seconds(k * spacing_s)
            found.append((f"frame-{k + 1}", utc, self.solution(self.attitude(turn, k * spacing_s), utc, rng)))
        return found

    def screws(
        self, clockwise_deg: float, up_deg: float, lean_east_deg: float = 0.0, lean_north_deg: float = 0.0
    ) -> FloatArray:
        """(3, 3) turn of the whole mount: altitude screw, then azimuth screw about a vertical that leans so much."""
        vertical = Rotation.from_euler("xy", [-lean_north_deg, lean_east_deg], degrees=True).apply([0.0, 0.0, 1.0])
        hinge = np.cross(self.axis, vertical)
        raised = Rotation.from_rotvec(hinge / np.linalg.norm(hinge) * np.radians(up_deg))
        return np.asarray((Rotation.from_rotvec(-vertical * np.radians(clockwise_deg)) * raised).as_matrix())

    def but(self, **changes: object) -> Rig:
        return replace(self, **changes)  # type: ignore[arg-type]


@lru_cache(maxsize=64)
def _axis(rig: Rig) -> FloatArray:
    return _kept(displaced(refracted_pole(rig.site, rig.air), rig.site, rig.east_arcmin, rig.up_arcmin))


@lru_cache(maxsize=64)
def _attitude(rig: Rig, turn_deg: float, seconds: float) -> FloatArray:
    side = 1.0 if rig.site.lat_deg >= 0.0 else -1.0
    p = rig.axis
    zenithward = np.array([0.0, 0.0, 1.0]) - p[2] * p
    if np.linalg.norm(zenithward) < 1e-3:
        zenithward = np.array([0.0, 1.0, 0.0]) - p[1] * p
    away = zenithward / np.linalg.norm(zenithward)
    rho = np.radians(rig.rho_deg)
    z = np.cos(rho) * p + np.sin(rho) * away
    x = np.cross(away, p)
    base = np.stack([x, np.cross(z, x), z], axis=1) @ Rotation.from_euler("z", rig.roll_deg, degrees=True).as_matrix()
    angle = np.radians(rig.hour_deg + turn_deg)
    if rig.tracking:
        angle -= side * EARTH_RATE * seconds
    return _kept(Rotation.from_rotvec(p * angle).as_matrix() @ base)
