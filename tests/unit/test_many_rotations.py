"""Many rotations at once are those of one at a time; ERFA rv2m (SOFA: a passive matrix) is the reference."""

from __future__ import annotations

import erfa
import numpy as np
import pytest

from polewright.core.angles import rotation_about, turned_about, unit
from polewright.core.model import Utc
from polewright.core.screws.doable import _LADDER, _READ, _nearest
from polewright.services.catalogue import load_catalogue
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.rotations import rotations, rotations_about
from polewright.simulate.scenarios import SCENARIOS


def test_rotation_vectors_against_erfa() -> None:
    vectors = np.random.default_rng(5).normal(0.0, 1.0, (40, 3))
    assert rotations(vectors) == pytest.approx(np.swapaxes(erfa.rv2m(vectors), 1, 2), abs=1e-14)


def test_no_vector_turns_nothing() -> None:
    assert rotations(np.zeros((2, 3))) == pytest.approx(np.stack([np.eye(3)] * 2), abs=0.0)


def test_about_one_axis() -> None:
    rng = np.random.default_rng(6)
    axis, angles, v = unit(rng.normal(0.0, 1.0, 3)), rng.uniform(-7.0, 7.0, 20), rng.normal(0.0, 1.0, 3)
    single = np.stack([rotation_about(axis, float(angle)) for angle in angles])
    assert rotations_about(axis, angles) == pytest.approx(single, abs=1e-14)
    assert turned_about(axis, v, angles) == pytest.approx(single @ v, abs=1e-14)


def test_a_kicked_turned_slipped_mount_is_the_same_at_many_moments_as_at_each() -> None:
    rig = SimulatedRig(SCENARIOS["kicked-tripod"], 3)
    now: Utc = rig.point(-1.0, 40.0, rig.night.start)
    rig.set_tracking(True, now)
    now = rig.rotate_ra(30.0, rig.turn("altitude", -0.7, rig.turn("azimuth", 1.3, now)))
    rig.tighten(now)
    rig.mount.slip_declination(rig.seconds(now) + 5.0, 3.0)
    times = np.linspace(0.0, 900.0, 61)
    each = np.stack([rig.mount.attitude(float(t)) for t in times])
    assert rig.mount.attitudes(times) == pytest.approx(each, abs=1e-14)
    assert np.abs(np.diff(each, axis=0)).max() > 1e-3


def test_the_nearest_turn_is_the_nearest_of_all() -> None:
    for sizes in (_LADDER, _READ):
        assert tuple(sorted(sizes)) == sizes
        for turns in np.geomspace(1.0 / 150.0, 11.9, 500):
            best = min(abs(np.log(step / turns)) for step in sizes)
            assert abs(np.log(_nearest(float(turns), sizes) / turns)) == pytest.approx(best, abs=1e-12)


def test_the_catalogue_of_the_program_is_read_once() -> None:
    assert load_catalogue() is load_catalogue()
