"""A simulated rig under a simulated sky, driven by virtual time: turn screws, swing axes, take frames."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polewright.core.errors import UsageError
from polewright.core.model import FloatArray, Utc
from polewright.simulate.fits_file import fits_bytes, write_at_once
from polewright.simulate.mount import Mount
from polewright.simulate.night import Night, draw_night
from polewright.simulate.render import render
from polewright.simulate.scenarios import Scenario
from polewright.simulate.shutter import Header, header_of, scene_of
from polewright.simulate.sky import SkyMoment
from polewright.simulate.stars import StarSource
from polewright.simulate.view import AxisTruth, View, axis_truth, look, sky_over


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

    def turn(self, screw: str, turns: float, at: Utc, seconds: float | None = None) -> Utc:
        """Turn the "azimuth" or "altitude" screw clockwise (positive) by `turns`, within `seconds` where given."""
        screws = {"azimuth": self.mount.azimuth, "altitude": self.mount.altitude}
        if screw not in screws:
            raise UsageError(f"There is no screw '{screw}': it is either azimuth or altitude.")
        return self._instant(screws[screw].turn(self.seconds(at), turns, seconds))

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

    def nudge(self, arcmin: float, at: Utc) -> None:
        """A press on the hand controller: the declination moves toward the elevated pole and stays there."""
        self.mount.slip_declination(self.seconds(at), arcmin)

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
        pixels = render(self.night.scenario.camera, scene_of(self.night, view, rng), rng)
        return Exposure(pixels, header_of(self.night, view), view)

    def write_frame(self, folder: Path, utc: Utc, exposure_s: float) -> tuple[Path, View]:
        """Take a frame and let its FITS file appear in `folder`, complete at once."""
        exposure = self.take(utc, exposure_s)
        path = folder / self._file_name()
        write_at_once(path, fits_bytes(exposure.pixels, exposure.header))
        return path, exposure.view

    # the truth

    def seconds(self, utc: Utc) -> float:
        """Seconds since the start of the night."""
        return utc.seconds_since(self.night.start)

    def axis(self, utc: Utc) -> AxisTruth:
        """Where the RA axis points at `utc`."""
        return axis_truth(self.sky(utc), self.mount.axis_enu(self.seconds(utc)))

    def sky(self, utc: Utc) -> SkyMoment:
        """The sky at `utc`."""
        return sky_over(self.night, utc)

    def view(self, utc: Utc, exposure_s: float) -> View:
        """What stands where on the sensor while the shutter is open from `utc`."""
        return look(self.night, self.mount, self._catalogue, utc, exposure_s)

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

    def _instant(self, at_s: float) -> Utc:
        return self.night.start.plus_seconds(at_s)

    def _file_name(self) -> str:
        return f"{self.night.scenario.name}-{self._frames_taken:04d}.fits"
