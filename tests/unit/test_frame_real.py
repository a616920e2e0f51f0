"""Real frames of four kinds of camera are read (facts known from the headers and from the collection's notes)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polewright.core.sky.timescales import iso_text
from polewright.services.frame_reader import read_frame
from polewright.services.frame_reader.families import is_frame_name


def test_every_frame_is_read(shared_frames: Path) -> None:
    paths = [path for path in sorted(shared_frames.rglob("*")) if path.is_file() and is_frame_name(path.name)]
    assert len(paths) >= 10
    for path in paths:
        frame = read_frame(path)
        assert frame.utc_mid is not None
        assert frame.pixels.ndim == 2 and frame.pixels.size > 200_000
        assert float(np.std(frame.pixels)) > 0.5


def test_a_telescope_frame_with_local_time_and_offset(shared_frames: Path) -> None:
    frame = read_frame(shared_frames / "HATP-32171220013343.FITS")
    assert (frame.width_px, frame.height_px) == (650, 500)
    assert frame.utc_mid is not None and iso_text(frame.utc_mid.value) == "2017-12-20T01:34:13.317Z"
    assert frame.exposure_s is not None and frame.exposure_s.value == 60.0
    assert frame.scale_arcsec_px is not None and frame.scale_arcsec_px.value == 5.21
    assert frame.pointing is not None and frame.pointing.value.dec_deg == pytest.approx(46.769087)
    assert frame.site is not None and frame.site.value.lon_deg == -110.88  # Arizona: the header counts to the west
    assert frame.saturation_adu == 4095.0  # a 12-bit camera


def test_a_meteor_camera_frame_with_its_time_in_the_name(shared_frames: Path) -> None:
    frame = read_frame(min((shared_frames / "fixed-camera").glob("*.fits")))
    assert (frame.width_px, frame.height_px, frame.pixels.dtype) == (1280, 720, np.uint8)
    assert frame.utc_mid is not None and iso_text(frame.utc_mid.value) == "2023-03-19T03:12:41.804Z"
    assert "file name" in frame.utc_mid.source


@pytest.mark.parametrize(("name", "shape"), [("few-stars/img0.png", (1040, 1392)), ("polar_30sec.jpg", (960, 1280))])
def test_pictures_without_any_time(shared_frames: Path, name: str, shape: tuple[int, int]) -> None:
    frame = read_frame(shared_frames / name)
    assert frame.pixels.shape == shape
    assert frame.utc_mid is not None and "modification time" in frame.utc_mid.source
    assert any("no time" in warning for warning in frame.warnings)
