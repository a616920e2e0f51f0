"""A real night tracked for 6.8 hours: what a drift says of the whole and of its parts agrees, or is refused.

Source: MicroObservatory, field of HAT-P-32, 18 frames (README of the shared frames). Nobody knows where the axis
pointed, nor whether something guided: once a drift was stated to 0.2′ for this night, and its own thirds contradicted
it.
"""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polewright.__main__ import main

PLACE = ["--lat", "31.68", "--lon", "-110.88", "--elev", "2340"]
OPTICS = ["--focal-length", "540", "--pixel-size", "13.6"]
PARTS = [(0, 18), (0, 9), (9, 18), (0, 6), (6, 12), (12, 18)]  # the whole, halves, thirds
MOST_APART = 3.0  # sigmas: chosen


@pytest.fixture(scope="module")
def night(shared_frames: Path) -> list[str]:
    """The frames in the order of time, which their names give."""
    frames = [*shared_frames.glob("HATP-*.FITS"), *(shared_frames / "tracked-night").glob("HATP-*.FITS")]
    assert len(frames) == 18
    return [str(path) for path in sorted(frames, key=lambda path: path.name)]


def _said(night: list[str], capsys: pytest.CaptureFixture[str], *told: str) -> list[dict[str, Any]]:
    """What the drift of each part says."""
    said = []
    for begin, end in PARTS:
        code = main(["drift", "--json", *told, *PLACE, *OPTICS, *night[begin:end]])
        said.append({**json.loads(capsys.readouterr().out), "code": code})
    return said


def test_nobody_said_that_guiding_was_off_and_the_night_does_not_show_it(
    night: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    said = _said(night, capsys)
    refused = [part for part in said if part["axis"] is None]
    assert said[0] in refused and len(refused) == 4
    assert {part["kind"] for part in refused} == {"maybe_guided"}
    assert {part["code"] for part in refused} == {3}


def test_the_parts_that_are_measured_agree_with_the_whole(
    night: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the tripod is not known to have stood; told that it has, whole and first third are further apart."""
    axes = [part["axis"] for part in _said(night, capsys, "--guiding", "off") if part["axis"] is not None]
    assert len(axes) == 3
    for one, other in combinations(axes, 2):
        apart = np.array([one[k] - other[k] for k in ("east_arcmin", "up_arcmin")])
        sigma = np.sqrt(np.diag(one["covariance_arcmin2"]) + np.diag(other["covariance_arcmin2"]))
        assert (np.abs(apart) < MOST_APART * sigma).all()
        assert (sigma > 1.0).all()
