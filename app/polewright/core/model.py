"""The nouns of the program: frozen values that every layer shares.

Frames of reference and signs (quoted by tests):

* Pixels are (x, y): x to the right, y DOWN, the centre of the first (top left) pixel is (0, 0).
* The camera frame is right-handed: x right, y down, z outward along the boresight, the boresight being the
  image centre ((width - 1) / 2, (height - 1) / 2). A mirrored image is un-mirrored by negating camera x, so that
  every attitude is a proper rotation.
* ENU is the Earth-fixed local frame: x East, y North, z Up. Azimuth runs from North through East.
* Matrices are named source_to_target: v_target = source_to_target @ v_source. Directions are unit vectors (..., 3).
* Position angle: from North through East.
* The offset of the mount axis is given on the sky, against the chosen target pole: `east` is positive when the
  upper end of the axis lies east of the pole, `up` is positive when it is too high. Both hemispheres.
* Longitude is positive to the east. Latitude is positive to the north.
* Covariances of an attitude belong to the small rotation vector eps in CAMERA axes: C_true = C @ Rot(eps).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, IntFlag
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from polewright.core.axis_reasons import AxisDoubt
from polewright.core.budget import Budget
from polewright.core.star_trouble import StarTrouble

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
PixelArray = NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.float32]

Matrix = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]

T = TypeVar("T")


@dataclass(frozen=True)
class Sourced(Generic[T]):
    """A value together with where it came from, in words a person understands ("FITS header FOCALLEN")."""

    value: T
    source: str


@dataclass(frozen=True, order=True)
class Utc:
    """An instant of UTC as a two-part Julian date (ERFA quasi-JD), jd1 + jd2 days."""

    jd1: float
    jd2: float

    def seconds_since(self, other: Utc) -> float:
        """Seconds from `other` to this instant (86400 s days; leap seconds are of no concern here)."""
        return ((self.jd1 - other.jd1) + (self.jd2 - other.jd2)) * 86400.0

    def plus_seconds(self, seconds: float) -> Utc:
        """The instant `seconds` later. Whole days go into jd1, so that instants in a row stand in order."""
        days, part = divmod(self.jd2 + seconds / 86400.0, 1.0)
        return Utc(self.jd1 + days, part)


@dataclass(frozen=True)
class Site:
    """Where the mount stands: geodetic latitude (north +), longitude (east +), height above sea level."""

    lat_deg: float
    lon_deg: float
    elev_m: float = 0.0


@dataclass(frozen=True)
class Atmosphere:
    """What refraction needs. `pressure_hpa` (as a barometer at the site shows it) 0 switches refraction off.

    `scale_sigma`: one sigma of the refraction, as a share of itself, that the doubt about the weather makes.
    """

    pressure_hpa: float
    temperature_c: float = 10.0
    relative_humidity: float = 0.5
    wavelength_um: float = 0.574
    scale_sigma: float = 0.03  # of the season: core/sky/weather.py


@dataclass(frozen=True)
class SkyPosition:
    """A direction in ICRS, degrees."""

    ra_deg: float
    dec_deg: float


@dataclass(frozen=True, eq=False)
class Frame:
    """One exposure as luminance pixels (height, width), read-only, row 0 at the top, with what its header offers.

    `pixels` keeps the file's own depth where it can (uint8, uint16) and is float32 otherwise.
    `saturation_adu` is the value at and above which a pixel is taken as full, None when unknown.
    """

    name: str
    pixels: PixelArray
    utc_mid: Sourced[Utc] | None
    exposure_s: Sourced[float] | None = None
    saturation_adu: float | None = None
    focal_length_mm: Sourced[float] | None = None
    pixel_size_um: Sourced[float] | None = None  # effective, after binning
    scale_arcsec_px: Sourced[float] | None = None  # stated outright, or by a WCS in the header
    site: Sourced[Site] | None = None
    pointing: Sourced[SkyPosition] | None = None
    camera: str | None = None
    warnings: tuple[str, ...] = ()
    temperature_c: Sourced[float] | None = None  # of the outside air
    pressure_hpa: Sourced[float] | None = None  # at the site, not reduced to sea level
    file_utc: Utc | None = None  # when the file was written, by the computer that keeps it
    dated_by_file: bool = False  # `utc_mid` is taken from `file_utc`: nothing in the frame states a time
    images: int = 1  # that its file holds; `warnings` names the one that this is

    @property
    def width_px(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def stated_utc(self) -> Utc | None:
        """Mid-exposure by the frame's own word, which the clock of the computer can be held against."""
        return None if self.utc_mid is None or self.dated_by_file else self.utc_mid.value


