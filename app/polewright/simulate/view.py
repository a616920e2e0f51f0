"""What the camera sees of the sky while the shutter is open, before any noise: the truth of a frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, SkyPosition, Utc
from polewright.simulate.camera import centre_direction, project
from polewright.simulate.mount import Mount, offset_from
from polewright.simulate.night import Night
from polewright.simulate.scenarios import Blocked, Scenario
from polewright.simulate.sky import SkyMoment, sky_moment
from polewright.simulate.stars import FieldStars, StarSource, stars_around

_MOST_STEPS = 600  # of a path during one exposure: a slewing mount would ask for millions


@dataclass(frozen=True, eq=False)
class AxisTruth:
    """Where the RA axis really points: ENU unit vector and its offset (east, up), arcmin, from either pole."""

    axis_enu: FloatArray
    from_true_pole_arcmin: tuple[float, float]
    from_refracted_pole_arcmin: tuple[float, float]


@dataclass(frozen=True, eq=False)
class View:
    """The geometry and light of one exposure.

    `x_px`, `y_px` (S, N) at S evenly spaced moments (one if nothing moves by a fair part of a star's width);
    `electrons` (N,) in the whole exposure, 0 for a star behind a wall or below the horizon. `attitude_enu` (3, 3) is
    camera to observed ENU at mid-exposure, z along the optical axis; `centre_camera` (3,) is the direction of the
    image centre in those axes. `blocked` tells that the camera looks at a wall.
    """

    utc_start: Utc
    utc_mid: Utc
    exposure_s: float
    sky: SkyMoment
    attitude_enu: FloatArray
    centre_camera: FloatArray
    axis: AxisTruth
    tracking: bool
    stars: FieldStars
    x_px: FloatArray
    y_px: FloatArray
    electrons: FloatArray
    cloud_mag: float
    blocked: bool

    @property
    def centre(self) -> SkyPosition:
        """ICRS place of the image centre at mid-exposure."""
        v = self.sky.icrs_of(self.attitude_enu @ self.centre_camera)
        ra = float(np.degrees(np.arctan2(v[1], v[0])) % 360.0)
        return SkyPosition(ra, float(np.degrees(np.arctan2(v[2], np.hypot(v[0], v[1])))))


def look(night: Night, mount: Mount, catalogue: StarSource, utc: Utc, exposure_s: float) -> View:
    """The view of an exposure that begins at `utc`."""
    scenario, camera = night.scenario, night.scenario.camera
    mid = utc.plus_seconds(0.5 * exposure_s)
    mid_s = mid.seconds_since(night.start)
    sky = sky_over(night, mid)
    attitude = mount.attitude(mid_s)
    boresight = attitude[:, 2]
    cloud = night.cloud_mag(mid_s)
    loss = cloud + scenario.dew_mag_per_hour * max(mid_s, 0.0) / 3600.0
    stars = stars_around(
        catalogue,
        sky.icrs_of(boresight),
        1.04 * camera.half_diagonal_rad + np.radians(0.3),
        2000.0 + (mid.jd1 - 2451545.0 + mid.jd2) / 365.25,
        _faintest(scenario, exposure_s, loss),
        scenario.stars,
        night.seed,
    )
    observed = sky.observed(stars.icrs)
    dimming = stars.magnitude + loss + scenario.extinction_mag * airmass(observed[:, 2])
    light = camera.electrons_s * exposure_s * 10.0 ** (-0.4 * dimming)
    hidden = (observed[:, 2] <= 0.0) | _behind(scenario.blocked, observed)
    x, y = _tracks(scenario, mount, stars.icrs, observed, sky, mid_s, exposure_s)
    return View(
        utc_start=utc,
        utc_mid=mid,
        exposure_s=exposure_s,
        sky=sky,
        attitude_enu=attitude,
        centre_camera=centre_direction(camera),
        axis=axis_truth(sky, mount.axis_enu(mid_s)),
        tracking=mount.tracking(mid_s),
        stars=stars,
        x_px=x,
        y_px=y,
        electrons=np.where(hidden, 0.0, light),
        cloud_mag=cloud,
        blocked=bool(_behind(scenario.blocked, boresight[None, :])[0]),
    )


def sky_over(night: Night, utc: Utc) -> SkyMoment:
    """The sky of the night at `utc`."""
    return sky_moment(utc, night.scenario.site, night.air, night.earth)


def axis_truth(sky: SkyMoment, axis: FloatArray) -> AxisTruth:
    """The axis against both poles of the sky."""
    true_east, true_up = np.degrees(offset_from(sky.pole_true, axis)) * 60.0
    east, up = np.degrees(offset_from(sky.pole_refracted, axis)) * 60.0
    return AxisTruth(axis, (float(true_east), float(true_up)), (float(east), float(up)))


def star_width_px(scenario: Scenario) -> float:
    """Full width at half maximum of a star in focus: seeing and optics together."""
    return float(np.hypot(scenario.seeing_arcsec / scenario.camera.scale_arcsec_px, scenario.blur_px))


def sky_electrons(scenario: Scenario, exposure_s: float, cloud_mag: float) -> float:
    """Sky light per pixel; cloud is lit from below a little."""
    camera = scenario.camera
    dark = camera.electrons_s * exposure_s * 10.0 ** (-0.4 * scenario.sky_mag) * camera.scale_arcsec_px**2
    return float(dark * (1.0 + 0.4 * min(cloud_mag, 3.0)))


def airmass(sine_altitude: FloatArray) -> FloatArray:
    """Kasten & Young, Applied Optics 28, 4735 (1989); that of the horizon below it."""
    altitude = np.degrees(np.arcsin(np.clip(sine_altitude, 0.0, 1.0)))
    return np.asarray(1.0 / (np.sin(np.radians(altitude)) + 0.50572 * (altitude + 6.07995) ** -1.6364))


def _faintest(scenario: Scenario, exposure_s: float, loss_mag: float) -> float:
    """Magnitude of a star of which all the light is half the noise of one pixel."""
    camera = scenario.camera
    noise = np.sqrt(camera.read_noise_e**2 + sky_electrons(scenario, exposure_s, 0.0))
    return float(2.5 * np.log10(camera.electrons_s * exposure_s / (0.5 * noise)) - loss_mag)


def _behind(parts: tuple[Blocked, ...], enu: FloatArray) -> NDArray[np.bool_]:
    """Whether each direction (N, 3) is hidden by a wall or wood."""
    azimuth = np.degrees(np.arctan2(enu[:, 0], enu[:, 1]))
    altitude = np.degrees(np.arcsin(enu[:, 2]))
    hidden = np.zeros(len(enu), dtype=bool)
    for part in parts:
        span = (part.to_azimuth_deg - part.from_azimuth_deg) % 360.0
        hidden |= ((azimuth - part.from_azimuth_deg) % 360.0 <= span) & (altitude < part.below_altitude_deg)
    return hidden


def _tracks(
    scenario: Scenario,
    mount: Mount,
    icrs: FloatArray,
    observed_mid: FloatArray,
    sky: SkyMoment,
    mid_s: float,
    exposure_s: float,
) -> tuple[FloatArray, FloatArray]:
    """Pixels (S, N) of the stars at the middle of each of S equal parts of the exposure."""
    steps = _steps(scenario, mount, sky, mid_s, exposure_s)
    offsets = (np.arange(steps) + 0.5) / steps * exposure_s - 0.5 * exposure_s
    seen = [observed_mid]
    if steps > 1:  # a parabola through three moments follows the sky to well under a milliarcsecond
        ends = 0.5 * exposure_s
        before, after = sky.later(-ends).observed(icrs), sky.later(ends).observed(icrs)
        first, second = 0.5 * (after - before), 0.5 * (after - 2.0 * observed_mid + before)
        seen = [observed_mid + first * u + second * (u * u) for u in offsets / ends]
    pixels = [project(scenario.camera, o @ a) for o, a in zip(seen, mount.attitudes(mid_s + offsets))]
    return np.stack([p[0] for p in pixels]), np.stack([p[1] for p in pixels])


def _steps(scenario: Scenario, mount: Mount, sky: SkyMoment, mid_s: float, exposure_s: float) -> int:
    """So many that a star moves less than half its width from one to the next."""
    times = np.linspace(-0.5, 0.5, 9) * exposure_s
    attitudes = mount.attitudes(mid_s + times)
    marks = attitudes[times.size // 2] @ np.array([[0.0, 0.1, -0.1], [0.0, 0.1, 0.1], [1.0, 1.0, 1.0]])
    marks_icrs = (marks / np.linalg.norm(marks, axis=0)).T @ sky.icrs_to_enu
    seen = np.swapaxes(sky.turned(times) @ marks_icrs.T, 1, 2) @ attitudes
    path_px = np.abs(np.diff(seen, axis=0)).sum(axis=(0, 2)).max() * scenario.camera.focal_px
    return int(np.clip(np.ceil(path_px / (0.5 * star_width_px(scenario))), 1, _MOST_STEPS))
