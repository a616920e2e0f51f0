"""A simulated rig under a simulated sky, driven by virtual time: turn screws, swing axes, take frames."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, SkyPosition, Utc
from polewright.simulate.camera import project
from polewright.simulate.fits_file import HeaderValue, fits_bytes, write_at_once, write_in_pieces
from polewright.simulate.light import Blur
from polewright.simulate.mount import Mount, offset_from
from polewright.simulate.night import Night, draw_night, iso_of
from polewright.simulate.render import Scene, Streak, render
from polewright.simulate.scenarios import Blocked, Scenario
from polewright.simulate.sky import SkyMoment, sky_moment
from polewright.simulate.stars import FieldStars, StarSource, stars_around

Header = dict[str, tuple[HeaderValue, str]]
_LONGEST_STEPS = 600


@dataclass(frozen=True, eq=False)
class AxisTruth:
    """Where the RA axis really points: ENU unit vector and its offset (east, up), arcmin, from either pole."""

    axis_enu: FloatArray
    from_true_pole_arcmin: tuple[float, float]
    from_refracted_pole_arcmin: tuple[float, float]


@dataclass(frozen=True, eq=False)
class View:
    """What the camera sees of the sky during one exposure, before any noise.

    `x_px`, `y_px` (S, N) at S evenly spaced moments (one if nothing moves by a fair part of a star's width);
    `electrons` (N,) in the whole exposure; `attitude_enu` (3, 3) camera to observed ENU at mid-exposure.
    """

    utc_start: Utc
    utc_mid: Utc
    exposure_s: float
    sky: SkyMoment
    attitude_enu: FloatArray
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
        """ICRS place of the boresight at mid-exposure."""
        v = self.sky.icrs_of(self.attitude_enu[:, 2])
        ra = float(np.degrees(np.arctan2(v[1], v[0])) % 360.0)
        return SkyPosition(ra, float(np.degrees(np.arctan2(v[2], np.hypot(v[0], v[1])))))


@dataclass(frozen=True, eq=False)
class Exposure:
    """One frame with its header and the truth behind it."""

    pixels: NDArray[np.uint16] | NDArray[np.uint8]
    header: Header
    view: View


class SimulatedRig:
    """Mount, camera and sky of one night. Commands take the instant at which they are given, in the order of time.

    Attributes: `night`, `mount`: what is so; only tests, rehearsal scores and truth files may look.
    """

    def __init__(self, scenario: Scenario, seed: int, catalogue: StarSource | None = None) -> None:
        if catalogue is None:
            from polewright.services.catalogue import load_catalogue

            catalogue = load_catalogue()
        self.night: Night = draw_night(scenario, seed)
        self.mount = Mount(self.night.mount)
        if self.night.kick is not None:
            self.mount.knock(*self.night.kick)
        self._catalogue = catalogue
        self._frames_taken = 0

    # what a person does; each returns the instant at which it is done

    def turn(self, screw: str, turns: float, at: Utc) -> Utc:
        """Turn the "azimuth" or "altitude" screw clockwise (positive) by `turns`."""
        chosen = {"azimuth": self.mount.azimuth, "altitude": self.mount.altitude}[screw]
        return self._instant(chosen.turn(self.seconds(at), turns))

    def tighten(self, at: Utc) -> Utc:
        """Tighten the locks of both screws, which may shift the axis."""
        self.mount.tighten(self.seconds(at))
        return at.plus_seconds(3.0)

    def rotate_ra(self, west_deg: float, at: Utc) -> Utc:
        """Turn the RA axis westward by `west_deg` (the hour angle grows, in both hemispheres)."""
        done = self.mount.rotate_ra(self.seconds(at), west_deg)
        slip = self.night.scenario.mount.declination_slip_arcmin
        if slip != (0.0, 0.0):
            rng = np.random.default_rng([self.night.seed, 77, int(done * 1000.0) & 0xFFFFFFFF])
            self.mount.slip_declination(done, float(rng.uniform(*slip)))
        return self._instant(done)

    def point(self, hour_angle_h: float, declination_deg: float, at: Utc) -> Utc:
        """Point the camera to hour angle (west positive) and declination (north positive), as near as the rig can."""
        return self._instant(self.mount.point(self.seconds(at), self.direction(hour_angle_h, declination_deg)))

    def point_horizontal(self, azimuth_deg: float, altitude_deg: float, at: Utc) -> Utc:
        """Point the camera to azimuth (north through east) and altitude."""
        a, h = np.radians(azimuth_deg), np.radians(altitude_deg)
        enu = np.array([np.cos(h) * np.sin(a), np.cos(h) * np.cos(a), np.sin(h)])
        return self._instant(self.mount.point(self.seconds(at), enu))

    def set_tracking(self, on: bool, at: Utc) -> None:
        """Start or stop the clock drive."""
        self.mount.set_tracking(self.seconds(at), on)

    def kick(self, at: Utc, rotation_enu_rad: FloatArray) -> None:
        """Somebody walks into the tripod: it turns by a small rotation vector (3,) in ENU."""
        self.mount.knock(self.seconds(at), rotation_enu_rad)

    # what the camera delivers

    def expose(self, utc: Utc, exposure_s: float) -> tuple[NDArray[np.uint16] | NDArray[np.uint8], Header]:
        """The frame whose shutter opens at `utc` (true time; the header has the computer's)."""
        exposure = self.take(utc, exposure_s)
        return exposure.pixels, exposure.header

    def take(self, utc: Utc, exposure_s: float) -> Exposure:
        """The same with the truth."""
        view = self.view(utc, exposure_s)
        self._frames_taken += 1
        rng = np.random.Generator(np.random.SFC64([self.night.seed, self._frames_taken]))
        pixels = render(self.night.scenario.camera, self._scene(view, rng), rng)
        return Exposure(pixels, self._header(view), view)

    def write_frame(self, folder: Path, utc: Utc, exposure_s: float) -> tuple[Path, View]:
        """Take a frame and let its FITS file appear in `folder`, complete at once."""
        exposure = self.take(utc, exposure_s)
        path = folder / self._file_name()
        write_at_once(path, fits_bytes(exposure.pixels, exposure.header))
        return path, exposure.view

    def write_frame_slowly(
        self, folder: Path, utc: Utc, exposure_s: float, pieces: int = 5, passing_name: bool = False
    ) -> Iterator[float]:
        """The same in pieces, one at each step of the iterator, under its own or a passing name."""
        exposure = self.take(utc, exposure_s)
        data = fits_bytes(exposure.pixels, exposure.header)
        yield from write_in_pieces(folder / self._file_name(), data, pieces, passing_name)

    # the truth

    def seconds(self, utc: Utc) -> float:
        """Seconds since the start of the night."""
        return utc.seconds_since(self.night.start)

    def axis(self, utc: Utc) -> AxisTruth:
        """Where the RA axis points at `utc`."""
        sky = self.sky(utc)
        axis = self.mount.axis_enu(self.seconds(utc))
        return _axis_truth(sky, axis)

    def sky(self, utc: Utc) -> SkyMoment:
        """The sky at `utc`."""
        return sky_moment(utc, self.night.scenario.site, self.night.air, self.night.earth)

    def direction(self, hour_angle_h: float, declination_deg: float) -> FloatArray:
        """ENU direction (3,) of an hour angle and declination, air apart."""
        lat = np.radians(self.night.scenario.site.lat_deg)
        h, d = np.radians(15.0 * hour_angle_h), np.radians(declination_deg)
        return np.array(
            [
                -np.cos(d) * np.sin(h),
                np.sin(d) * np.cos(lat) - np.cos(d) * np.cos(h) * np.sin(lat),
                np.sin(d) * np.sin(lat) + np.cos(d) * np.cos(h) * np.cos(lat),
            ]
        )

    def view(self, utc: Utc, exposure_s: float) -> View:
        """What stands where on the sensor while the shutter is open from `utc`."""
        camera, scenario = self.night.scenario.camera, self.night.scenario
        start_s = self.seconds(utc)
        mid = utc.plus_seconds(0.5 * exposure_s)
        mid_s = start_s + 0.5 * exposure_s
        sky = self.sky(mid)
        attitude = self.mount.attitude(mid_s)
        epoch = 2000.0 + (mid.jd1 - 2451545.0 + mid.jd2) / 365.25
        cloud = self.night.cloud_mag(mid_s)
        boresight = attitude[:, 2]
        loss = cloud + self._extinction(boresight) + scenario.dew_mag_per_hour * mid_s / 3600.0
        stars = stars_around(
            self._catalogue,
            sky.icrs_of(boresight),
            1.04 * camera.half_diagonal_rad + np.radians(0.3),
            epoch,
            self._faintest(exposure_s, loss),
            scenario.stars,
            self.night.seed,
        )
        x, y = self._tracks(stars.icrs, sky, mid_s, exposure_s)
        return View(
            utc_start=utc,
            utc_mid=mid,
            exposure_s=exposure_s,
            sky=sky,
            attitude_enu=attitude,
            axis=_axis_truth(sky, self.mount.axis_enu(mid_s)),
            tracking=self.mount.tracking(mid_s),
            stars=stars,
            x_px=x,
            y_px=y,
            electrons=camera.electrons_s * exposure_s * 10.0 ** (-0.4 * (stars.magnitude + loss)),
            cloud_mag=cloud,
            blocked=any(_is_blocked(part, boresight) for part in scenario.blocked),
        )

    def sky_electrons(self, exposure_s: float, cloud_mag: float) -> float:
        """Sky light per pixel; cloud is lit from below a little."""
        camera, scenario = self.night.scenario.camera, self.night.scenario
        dark = camera.electrons_s * exposure_s * 10.0 ** (-0.4 * scenario.sky_mag) * camera.scale_arcsec_px**2
        return float(dark * (1.0 + 0.4 * min(cloud_mag, 3.0)))

    @property
    def star_width_px(self) -> float:
        """Full width at half maximum of a star in focus: seeing and optics together."""
        scenario = self.night.scenario
        seeing_px = scenario.seeing_arcsec / scenario.camera.scale_arcsec_px
        return float(np.hypot(seeing_px, scenario.blur_px))

    # inner workings

    def _instant(self, at_s: float) -> Utc:
        return self.night.start.plus_seconds(at_s)

    def _file_name(self) -> str:
        return f"{self.night.scenario.name}-{self._frames_taken:04d}.fits"

    def _extinction(self, boresight: FloatArray) -> float:
        return float(self.night.scenario.extinction_mag / max(boresight[2], 0.05))

    def _faintest(self, exposure_s: float, loss_mag: float) -> float:
        """Magnitude of a star of which all the light is half the noise of one pixel."""
        camera = self.night.scenario.camera
        noise = np.sqrt(camera.read_noise_e**2 + self.sky_electrons(exposure_s, 0.0))
        return float(2.5 * np.log10(camera.electrons_s * exposure_s / (0.5 * noise)) - loss_mag)

    def _tracks(
        self, icrs: FloatArray, sky: SkyMoment, mid_s: float, exposure_s: float
    ) -> tuple[FloatArray, FloatArray]:
        """Pixels (S, N) of the stars at the middle of each of S equal parts of the exposure."""
        camera = self.night.scenario.camera
        steps = self._steps(sky, mid_s, exposure_s)
        offsets = (np.arange(steps) + 0.5) / steps * exposure_s - 0.5 * exposure_s
        if steps == 1:
            seen = [sky.observed(icrs)]
        else:  # a parabola through three moments follows the sky to well under a milliarcsecond
            ends = 0.5 * exposure_s
            before, now, after = (sky.later(t).observed(icrs) for t in (-ends, 0.0, ends))
            u = offsets / ends
            seen = [now + (after - before) * (0.5 * t) + (after - 2.0 * now + before) * (0.5 * t * t) for t in u]
        pixels = [project(camera, o @ self.mount.attitude(mid_s + t)) for o, t in zip(seen, offsets)]
        return np.stack([p[0] for p in pixels]), np.stack([p[1] for p in pixels])

    def _steps(self, sky: SkyMoment, mid_s: float, exposure_s: float) -> int:
        """So many that a star moves less than half its width from one to the next."""
        camera = self.night.scenario.camera
        corners = self.mount.attitude(mid_s) @ np.array([[0.0, 0.1, -0.1], [0.0, 0.1, 0.1], [1.0, 1.0, 1.0]])
        marks = (corners / np.linalg.norm(corners, axis=0)).T @ sky.icrs_to_enu
        times = np.linspace(-0.5, 0.5, 9) * exposure_s
        seen = [(sky.later(t).icrs_to_enu @ marks.T).T @ self.mount.attitude(mid_s + t) for t in times]
        path = np.abs(np.diff(np.stack(seen), axis=0)).sum(axis=(0, 2)).max() * camera.focal_px
        return int(np.clip(np.ceil(path / (0.5 * self.star_width_px)), 1, _LONGEST_STEPS))

    def _scene(self, view: View, rng: np.random.Generator) -> Scene:
        scenario, camera = self.night.scenario, self.night.scenario.camera
        x, y = view.x_px, view.y_px
        shake_x, shake_y = self._shake(x.shape, view.exposure_s, rng)
        dim = 0.3 if view.blocked else 1.0
        streak = None
        if rng.random() < scenario.satellites_per_frame and not view.blocked:
            streak = Streak(
                float(rng.uniform(0, camera.width_px)),
                float(rng.uniform(0, camera.height_px)),
                float(rng.uniform(0, np.pi)),
                float(np.exp(rng.normal(4.5, 0.8))),
            )
        return Scene(
            exposure_s=view.exposure_s,
            x_px=x + shake_x,
            y_px=y + shake_y,
            star_electrons=view.electrons * (0.0 if view.blocked else 1.0),
            blur=Blur(self.star_width_px, scenario.defocus_px, 1.0 + 0.5 * min(view.cloud_mag, 2.0)),
            sky_electrons_px=dim * self.sky_electrons(view.exposure_s, view.cloud_mag),
            glow=scenario.glow,
            streak=streak,
            cosmic_rays=0.02 * view.exposure_s,
        )

    def _shake(
        self, shape: tuple[int, int], exposure_s: float, rng: np.random.Generator
    ) -> tuple[FloatArray, FloatArray]:
        """Seeing (common and star by star) and wind, px, of the shape (S, N) or, with strong wind, (S', N)."""
        common, single = image_motion_arcsec(self.night.scenario, exposure_s)
        scale = self.night.scenario.camera.scale_arcsec_px
        wind = self.night.scenario.wind_arcsec * min(1.0, exposure_s**-0.25)
        together = rng.normal(0.0, np.hypot(common, wind) / scale, (2, 1, 1))
        apart = rng.normal(0.0, single / scale, (2, 1, shape[1]))
        within = rng.normal(0.0, wind / scale, (2, shape[0], 1)) if shape[0] > 1 else np.zeros((2, 1, 1))
        moved = together + apart + within
        return np.asarray(moved[0]), np.asarray(moved[1])

    def _header(self, view: View) -> Header:
        scenario, camera = self.night.scenario, self.night.scenario.camera
        clock = view.utc_start.plus_seconds(scenario.clock_error_s)
        header: Header = {
            "DATE-OBS": (iso_of(clock), "UTC, start of exposure"),
            "EXPTIME": (float(view.exposure_s), "seconds"),
            "IMAGETYP": ("Light Frame", ""),
            "INSTRUME": (camera.name, ""),
            "XPIXSZ": (camera.pixel_um, "micrometres"),
            "YPIXSZ": (camera.pixel_um, "micrometres"),
            "XBINNING": (1, ""),
            "YBINNING": (1, ""),
            "CCD-TEMP": (float(scenario.temperature_c + 6.0), "degrees Celsius"),
            "ROWORDER": ("TOP-DOWN", "first row is the top of the picture"),
        }
        if camera.stated_focal_length_mm:
            header["FOCALLEN"] = (camera.stated_focal_length_mm, "millimetres")
        if camera.bayer:
            header["BAYERPAT"] = (camera.bayer, "")
        if scenario.site_in_header:
            header["SITELAT"] = (scenario.site.lat_deg, "degrees, north positive")
            header["SITELONG"] = (scenario.site.lon_deg, "degrees, east positive")
            header["SITEELEV"] = (scenario.site.elev_m, "metres")
        if scenario.pointing_in_header:
            centre = view.centre
            header["RA"] = (round(centre.ra_deg + 0.2, 4), "degrees, as the mount believes")
            header["DEC"] = (round(centre.dec_deg - 0.15, 4), "degrees, as the mount believes")
        return header


def image_motion_arcsec(scenario: Scenario, exposure_s: float) -> tuple[float, float]:
    """Image motion by seeing, one axis: (common to all stars, star by star).

    Sized after the integrals for a 50 mm aperture and 2 arcsec seeing (0.10 to 0.24 arcsec at 1 s), D^(-1/6) (Martin,
    PASP 99, 1360 (1987)), falling slower than 1 / sqrt(t).
    """
    size = (scenario.seeing_arcsec / 2.0) ** (5.0 / 6.0) * (scenario.camera.aperture_mm / 50.0) ** (-1.0 / 6.0)
    time = max(exposure_s, 0.02) ** -0.35
    return 0.12 * size * time, 0.22 * size * time


def _axis_truth(sky: SkyMoment, axis: FloatArray) -> AxisTruth:
    true_east, true_up = np.degrees(offset_from(sky.pole_true, axis)) * 60.0
    east, up = np.degrees(offset_from(sky.pole_refracted, axis)) * 60.0
    return AxisTruth(axis, (float(true_east), float(true_up)), (float(east), float(up)))


def _is_blocked(part: Blocked, enu: FloatArray) -> bool:
    azimuth = np.degrees(np.arctan2(enu[0], enu[1])) % 360.0
    span = (part.to_azimuth_deg - part.from_azimuth_deg) % 360.0
    within = (azimuth - part.from_azimuth_deg) % 360.0 <= span
    return bool(within and np.degrees(np.arcsin(enu[2])) < part.below_altitude_deg)
