"""Frames of a rig whose pull is known are judged without it, and bearings run out by an arcsecond without blame."""

from __future__ import annotations

import math

import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD, rotation_about
from polewright.core.axis.fit import shared_axis
from polewright.core.axis.straight import straightened
from polewright.core.axis.suspects import judge
from polewright.core.axis_reasons import is_disagreement
from polewright.core.flexure import Flexure
from polewright.core.model import FloatArray

POLE = np.array([0.0, math.cos(math.radians(50.0)), math.sin(math.radians(50.0))])
X = np.array([1.0, 0.0, 0.0])
TURNED_DEG = (-70.0, -35.0, 0.0, 40.0)


def turn(pull_arcsec: float = 0.0, wobble_arcsec: float = 0.0) -> FloatArray:
    """Attitudes of a camera 40 degrees from the pole, turned about it; pulled in declination by so much a radian
    (written out here with its own rotations), and off by so much, another way at every place."""
    found = []
    for index, degrees in enumerate(TURNED_DEG):
        angle = math.radians(degrees)
        away = math.radians(40.0) + pull_arcsec / ARCSEC_PER_RAD * angle
        way = np.array([math.cos(2.0 * index), math.sin(2.0 * index), 0.0])
        start = rotation_about(X, -away) @ np.stack([X, np.cross(POLE, X), POLE], axis=1)
        found.append(rotation_about(way, wobble_arcsec / ARCSEC_PER_RAD) @ rotation_about(POLE, angle) @ start)
    return np.stack(found)


STARS = np.stack([np.diag([0.12, 0.12, 3.5]) ** 2 / ARCSEC_PER_RAD**2] * len(TURNED_DEG))
NAMES = [str(degrees) for degrees in TURNED_DEG]


@pytest.mark.parametrize("pull_arcsec", [15.0, -40.0])
def test_a_pull_that_is_known_is_taken_off_the_frames(pull_arcsec: float) -> None:
    """Left in, it puts the axis off by a third of its size and more; taken off, within 0.02"."""
    bent = turn(pull_arcsec)
    straight = straightened(bent, POLE, Flexure(0.0, 1e-9, pull_arcsec / ARCSEC_PER_RAD, 1e-9, 3))
    assert np.linalg.norm(shared_axis(bent, POLE)[0] - POLE) * ARCSEC_PER_RAD > 0.3 * abs(pull_arcsec)
    assert np.linalg.norm(shared_axis(straight, POLE)[0] - POLE) * ARCSEC_PER_RAD < 0.02
    assert not any(map(is_disagreement, judge(NAMES, straight, STARS, POLE).warnings))


def test_a_rig_of_which_nothing_is_known_is_left_as_it_is() -> None:
    bent = turn(15.0)
    assert straightened(bent, POLE, Flexure()) is bent


def test_an_arcsecond_of_wobble_is_no_disagreement_and_a_slip_is() -> None:
    """Stars tell a tenth of an arcsecond; a good bearing runs out by one. Twenty is something else."""
    assert not judge(NAMES, turn(wobble_arcsec=1.0), STARS, POLE).warnings
    assert judge(NAMES, turn(wobble_arcsec=20.0), STARS, POLE).warnings