SharedError = tuple[float, float, float, float]
NO_SHARED_ERROR: SharedError = (0.0, 0.0, 0.0, 0.0)


class StarFlag(IntFlag):
    """What is unusual about a detected star. NONE is a clean star."""

    NONE = 0
    SATURATED = 1  # some pixel is full: the flux is a lower bound
    BLENDED = 2  # touches a neighbour
    EDGE = 4  # cut by the edge of the frame
    ELONGATED = 8  # trailed, or a double


@dataclass(frozen=True, eq=False)
class StarList:
    """Stars measured on one frame, brightest first. All arrays have shape (N,).

    `sigma_px` is the standard deviation of the centroid along one axis. `fwhm_px` is the full width at half
    maximum. An empty or poor list says why in `trouble`.
    `shared_error`: what all stars are off by when a motion has drawn them out: one sigma of the moment within the
    exposure (x, y in px, turn in rad, all together), and of a turn by itself (rad).
    """

    width_px: int
    height_px: int
    x_px: FloatArray
    y_px: FloatArray
    sigma_px: FloatArray
    flux_adu: FloatArray
    snr: FloatArray
    fwhm_px: FloatArray
    flags: IntArray
    background_adu: float = 0.0
    noise_adu: float = 0.0
    rejected: Mapping[str, int] = field(default_factory=dict)  # "hot pixels": 214, "trail": 1, ...
    trouble: StarTrouble | None = None
    shared_error: SharedError = NO_SHARED_ERROR

    def __len__(self) -> int:
        return int(self.x_px.size)


@dataclass(frozen=True)
class Camera:
    """Pinhole camera with radial distortion; the boresight is the image centre.

    With u = (x - cx, y - cy) / focal_px (x negated when mirrored), the tangent-plane position is
    u * (1 + k1 |u|^2 + k2 |u|^4). `focal_px` = 206264.806 / scale_arcsec_px.
    """

    width_px: int
    height_px: int
    focal_px: float
    mirrored: bool = False
    k1: float = 0.0
    k2: float = 0.0

    @property
    def scale_arcsec_px(self) -> float:
        """Plate scale at the image centre, arcsec per pixel."""
        return 206264.80624709636 / self.focal_px

    @property
    def field_sr(self) -> float:
        """Solid angle of the frame, flat and without distortion."""
        return self.width_px * self.height_px / self.focal_px**2


@dataclass(frozen=True, eq=False)
class Attitude:
    """A proper rotation camera -> sky frame (3, 3) and the covariance (3, 3), rad^2, of its error in camera axes."""

    camera_to_sky: FloatArray
    covariance_rad2: FloatArray


@dataclass(frozen=True, eq=False)
class MatchedStars:
    """The stars a plate solution rests on; arrays of length M.

    `icrs` (M, 3) are unit vectors at the epoch of the frame (proper motion applied, no parallax, no aberration).
    """

    x_px: FloatArray
    y_px: FloatArray
    sigma_px: FloatArray
    icrs: FloatArray
    catalogue_index: IntArray
    magnitude: FloatArray
    residual_arcsec: FloatArray  # (M, 2), along camera x and y

    def __len__(self) -> int:
        return int(self.x_px.size)


