"""A frame that kills or overruns what reads it is said to be unusable, and the next one is measured."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest

from hostile_frames import compressed
from polewright.core.errors import FrameReadError
from polewright.services.contained import process
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.detector import Detector
from polewright.simulate.fits_file import fits_bytes


@pytest.mark.skipif(os.name == "nt", reason="abort opens a dialogue there")
def test_a_frame_that_kills_its_reader_is_named_with_a_cure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "evil.fits.fz"
    path.write_bytes(compressed())
    helper = HelperProcess()
    reader = ContainedReader(helper)
    monkeypatch.setattr(process, "helper_command", lambda: [sys.executable, "-c", "import os; os.abort()"])
    with pytest.raises(
        FrameReadError, match=r"^evil\.fits\.fz is not usable: what reads it has crashed\. .*next one"
    ):
        reader.read(path)
    monkeypatch.undo()
    assert reader.read(path).width_px == 20
    helper.close()


def test_the_careful_pass_runs_in_the_helper(tmp_path: Path) -> None:
    path = tmp_path / "dark.fits"
    path.write_bytes(fits_bytes(np.random.default_rng(1).normal(500, 9, (64, 64)).astype(np.uint16), {}))
    helper = HelperProcess()
    reader = ContainedReader(helper)
    frame = reader.read(path)
    assert not helper.running
    assert len(Detector(reader.find_stars).detect(frame)) == 0 and helper.running
    helper.close()
    assert not helper.running
