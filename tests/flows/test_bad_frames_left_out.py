"""One frame over its budget, or damaged, costs a command that frame alone, and is named."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from polewright.__main__ import main
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.errors import FrameReadError
from polewright.core.model import Frame, StarList
from polewright.services.contained.reader import breach_words
from polewright.services.detector import Detector

BAD = ("a_damaged.fits", "m_heavy.fits")
"""One before all others, one in their midst: the second can be read, but finding its stars overruns the budget."""


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    folder = tmp_path_factory.mktemp("frames")
    assert main(["simulate", str(folder), "--scenario", "calm", "--seed", "5", "--span", "90", "--frames", "4"]) == 0
    good = sorted(folder.glob("*.fits"))
    damaged, heavy = (folder / name for name in BAD)
    damaged.write_bytes(b"SIMPLE  =                    T" + b"x" * 3000)
    shutil.copy(good[0], heavy)
    return [str(path) for path in (damaged, *good[:2], heavy, *good[2:])]


@pytest.fixture(autouse=True)
def heavy_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    detect = Detector.detect

    def within_budget(self: Detector, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        if frame.name == BAD[1]:
            raise FrameReadError(breach_words(frame.name, "work"))
        return detect(self, frame, hot_pixels)

    monkeypatch.setattr(Detector, "detect", within_budget)


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, list[Any]]:
    capsys.readouterr()
    code = main([*arguments, "--json"])
    return code, [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_measure(frames: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    code, (facts,) = told(capsys, "measure", *frames)
    assert code == 0 and facts["axis"] is not None and len(facts["frames"]) == 4
    assert all(any(name in text for text in facts["warnings"]) for name in BAD)


def test_measure_of_nothing_usable_is_exit_4(frames: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert told(capsys, "measure", frames[3], frames[3])[0] == 4


def test_follow(frames: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    code, lines = told(capsys, "follow", *frames, "--capture", "5")
    assert code == 0 and [line["file"] for line in lines] == [Path(path).name for path in frames]
    assert [line["file"] for line in lines if "not usable" in " ".join(line["warnings"])] == [BAD[1]]
    assert lines[0]["warnings"] and lines[4]["east_arcmin"] is not None


def test_drift(frames: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    _, (facts,) = told(capsys, "drift", *frames)
    assert facts["frames_used"] == 4
    assert [item["file"] for item in facts["frames_left_out"]] == list(BAD)


def test_drift_of_frames_that_are_not_solved(frames: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    _, (facts,) = told(capsys, "drift", "--field", "0", "40", *frames, "--position-angle", "0")
    assert {item["file"] for item in facts["frames_left_out"]} >= set(BAD)
    assert facts["frames_used"] + len(facts["frames_left_out"]) == len(frames)
