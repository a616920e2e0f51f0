"""EXIF facts of pictures written by Pillow (an independent writer; EXIF 2.32 tag numbers, CIPA DC-008)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.time import Time
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from polewright.core.model import Frame, Utc
from polewright.services.frame_reader import read_frame

EXIF_IFD, GPS_IFD = 0x8769, 0x8825


def picture(path: Path, exif_tags: dict[int, Any], gps: dict[int, Any] | None = None, width: int = 60) -> Path:
    exif = Image.Exif()
    exif[0x0110] = "Invented camera"
    exif.get_ifd(EXIF_IFD).update(exif_tags)
    exif.get_ifd(GPS_IFD).update(gps or {})
    Image.fromarray(np.full((40, width), 9, np.uint8)).save(path, exif=exif)
    return path


def seconds_from(frame: Frame, text: str) -> float:
    assert frame.utc_mid is not None
    time = Time(text)
    return frame.utc_mid.value.seconds_since(Utc(time.jd1, time.jd2))


TAGS = {
    0x9003: "2026:03:01 22:15:30",  # DateTimeOriginal
    0x9291: "250",  # SubSecTimeOriginal
    0x829A: IFDRational(30, 1),  # ExposureTime
    0x920A: IFDRational(135, 1),  # FocalLength
    0xA20E: IFDRational(6_000_000, 1417),  # FocalPlaneXResolution
    0xA210: 3,  # per cm
}


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_a_full_exif_block(tmp_path: Path, suffix: str) -> None:
    frame = read_frame(picture(tmp_path / f"a.{suffix}", {**TAGS, 0x9011: "+02:00"}))
    assert abs(seconds_from(frame, "2026-03-01T20:15:45.250")) < 1e-5
    assert frame.utc_mid is not None and "its UTC offset" in frame.utc_mid.source
    assert frame.exposure_s is not None and frame.exposure_s.value == 30.0
    assert frame.focal_length_mm is not None and frame.focal_length_mm.value == 135.0
    assert frame.pixel_size_um is not None and frame.pixel_size_um.value == pytest.approx(2.3617, abs=1e-3)
    assert frame.camera == "Invented camera"
    assert frame.warnings == ()


def test_local_time_without_an_offset_is_not_guessed(tmp_path: Path) -> None:
    path = picture(tmp_path / "20200101_000000.jpg", TAGS)
    frame = read_frame(path)
    assert frame.utc_mid is None
    assert any("state the UTC offset" in warning for warning in frame.warnings)
    stated = read_frame(path, utc_offset_hours=-7.0)
    assert abs(seconds_from(stated, "2026-03-02T05:15:45.250")) < 1e-5
    assert stated.utc_mid is not None and "taken as -7 h from UTC" in stated.utc_mid.source


def test_a_picture_made_smaller_has_larger_pixels(tmp_path: Path) -> None:
    frame = read_frame(picture(tmp_path / "a.jpg", {**TAGS, 0xA002: 120}))
    assert frame.pixel_size_um is not None
    assert frame.pixel_size_um.value == pytest.approx(2 * 2.3617, abs=2e-3)
    assert "scaled from 120 to 60 pixels" in frame.pixel_size_um.source


def test_the_position_of_the_satellite_receiver(tmp_path: Path) -> None:
    gps = {1: "S", 2: (33.0, 30.0, 36.0), 3: "W", 4: (70.0, 45.0, 0.0), 5: b"\x00", 6: 2400.0}
    site = read_frame(picture(tmp_path / "a.jpg", TAGS, gps)).site
    assert site is not None
    assert (site.value.lat_deg, site.value.lon_deg, site.value.elev_m) == pytest.approx((-33.51, -70.75, 2400.0))


@pytest.mark.parametrize(
    "tags",
    [
        {0x9003: "0000:00:00 00:00:00"}, {0x9003: "2026:02:30 10:00:00", 0x9011: "+01:00"}, {0x9003: "yesterday"},
        {0x829A: IFDRational(1, 0)}, {0x920A: IFDRational(0, 1)}, {0xA20E: IFDRational(0, 1)},
        {0xA20E: IFDRational(1, 1), 0xA210: 2},
    ],
)  # fmt: skip
def test_nonsense_is_left_out(tmp_path: Path, tags: dict[int, Any]) -> None:
    frame = read_frame(picture(tmp_path / "a.jpg", tags))
    assert frame.exposure_s is None and frame.focal_length_mm is None and frame.pixel_size_um is None
    assert frame.utc_mid is not None and frame.utc_mid.source == "modification time of the file"


@pytest.mark.parametrize("turned", [False, True])
def test_a_picture_turned_upright_keeps_its_scale(tmp_path: Path, turned: bool) -> None:
    """EXIF states the sides as they were taken, 6000 x 4000; software that turns the picture swaps its own."""
    exif = Image.Exif()
    exif.get_ifd(EXIF_IFD).update({**TAGS, 0xA002: 6000, 0xA003: 4000})
    size = (6000, 4000) if turned else (4000, 6000)
    Image.fromarray(np.full(size, 9, np.uint8)).save(tmp_path / "a.jpg", exif=exif)
    found = read_frame(tmp_path / "a.jpg").pixel_size_um
    assert found is not None and found.value == pytest.approx(2.3617, abs=1e-3)
