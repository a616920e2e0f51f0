"""What the readers hand on: pixels as found in the file, and the facts its header offers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from polewright.core.model import Site, SkyPosition, Sourced, Utc

MAX_PIXELS = 300_000_000  # twice the largest sensor on sale (common practice, no source)
MAX_BYTES = 1 << 30  # of pixel data in one frame
MIN_SIDE_PX = 8  # anything smaller is not a picture of the sky


class DamagedError(Exception):
    """The bytes are not a frame. The message completes the sentence "NAME cannot be read: ..."."""


class OtherKindError(DamagedError):
    """The bytes are whole, but of a kind that is not read. The message says which: "a zip archive"."""


class NotPlainError(Exception):
    """A library would have to unpack the bytes, which is not wanted here."""


@dataclass(frozen=True, eq=False)
class Raster:
    """Pixels as the file holds them, row 0 at the top.

    `samples` is (height, width), or (3, height, width) when the file has colour planes, of any real dtype.
    `mosaic`: a colour filter array lies over the pixels. `full_adu`: the largest value the file's format can hold,
    or the white level it states; None when the format does not tell (floating point).
    """

    samples: NDArray[Any]
    full_adu: float | None
    mosaic: bool = False
    warnings: tuple[str, ...] = ()
    images: int = 1  # that the file holds


@dataclass(frozen=True)
class FrameFacts:
    """What a header says, believed only after a plausibility check; None where it says nothing of use."""

    utc_mid: Sourced[Utc] | None = None
    exposure_s: Sourced[float] | None = None
    saturation_adu: float | None = None
    focal_length_mm: Sourced[float] | None = None
    pixel_size_um: Sourced[float] | None = None
    scale_arcsec_px: Sourced[float] | None = None
    site: Sourced[Site] | None = None
    pointing: Sourced[SkyPosition] | None = None
    camera: str | None = None
    temperature_c: Sourced[float] | None = None  # of the outside air
    pressure_hpa: Sourced[float] | None = None
    time_withheld: bool = False  # a local time is stated, but not how far it is from UTC: nothing is guessed
    warnings: tuple[str, ...] = ()


def check_claim(width: int, height: int, planes: int, bytes_per_sample: int) -> None:
    """DamagedError when a header claims a picture that no camera takes; called before anything is allocated."""
    if width < MIN_SIDE_PX or height < MIN_SIDE_PX:
        raise DamagedError(f"its picture is {width} x {height} pixels, which cannot be a frame of the sky")
    if width * height * planes > MAX_PIXELS or width * height * planes * bytes_per_sample > MAX_BYTES:
        raise DamagedError(f"its header claims {width} x {height} pixels, more than any camera delivers")
