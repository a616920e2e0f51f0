"""Worked numbers of screw arithmetic, each with where it comes from."""

from __future__ import annotations

import math

import pytest

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.screws.angles import ScrewAngles, azimuth_screw_acts, offset_from_angles, screw_angles
from polewright.core.screws.learning import learn
from polewright.core.screws.memory import ScrewMemory, ScrewMove
from polewright.core.screws.plan import TurnKind, plan_turn

NONE = ((0.0, 0.0), (0.0, 0.0))


def test_opposite_signs_add_up() -> None:
    # common practice, no source: 18' above, then 21' below after half a turn, are 39' per half turn
    rate = learn(ScrewMemory(None, (ScrewMove(0.5, 18.0, -21.0, 0.05),)))
    assert rate is not None
    # one move cannot tell backlash from rate: the learned rate allows for some backlash, and says how uncertain it is
    assert abs(rate.arcmin_per_turn + 78.0) < 2.0 * rate.sigma_arcmin
    assert rate.arcmin_per_turn < -70.0


@pytest.mark.parametrize(
    ("bearing", "height", "total"),
    # exact vectors, computed independently with numpy for latitude 40; first order would give 9.1478, 30.465, 109.774
    [(10.0, 5.0, 9.1439), (30.0, -20.0, 30.508), (120.0, 60.0, 109.203)],
)
def test_total_of_two_screw_errors(bearing: float, height: float, total: float) -> None:
    east, up = offset_from_angles(ScrewAngles(bearing, height), math.radians(40.0), False)
    assert math.hypot(east, up) * ARCMIN_PER_RAD == pytest.approx(total, abs=6e-4)


def test_azimuth_is_halved_on_the_sky_at_latitude_60() -> None:
    east, up = offset_from_angles(ScrewAngles(20.0, 0.0), math.radians(60.0), False)
    assert east * ARCMIN_PER_RAD == pytest.approx(10.0, abs=1e-3)
    assert abs(up) * ARCMIN_PER_RAD < 0.06  # the arc along the horizon leaves the great circle


def test_clockwise_is_east_in_the_north_and_west_in_the_south() -> None:
    north = screw_angles(0.01, 0.0, NONE, math.radians(40.0), False)
    south = screw_angles(0.01, 0.0, NONE, math.radians(40.0), True)
    assert north.bearing_arcmin > 0.0 > south.bearing_arcmin


@pytest.mark.parametrize("southern", [False, True])
@pytest.mark.parametrize("altitude_deg", [0.0, 3.0, 40.0, 75.0, 87.9])
@pytest.mark.parametrize(("east_deg", "up_deg"), [(0.0, 0.0), (4.0, 2.5), (-1.5, -4.0), (0.001, -0.0003)])
def test_offset_and_screw_coordinates_are_inverse(
    southern: bool, altitude_deg: float, east_deg: float, up_deg: float
) -> None:
    if up_deg > 90.0 - altitude_deg:  # past the zenith the azimuth turns over
        up_deg = -up_deg
    altitude = math.radians(altitude_deg)
    offset = math.radians(east_deg), math.radians(up_deg)
    back = offset_from_angles(screw_angles(*offset, NONE, altitude, southern), altitude, southern)
    assert back == pytest.approx(offset, abs=1e-12)


def test_pole_overhead_leaves_azimuth_without_effect() -> None:
    assert azimuth_screw_acts(math.radians(80.0))
    assert not azimuth_screw_acts(math.radians(89.0))
    assert math.isfinite(screw_angles(0.01, 0.01, NONE, math.pi / 2.0, False).bearing_arcmin)


def test_first_turn_is_a_trial_half_turn_and_grows_when_nothing_moves() -> None:
    assert plan_turn(None, 80.0, 0.2).kind is TurnKind.TRIAL
    assert plan_turn(None, 80.0, 0.2).turns == 0.5
    assert plan_turn(None, 80.0, 0.2, tried_turns=-0.5).turns == -1.0
