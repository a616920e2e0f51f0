"""A camera on a small telescope: where a direction lands on the sensor, and how electrons become numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import FloatArray

ELECTRONS_PER_CM2_S = (
    2.2e6  # magnitude 0, broad band 0.4-0.8 um, with a usual silicon sensor: common practice, no source
)


@dataclass(frozen=True)
class CameraSpec:
    """Optics and sensor.

    `focal_length_mm` is the true one, `stated_focal_length_mm` what the header says (0: says nothing). A direction at
    the angle t from the optical axis lands at focal * tan t * (1 + barrel1 tan^2 t + barrel2 tan^4 t) from
    `axis_offset_px`, counted from the image centre. `number` seeds what belongs to this one sensor for good: hot
    pixels, dark current and sensitivity from pixel to pixel.
    """

    name: str = "Lantern One"
    width_px: int = 1280
    height_px: int = 960
    pixel_um: float = 5.0
    focal_length_mm: float = 240.0
    stated_focal_length_mm: float = 240.0
    aperture_mm: float = 50.0
    mirrored: bool = False
    barrel1: float = 0.0
    barrel2: float = 0.0
    axis_offset_px: tuple[float, float] = (0.0, 0.0)
    vignetting: float = 0.15  # loss of light in the corner
    throughput: float = 0.8
    bits: int = 12
    left_justified: bool = True  # 12 bits stored in the upper bits of 16, as most cameras do
    electrons_per_adu: float = 0.9
    offset_adu: float = 40.0
    full_well_e: float = 14000.0
    read_noise_e: float = 3.0
    row_noise_e: float = 0.3
    dark_e_s: float = 0.15
    hot_pixels: int = 400
    sensitivity_spread: float = 0.006
    bayer: str = ""
    number: int = 1

    @property
    def focal_px(self) -> float:
        return self.focal_length_mm * 1000.0 / self.pixel_um

    @property
    def scale_arcsec_px(self) -> float:
        """At the image centre."""
        return ARCSEC_PER_RAD / self.focal_px

    @property
    def half_diagonal_rad(self) -> float:
        """From the image centre to the corner, distortion apart."""
        return float(np.arctan(0.5 * np.hypot(self.width_px, self.height_px) / self.focal_px))

    @property
    def electrons_s(self) -> float:
        """Of a star of magnitude 0."""
        return ELECTRONS_PER_CM2_S * np.pi / 4.0 * (self.aperture_mm / 10.0) ** 2 * self.throughput


def project(camera: CameraSpec, v_camera: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pixels x, y (...,) of unit vectors (..., 3) in the camera frame; NaN behind the camera or far outside."""
    z = np.where(v_camera[..., 2] > 0.05, v_camera[..., 2], np.nan)
    x, y = v_camera[..., 0] / z, v_camera[..., 1] / z
    r2 = x * x + y * y
    stretch = camera.focal_px * (1.0 + r2 * (camera.barrel1 + camera.barrel2 * r2))
    # a barrel that folds back on itself would bring stars from far outside into the picture
    slope = 1.0 + r2 * (3.0 * camera.barrel1 + 5.0 * camera.barrel2 * r2)
    stretch = np.where(slope > 0.0, stretch, np.nan)
    sign = -1.0 if camera.mirrored else 1.0
    dx, dy = camera.axis_offset_px
    return (
        np.asarray(sign * x * stretch + dx + (camera.width_px - 1) / 2.0),
        np.asarray(y * stretch + dy + (camera.height_px - 1) / 2.0),
    )


def centre_direction(camera: CameraSpec) -> FloatArray:
    """Unit vector (3,) in the camera frame of the image centre, which is not quite the optical axis."""
    sign = -1.0 if camera.mirrored else 1.0
    dx, dy = camera.axis_offset_px
    v = np.array([-sign * dx / camera.focal_px, -dy / camera.focal_px, 1.0])
    return np.asarray(v / np.linalg.norm(v))


@dataclass(frozen=True, eq=False)
class Sensor:
    """What one sensor has for good, each (height, width) float32: sensitivity with vignetting, dark current."""

    sensitivity: NDArray[np.float32]
    dark_e_s: NDArray[np.float32]


@lru_cache(maxsize=4)
def sensor_of(camera: CameraSpec) -> Sensor:
    """The sensor with the number `camera.number`: the same hot pixels night after night."""
    rng = np.random.Generator(np.random.SFC64(camera.number))
    h, w = camera.height_px, camera.width_px
    y = (np.arange(h, dtype=np.float32) - (h - 1) / 2.0)[:, None]
    x = (np.arange(w, dtype=np.float32) - (w - 1) / 2.0)[None, :]
    corner2 = 0.25 * (h * h + w * w)
    sensitivity = 1.0 - camera.vignetting * (x * x + y * y) / corner2
    sensitivity = sensitivity * (1.0 + camera.sensitivity_spread * rng.standard_normal((h, w), dtype=np.float32))
    if camera.bayer:
        share = {"R": 0.55, "G": 1.0, "B": 0.6}
        cell = np.array([share[c] for c in camera.bayer], dtype=np.float32).reshape(2, 2)
        sensitivity = sensitivity * np.tile(cell, (h // 2 + 1, w // 2 + 1))[:h, :w]
    dark = camera.dark_e_s * np.exp(0.4 * rng.standard_normal((h, w), dtype=np.float32))
    where = rng.integers(0, h * w, camera.hot_pixels)
    dark.ravel()[where] += (camera.dark_e_s + 1.0) * 30.0 * np.exp(1.5 * rng.standard_normal(camera.hot_pixels))
    sensor = Sensor(sensitivity.astype(np.float32), dark.astype(np.float32))
    sensor.sensitivity.setflags(write=False)
    sensor.dark_e_s.setflags(write=False)
    return sensor


def digitise(camera: CameraSpec, electrons: NDArray[np.float32]) -> NDArray[np.uint16] | NDArray[np.uint8]:
    """Electrons (height, width) as the camera writes them: offset, full well, bits. `electrons` is used up."""
    np.minimum(electrons, camera.full_well_e, out=electrons)
    electrons *= 1.0 / camera.electrons_per_adu
    electrons += camera.offset_adu + 0.5
    top = 2**camera.bits - 1
    np.clip(electrons, 0.0, top, out=electrons)
    if camera.bits <= 8:
        return electrons.astype(np.uint8)
    numbers = electrons.astype(np.uint16)
    if camera.left_justified:
        numbers <<= 16 - camera.bits
    return numbers
