"""What a real mount adds to geometry, against closed forms; and which nights have it."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.errors import UsageError
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import FloatArray
from polewright.simulate.mount import Mount, MountSpec
from polewright.simulate.night import draw_night, iso_of, scenario_named
from polewright.simulate.real_mount import PERFECT, RealMount, RealRanges, draw_real_mount, usual_within
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS, MountRanges
from simulated_star_lists import observe_stars
from sky_solver import shared_catalogue

AT_POLE = MountSpec(0.0, 90.0)  # a mount at the pole of the Earth: declination is altitude, the RA axis the vertical


def altitudes(mount: Mount, hours_deg: FloatArray) -> FloatArray:
    """Altitude (rad) of the camera at each rotation, counted from the upper meridian, after a swing to 30 deg."""
    start = np.array([0.0, -np.cos(np.radians(30.0)), np.sin(np.radians(30.0))])
    now, at, found = mount.point(0.0, start), 0.0, []
    for hour in hours_deg:
        now, at = mount.rotate_ra(now + 1.0, float(hour - at)), hour
        found.append(np.arcsin(mount.attitude(now + 1.0)[2, 2]))
    return np.array(found)


def test_a_pull_grows_with_the_rotation_and_looks_like_an_axis_error() -> None:
    """Least squares of p h on sin h over (-a, a): p 2 (sin a - a cos a) / (a - sin a cos a), by integration."""
    hours, a = np.linspace(-45.0, 45.0, 181), np.radians(45.0)
    seen = altitudes(Mount(replace(AT_POLE, real=RealMount(pull_arcsec_rad=20.0))), hours)
    h = np.radians(hours)
    change = np.abs(seen[-1] - seen[0]) * ARCSEC_PER_RAD
    assert change == pytest.approx(20.0 * 2.0 * a, abs=0.01)
    axis = np.linalg.lstsq(np.stack([np.sin(h), np.cos(h), np.ones_like(h)], axis=1), seen, rcond=None)[0][0]
    expected = 20.0 * 2.0 * (np.sin(a) - a * np.cos(a)) / (a - np.sin(a) * np.cos(a))
    assert abs(axis) * ARCSEC_PER_RAD == pytest.approx(expected, abs=0.1)


def test_what_flops_flops_at_the_meridian_and_stays() -> None:
    mount = Mount(replace(AT_POLE, real=RealMount(flop_arcsec=(0.0, 8.0))))
    seen = altitudes(mount, np.array([-60.0, -20.0, 20.0, 60.0])) * ARCSEC_PER_RAD
    assert np.abs(np.diff(seen)) == pytest.approx([0.0, 8.0, 0.0], abs=0.01)


def test_a_worn_bearing_leans_the_same_way_at_the_same_angle_and_by_its_size() -> None:
    real = RealMount(seed=3, wobble_arcsec=5.0)
    once, again = real.shaft_tilt_rad(np.array([0.7, 0.7]))
    assert once == pytest.approx(again)
    tilts = real.shaft_tilt_rad(np.linspace(0.0, 200.0 * np.pi, 4000))
    assert np.sqrt(np.mean(tilts**2, axis=0)) * ARCSEC_PER_RAD == pytest.approx(5.0, rel=0.06)
    mount = Mount(replace(AT_POLE, real=real))
    assert mount.axis_enu(10.0) == pytest.approx(Mount(AT_POLE).axis_enu(10.0)), "the truth is the bearings' middle"


def test_creep_moves_the_axis_itself_at_its_pace() -> None:
    mount = Mount(replace(MountSpec(0.0, 50.0), real=RealMount(creep_arcsec_min=1.0, creep_toward_deg=0.0)))
    before, after = mount.axis_enu(0.0), mount.axis_enu(600.0)
    assert np.arcsin(before[2]) - np.arcsin(after[2]) == pytest.approx(10.0 / ARCSEC_PER_RAD, rel=1e-3), "north sinks"


def test_the_wander_has_its_size_and_its_memory() -> None:
    """An Ornstein-Uhlenbeck process keeps 1/e of its correlation after one memory (Uhlenbeck & Ornstein, Phys. Rev.
    36, 823 (1930)); over many mounts."""
    sizes, kept = [], []
    for seed in range(60):
        real = RealMount(seed=seed, wander_arcsec=0.8, wander_s=20.0)
        times = np.arange(0.0, 1200.0, 5.0)
        walk = real.tube_shift_rad(np.zeros(times.size), times) * ARCSEC_PER_RAD
        sizes.append(np.mean(walk**2))
        kept.append(np.mean(walk[4:] * walk[:-4]))
    assert np.sqrt(np.mean(sizes)) == pytest.approx(0.8, rel=0.05)
    assert np.mean(kept) / np.mean(sizes) == pytest.approx(np.exp(-1.0), abs=0.1)


def test_gusts_come_as_often_as_they_are_said_to_and_pass() -> None:
    real = RealMount(seed=8, gust_arcsec=3.0, gusts_a_minute=1.0)
    times = np.arange(0.0, 7200.0, 0.5)
    sway = np.hypot(*real.tube_shift_rad(np.zeros(times.size), times).T)
    begun = np.count_nonzero((sway[1:] > 0.0) & (sway[:-1] == 0.0))
    assert begun == pytest.approx(120, abs=30), "five sigmas of a third of 360 slots"
    assert 0.02 < np.mean(sway > 0.0) < 0.1


def test_times_on_frames_are_late_but_never_by_more_than_said() -> None:
    rig = SimulatedRig(SCENARIOS["first-night"], 2, shared_catalogue())
    real = rig.night.mount.real
    late = [rig.night.stamped(rig.night.start.plus_seconds(t)).seconds_since(rig.night.start) - t for t in range(50)]
    assert min(late) >= real.late_s - 1e-4 and max(late) <= real.late_s + real.late_jitter_s + 1e-4
    assert max(late) > min(late)
    header = rig.take(rig.night.start, 0.1).header
    assert header["DATE-OBS"][0] == iso_of(rig.night.stamped(rig.night.start))


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_night_draws_a_real_mount_and_real_weather_unless_asked_for_a_perfect_one(name: str) -> None:
    one, two = (draw_night(SCENARIOS[name], seed) for seed in (1, 2))
    ranges = SCENARIOS[name].real
    for night in (one, two):
        low, high = ranges.pull_arcsec_rad
        assert abs(night.mount.real.pull_arcsec_rad - 0.5 * (low + high)) < 1.25 * (high - low), "within five sigmas"
        assert abs(night.mount.sag_arcsec) < 50.0
    assert one.mount.real.pull_arcsec_rad != two.mount.real.pull_arcsec_rad
    assert one.air.temperature_c != two.air.temperature_c and one.air.pressure_hpa != two.air.pressure_hpa
    exact = draw_night(scenario_named(f"perfect-{name}"), 1)
    assert replace(exact.mount.real, seed=0, creep_toward_deg=0.0, wander_s=30.0) == PERFECT
    assert exact.mount.sag_arcsec == exact.mount.settle_tripod_arcmin == 0.0
    assert exact.mount.azimuth == one.mount.azimuth, "all else is the same night"
    assert exact.air.temperature_c == SCENARIOS[name].temperature_c


def test_what_is_no_scenario_is_none_with_a_perfect_mount_either() -> None:
    with pytest.raises(UsageError, match="There is no scenario 'perfect-nowhere'"):
        scenario_named("perfect-nowhere")


BENDING = {"pull_arcsec_rad"}


def test_the_mounts_fill_their_ranges() -> None:
    """Of 400 drawn evenly the mean is the middle to a fifth of the half width (6 sigmas), and no end is passed."""
    ranges = RealRanges()
    mounts = [draw_real_mount(ranges, seed, "any") for seed in range(400)]
    for name in {f.name for f in fields(RealRanges)} - {"flop_share", "flop_arcsec"} - BENDING:
        low, high = getattr(ranges, name)
        drawn = np.array([getattr(mount, name) for mount in mounts])
        assert low <= drawn.min() and drawn.max() <= high
        assert drawn.mean() == pytest.approx(0.5 * (low + high), abs=0.1 * (high - low))
    flop = np.array([np.hypot(*mount.flop_arcsec) for mount in mounts])
    assert np.mean(flop > 0.0) == pytest.approx(ranges.flop_share, abs=0.09)
    assert flop.max() <= ranges.flop_arcsec[1]


@pytest.mark.parametrize("what", ["sag", "pull"])
def test_what_is_supposed_of_a_rig_is_what_mounts_are_drawn_from(what: str) -> None:
    """Moments and quantiles of 2000 mounts: without a middle of their own, one sigma as supposed, 95 % within two,
    and normal (68.3 % within one: handbook table). Drawn evenly from 0 to 20 the sag was 10 on average, and no claim
    of 95 % could have been outside as often as it says."""
    wide = MountRanges().sag_arcsec if what == "sag" else RealRanges().pull_arcsec_rad
    sigma = (FLEXURE_PRIOR.sag_sigma_rad if what == "sag" else FLEXURE_PRIOR.pull_sigma) * ARCSEC_PER_RAD
    middle = (FLEXURE_PRIOR.sag_rad if what == "sag" else FLEXURE_PRIOR.pull) * ARCSEC_PER_RAD
    drawn = np.array([usual_within(wide, np.random.default_rng([seed, 7])) for seed in range(2000)])
    assert drawn.mean() == pytest.approx(middle, abs=4.0 * sigma / np.sqrt(2000.0))
    assert drawn.std() == pytest.approx(sigma, rel=0.06)
    away = np.abs(drawn - middle) / sigma
    assert np.mean(away < 1.0) == pytest.approx(0.683, abs=0.04)
    assert np.mean(away < 1.96) == pytest.approx(0.95, abs=0.02)


def test_the_drawn_weather_bends_the_light() -> None:
    """Refraction follows the density of the air (gas law): cold and high pressure raise the seen pole further."""
    dense = replace(SCENARIOS["calm"], real=RealRanges(pressure_hpa=(18.0, 18.0), warmer_c=(-8.0, -8.0)))
    raised, density = [], []
    for scenario in (dense, scenario_named("perfect-calm")):
        rig = SimulatedRig(scenario, 1, shared_catalogue())
        sky = rig.sky(rig.night.start)
        raised.append(np.arcsin(sky.pole_refracted[2]) - np.arcsin(sky.pole_true[2]))
        density.append(rig.night.air.pressure_hpa / (rig.night.air.temperature_c + 273.15))
    assert raised[0] / raised[1] == pytest.approx(density[0] / density[1], rel=2e-3)
    assert density[0] > 1.04 * density[1]


def test_star_lists_and_frames_see_the_same_bent_mount() -> None:
    rig = SimulatedRig(SCENARIOS["no-pole-view"], 3, shared_catalogue())
    now = rig.point(-1.5, 15.0, rig.night.start).plus_seconds(30.0)
    listed = observe_stars(rig, now, 2.0, np.random.default_rng(1), noise_px=0.0, seeing=False)
    shown = rig.take(now, 2.0).view
    where = {int(i): xy for i, xy in zip(shown.stars.index, np.stack([shown.x_px.mean(0), shown.y_px.mean(0)], 1))}
    ours = np.array([where[int(i)] for i in listed.catalogue_index if i >= 0])
    assert np.abs(ours - listed.true_px[listed.catalogue_index >= 0]).max() < 0.5
