"""What the window makes of frames, by its own composition: no field asks for what a clock can tell."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from astropy.io import fits

from polewright.bootstrap_window import build_means
from polewright.core.night.orientation.clock import check_clock, offset_to_set_s
from polewright.services.measuring import Optics, arrival_of
from polewright.words.clock import set_label


def test_a_camera_that_writes_local_time_is_put_right_by_one_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Central European Summer Time is UTC + 2 h (EU directive 2000/84/EC, from memory).

    The comment of the keyword says that the time is local, and nothing says how far that is from UTC.
    """
    monkeypatch.setenv("POLEWRIGHT_HOME", str(tmp_path))
    frame = fits.PrimaryHDU(np.random.default_rng(1).normal(1000.0, 10.0, (480, 640)).astype(np.float32))
    frame.header["DATE-OBS"] = ("2026-07-01T23:00:00", "local time of the camera")
    frame.header["EXPTIME"] = 2.0
    frame.writeto(tmp_path / "a.fits")
    means = build_means(cast(Any, None), cast(Any, None))
    measured = means.make_measure(Optics(), lambda _work, _share: None)(tmp_path / "a.fits")
    taken = measured.frame.utc_mid
    assert taken is not None and "local time" in taken.source
    landed = taken.value.plus_seconds(-2.0 * 3600.0 + 1.0 + 3.0)  # three seconds after the shutter has closed
    found = check_clock([arrival_of(measured.frame, taken.value, landed)])
    assert found is not None and not found.agrees
    assert set_label(offset_to_set_s(found.ahead_s)) == "Put the frames' clock 2 h back"