@dataclass(frozen=True, eq=False)
class PlateSolution:
    """Where one frame points in ICRS, as found from the star pattern ("Solved")."""

    attitude_icrs: Attitude
    camera: Camera
    matched: MatchedStars
    stars_detected: int
    rms_arcsec: float  # of the residuals, per axis
    log_odds: float  # natural log of the odds against chance
    path: str  # how it was found: "hint", "whole sky", ...
    warnings: tuple[str, ...] = ()
    shared_error: SharedError = NO_SHARED_ERROR  # that of its stars
    # covariance (3, 3), rad^2, camera axes: error of the frame whose stars placed this one; part of the attitude's
    inherited_rad2: FloatArray | None = None
    anchor: SkyPosition | None = None  # centre of the frame that the catalogue placed and that this error began with

    @property
    def scale_arcsec_px(self) -> float:
        return self.camera.scale_arcsec_px

    @property
    def mirrored(self) -> bool:
        return self.camera.mirrored

    @property
    def centre(self) -> SkyPosition:
        """ICRS position of the image centre."""
        v = self.attitude_icrs.camera_to_sky[:, 2]
        ra = np.degrees(np.arctan2(v[1], v[0])) % 360.0
        return SkyPosition(float(ra), float(np.degrees(np.arctan2(v[2], np.hypot(v[0], v[1])))))

    @property
    def position_angle_deg(self) -> float:
        """Position angle of image up, north through east, 0 <= pa < 360."""
        c = self.attitude_icrs.camera_to_sky
        z, up = c[:, 2], -c[:, 1]
        # rows of the local basis: east = (-sin ra, cos ra, 0), north = z x east, scaled by cos dec
        east = np.array([-z[1], z[0], 0.0])
        north = np.cross(z, east)
        return float(np.degrees(np.arctan2(up @ east, up @ north)) % 360.0)


class TargetPole(Enum):
    """Which pole the axis is driven to. The fraction is how much of the pole's refraction is added (0 to 1)."""

    TRUE = 0.0
    BETWEEN = 0.5
    REFRACTED = 1.0


@dataclass(frozen=True, eq=False)
class SkyFrame:
    """One solved exposure as the axis estimator needs it: when, and the attitude in observed ENU.

    `inherited_rad2` and `anchor` as in PlateSolution: the part of the covariance that is one error of all frames with
    this anchor, and of the frame whose own `centre` it is.
    """

    name: str
    utc_mid: Utc
    attitude_enu: Attitude
    camera: Camera
    stars_matched: int
    rms_arcsec: float
    centre: SkyPosition
    inherited_rad2: FloatArray | None = None
    anchor: SkyPosition | None = None


@dataclass(frozen=True, eq=False)
class AxisEstimate:
    """Where the mount axis points, against the target pole, and how sure that is.

    `axis_enu` is the unit vector of the axis on the elevated-pole side; `axis_in_camera` the same axis in camera
    coordinates, constant as long as camera, focus and declination axis are untouched. `covariance_rad2` is for
    (east, up), on the sky: the whole of `budget`, or where that is None how the frames scatter and nothing else.
    `companion_*` is the robust second estimate. `chi2` tests all frames against their own noise, before anything is
    allowed for; `suspect` names a frame that does not fit.
    """

    site: Site
    target: TargetPole
    target_enu: FloatArray  # (3,) unit vector of the target pole
    axis_enu: FloatArray
    axis_in_camera: FloatArray
    east_rad: float
    up_rad: float
    covariance_rad2: FloatArray  # (2, 2)
    chi2: float
    dof: int
    companion_east_rad: float
    companion_up_rad: float
    rotation_rad: FloatArray  # (N,) angle of each frame about the axis, first is 0
    frames: tuple[str, ...]
    suspect: str | None = None
    warnings: tuple[AxisDoubt, ...] = ()
    budget: Budget | None = None

    @property
    def total_rad(self) -> float:
        return float(np.hypot(self.east_rad, self.up_rad))
