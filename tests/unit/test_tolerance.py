"""What a plan bears: the predicted trail against an exposure simulated apart, on the simulated mount and sky."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from polewright.commands.line import run
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.errors import UsageError
from polewright.core.model import FloatArray, Site, TargetPole
from polewright.core.plan.imaging_plan import ImagingPlan, drift_limit_rad, elongation, rotation_limit_rad
from polewright.core.plan.sky_objects import SKY_OBJECTS, sky_object
from polewright.core.plan.tolerance import (
    CAP_RAD,
    TargetTooLow,
    Tolerance,
    longest_exposure_s,
    needed_accuracy,
    unreachable,
    worst_blur_px,
)
from polewright.core.sky.places import default_target
from polewright.simulate.mount import Mount, MountSpec
from polewright.simulate.refraction import refract as through_air
from polewright.words.plan import too_low_words

PLAN = ImagingPlan(
    latitude_deg=40.0,
    declination_deg=40.0,
    focal_length_mm=800.0,
    pixel_um=4.0,
    width_px=6000,
    height_px=4000,
    sub_s=300.0,
)
NO_AIR = replace(PLAN.atmosphere, pressure_hpa=0.0)


def plans(count: int) -> list[ImagingPlan]:
    """Plans of all kinds whose target stays above 25 degrees."""
    rng = np.random.default_rng(20260301)
    found: list[ImagingPlan] = []
    while len(found) < count:
        start = rng.uniform(-4.0, 2.0)
        plan = ImagingPlan(
            latitude_deg=rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 65.0),
            declination_deg=rng.uniform(-70.0, 82.0),
            focal_length_mm=float(np.exp(rng.uniform(np.log(50.0), np.log(2500.0)))),
            pixel_um=rng.uniform(2.4, 9.0),
            width_px=int(rng.integers(1200, 9000)),
            height_px=int(rng.integers(1000, 6000)),
            sub_s=float(np.exp(rng.uniform(np.log(20.0), np.log(900.0)))),
            hour_angle_from_h=start,
            hour_angle_to_h=start + rng.uniform(0.5, 4.0),
            guided=bool(rng.random() < 0.5),
            guide_offset_deg=rng.uniform(0.0, 2.0),
            allowed_blur_px=rng.uniform(0.3, 1.5),
        )
        lowest = np.sin(np.radians(25.0))
        hours = np.radians(15.0 * np.linspace(plan.hour_angle_from_h, plan.hour_angle_to_h, 9))
        if min(true_star(plan, h, np.zeros(1), np.zeros(1))[0, 2] for h in hours) > lowest:
            found.append(plan)
    return found


@pytest.mark.parametrize("number", [n if n < 6 else pytest.param(n, marks=pytest.mark.slow) for n in range(30)])
def test_a_simulated_exposure_shows_the_predicted_trail(number: int) -> None:
    plan = plans(number + 1)[number]
    target = default_target(Site(plan.latitude_deg, 0.0))
    facts = needed_accuracy(plan, target)
    assert isinstance(facts, Tolerance)
    error = facts.limit_rad if facts.limit_rad > 0.0 else facts.advised_rad
    predicted = worst_blur_px(plan, target, error)
    if facts.limit_rad > 0.0:
        assert predicted == pytest.approx(plan.allowed_blur_px, rel=0.005) or error > np.radians(4.99)
    assert simulated_worst_px(plan, target, error) == pytest.approx(predicted, rel=0.05)


@pytest.mark.parametrize(
    ("focal_mm", "minutes", "r_deg", "dec_deg", "rotation_arcmin", "drift_arcmin"),
    [
        (135.0, 2.0, 6.0, 30.0, 48.1, 5.82),
        (400.0, 5.0, 1.6, 60.0, 14.07, 0.786),
        (800.0, 5.0, 1.0, 40.0, 17.24, 0.393),
        (800.0, 10.0, 1.0, 80.0, 1.954, 0.196),
        (2000.0, 10.0, 0.4, 40.0, 8.62, 0.0786),
    ],
)
def test_closed_forms_by_hand(
    focal_mm: float, minutes: float, r_deg: float, dec_deg: float, rotation_arcmin: float, drift_arcmin: float
) -> None:
    """E = beta cos dec / (w T r) and beta / (w T), worked by hand for 4 um pixels and half a pixel."""
    half_field = np.degrees(math.atan(0.5 * math.hypot(600, 400) * 4.0e-3 / focal_mm))
    plan = ImagingPlan(
        40.0,
        dec_deg,
        focal_mm,
        4.0,
        600,
        400,
        minutes * 60.0,
        guide_offset_deg=r_deg - half_field,
        atmosphere=NO_AIR,
    )
    assert rotation_limit_rad(plan) * ARCMIN_PER_RAD == pytest.approx(rotation_arcmin, rel=0.01)
    assert drift_limit_rad(plan) * ARCMIN_PER_RAD == pytest.approx(drift_arcmin, rel=0.01)


@pytest.mark.parametrize("dec_deg", [0.0, 30.0, 60.0, 75.0])
@pytest.mark.parametrize("lat_deg", [40.0, -35.0])
def test_without_air_the_exact_limit_is_the_closed_form(lat_deg: float, dec_deg: float) -> None:
    """Where the worst hour angle lies in the plan and E tan(dec) is small they must meet."""
    plan = replace(
        PLAN, latitude_deg=lat_deg, declination_deg=math.copysign(dec_deg, lat_deg), atmosphere=NO_AIR, sub_s=120.0
    )
    for guided, closed in ((True, rotation_limit_rad(plan)), (False, drift_limit_rad(plan))):
        facts = needed_accuracy(replace(plan, guided=guided))
        assert isinstance(facts, Tolerance)
        assert facts.air_blur_px < 1e-6
        # near the pole the exact simulation knows better: E tan(dec), and a field that spans some declination
        assert facts.limit_rad == pytest.approx(closed, rel=0.02 + 0.03 * (dec_deg > 50.0))
        assert facts.closed_form_rad == closed


def test_advice_keeps_between_floor_and_cap() -> None:
    easy = needed_accuracy(replace(PLAN, focal_length_mm=50.0, sub_s=30.0))
    hard = needed_accuracy(replace(PLAN, focal_length_mm=2500.0, sub_s=600.0, guided=False))
    usual = needed_accuracy(replace(PLAN, sub_s=450.0))
    assert isinstance(easy, Tolerance) and isinstance(hard, Tolerance) and isinstance(usual, Tolerance)
    assert easy.advised_rad == CAP_RAD and easy.feasible
    assert hard.advised_rad == hard.floor_rad and not hard.feasible
    # 3 x 3" of measurement, 0.3 x 68.9" of pole, 10" of flexure in quadrature, by hand
    assert hard.floor_rad * ARCSEC_PER_RAD == pytest.approx(math.sqrt(81.0 + 20.7**2 + 100.0), abs=0.1)
    assert usual.advised_rad == pytest.approx(0.5 * usual.limit_rad)


def test_the_chosen_pole_matters_near_the_pole_and_hardly_elsewhere() -> None:
    near = needed_accuracy(replace(PLAN, declination_deg=82.0, sub_s=600.0))
    usual = needed_accuracy(replace(PLAN, sub_s=60.0))
    assert isinstance(near, Tolerance) and isinstance(usual, Tolerance)
    by_pole = {p.target: p for p in near.poles}
    assert by_pole[TargetPole.REFRACTED].blur_px < 0.5 * by_pole[TargetPole.TRUE].blur_px
    assert near.best is not TargetPole.TRUE
    assert max(p.limit_rad for p in usual.poles) < 1.1 * min(p.limit_rad for p in usual.poles)


@pytest.mark.parametrize("guided", [True, False])
def test_both_directions_agree(guided: bool) -> None:
    """The longest exposure with the error that just fits is the exposure of the plan."""
    plan = replace(PLAN, guided=guided, sub_s=200.0 if guided else 40.0)
    facts = needed_accuracy(plan)
    assert isinstance(facts, Tolerance)
    longest = longest_exposure_s(plan, facts.target, facts.limit_rad)
    assert isinstance(longest, float)
    assert longest == pytest.approx(plan.sub_s, rel=0.02)
    assert longest_exposure_s(plan, facts.target, 3.0 * facts.limit_rad) < 0.6 * longest


def test_a_target_that_sets_is_refused_with_a_cure() -> None:
    low = replace(PLAN, declination_deg=0.0, hour_angle_from_h=-2.0, hour_angle_to_h=7.0)
    never = replace(PLAN, declination_deg=-60.0)
    for plan, cure in ((low, "Keep to hour angles"), (never, "Choose a target")):
        refusal = needed_accuracy(plan)
        assert isinstance(refusal, TargetTooLow)
        assert refusal == unreachable(plan) == longest_exposure_s(plan, TargetPole.TRUE, 1e-3)
        assert too_low_words(refusal).cure.startswith(cure)


def test_the_hours_of_a_target_that_sets_are_those_in_which_it_is_up() -> None:
    """Declination 0 at latitude 40: sin h = cos 40 cos t, so that it stands 10 degrees high at t = 5.12 h."""
    low = replace(PLAN, declination_deg=0.0, hour_angle_from_h=-2.0, hour_angle_to_h=7.0)
    refusal = unreachable(low)
    assert refusal is not None and refusal.high_h is not None
    sets_h = math.degrees(math.acos(math.sin(math.radians(10.0)) / math.cos(math.radians(40.0)))) / 15.0
    assert refusal.high_h[0] == -2.0 and sets_h - 9.0 / 24.0 < refusal.high_h[1] <= sets_h


@pytest.mark.parametrize("allowed_px", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("error_arcmin", [1.0, 10.0, 100.0])
@pytest.mark.parametrize("sub_s", [0.5, 60.0, 3600.0])
def test_an_exposure_as_long_as_it_may_be_trails_as_far_as_it_may(
    allowed_px: float, error_arcmin: float, sub_s: float
) -> None:
    """Wherever the search begins: a shorter exposure trails less, a longer one more than is allowed."""
    plan = replace(PLAN, allowed_blur_px=allowed_px, sub_s=sub_s, guided=True, guide_offset_deg=1.0)
    error = error_arcmin / ARCMIN_PER_RAD
    longest = longest_exposure_s(plan, TargetPole.REFRACTED, error)
    assert isinstance(longest, float)
    trail = worst_blur_px(plan, TargetPole.REFRACTED, error, longest)
    assert trail == pytest.approx(allowed_px, rel=0.01) or (trail < allowed_px and longest == plan.total_s)


def test_an_exposure_may_not_outlast_the_plan() -> None:
    """An hour of hour angle is 0.9972696 hours of time, the sidereal day in mean solar days (from memory)."""
    plan = replace(PLAN, hour_angle_from_h=-0.5, hour_angle_to_h=0.5, sub_s=60.0, focal_length_mm=50.0)
    assert longest_exposure_s(plan, TargetPole.REFRACTED, 0.0) == pytest.approx(3600.0 * 0.9972696, rel=1e-5)


def test_a_long_focus_stretches_stars_less_than_pixels() -> None:
    """Trail L against a disc of sigma s: sqrt(1 + L^2 / 12 s^2), the variance of a uniform smear."""
    sigma_px = PLAN.seeing_arcsec / PLAN.scale_arcsec_px / 2.3548
    assert elongation(PLAN, 0.0) == 1.0
    assert elongation(PLAN, math.sqrt(12.0) * sigma_px) == pytest.approx(math.sqrt(2.0))


@pytest.mark.parametrize(
    "change",
    [{"latitude_deg": 95.0}, {"focal_length_mm": 0.0}, {"sub_s": math.nan}, {"hour_angle_to_h": -3.0}],
)
def test_nonsense_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        replace(PLAN, **change)  # type: ignore[arg-type]


def test_objects_are_found_however_written() -> None:
    assert sky_object("m 42") == sky_object("M42") == SKY_OBJECTS["M42"][1]
    assert sky_object("ngc7000").dec_deg == 44.5  # OpenNGC: 44.53
    assert len(SKY_OBJECTS) >= 30
    with pytest.raises(UsageError, match="not in the list"):
        sky_object("M999")


COMMAND = ["tolerance", "--lat", "40", "--focal-length", "800", "--pixel-size", "4", "--sub", "300"]


def test_the_command_in_json_and_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*COMMAND, "--object", "M31", "--error", "3", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["feasible"] and facts["floor_arcmin"] < facts["advised_arcmin"] < facts["limit_arcmin"]
    assert facts["blur_advised_px"] < 0.5 and facts["longest_exposure_s"] > 300.0
    assert run([*COMMAND, "--object", "M31"]) == 0
    text = capsys.readouterr().out
    assert "Align to" in text and "refracted pole" in text


def test_why_the_advice_is_less_than_the_limit(capsys: pytest.CaptureFixture[str]) -> None:
    """The limit is named with what is made of it, and no pole is called the best by figures that are the same."""
    plan = ["--lat", "52.3", "--focal-length", "400", "--pixel-size", "4", "--sub", "120"]
    assert run(["tolerance", *plan, "--object", "M31"]) == 0
    told = capsys.readouterr().out
    assert "Half of that is advised, never more than 5.0′." in told
    assert (
        run(["tolerance", "--lat", "52.3", "--focal-length", "50", "--pixel-size", "4", "--sub", "10", "--dec", "10"])
        == 0
    )
    assert "(best)" not in capsys.readouterr().out
    assert run(["tolerance", *plan, "--dec", "88", "--hours", "6"]) == 0
    poles = [line for line in capsys.readouterr().out.splitlines() if "Axis on" in line]
    assert [line.endswith("(best)") for line in poles] == [False, False, True], "room for 25″, 47″ and 68″"


def test_the_command_refuses_with_reason_and_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*COMMAND, "--dec", "-65"]) == 3
    said = capsys.readouterr().out
    assert "degrees below the horizon" in said and "stands -" not in said
    assert run([*COMMAND, "--dec", "40", "--sensor", "big"]) == 2
    assert run([*COMMAND, "--dec", "40", "--blur", "-1"]) == 2
    assert "allowed blur" in capsys.readouterr().err


# the exposure simulated apart: simulated mount, traced rays, guiding by root finding


def simulated_worst_px(plan: ImagingPlan, target: TargetPole, error_rad: float) -> float:
    """Longest trail over hour angles, error directions, corners and places of the guide star."""
    half_h = 0.5 * plan.sub_s * SIDEREAL_RATE_RAD_S * 12.0 / np.pi
    hours = [plan.hour_angle_from_h + half_h, plan.hour_angle_to_h - half_h]
    middle = 0.5 * (plan.hour_angle_from_h + plan.hour_angle_to_h)
    hours = [middle] if hours[0] >= hours[1] else [hours[0], middle, hours[1]]
    tried = [(h, d) for h in hours for d in np.arange(8) * np.pi / 4.0]
    trails = [simulated_px(plan, target, error_rad, *case) for case in tried]
    hour, direction = tried[int(np.argmax(trails))]
    near = [
        simulated_px(plan, target, error_rad, hour, direction + s) for s in np.radians([-22.5, -11.0, 11.0, 22.5])
    ]
    return max(*trails, *near)


def simulated_px(plan: ImagingPlan, target: TargetPole, error_rad: float, hour: float, direction: float) -> float:
    """Longest trail of one exposure centred on an hour angle, with the error in one direction."""
    half_s = 0.5 * plan.sub_s
    begin = np.radians(15.0 * hour) - SIDEREAL_RATE_RAD_S * half_s
    mount = Mount(spec_of(plan, target, error_rad * np.cos(direction), error_rad * np.sin(direction)))
    ready = mount.point(0.0, seen(plan, true_star(plan, begin, np.zeros(1), np.zeros(1)))[0])
    mount.set_tracking(ready, True)
    moments = np.linspace(0.0, plan.sub_s, 3 if plan.guided else 5)
    attitudes = [mount.attitude(ready + t) for t in moments]
    count = 10 if plan.guided else 16
    angles = np.arange(count) * 2.0 * np.pi / count
    rim = np.stack([np.cos(angles), np.sin(angles)])
    corner = math.atan(0.5 * math.hypot(plan.width_px, plan.height_px) / plan.focal_px)
    hours = begin + SIDEREAL_RATE_RAD_S * moments
    stars = [seen(plan, true_star(plan, h, *(corner * rim))) for h in hours]
    guides = [seen(plan, true_star(plan, h, *(-np.radians(plan.guide_offset_deg) * rim))) for h in hours]
    trails = []
    for k in range(rim.shape[1]):
        path = []
        for attitude, star, guide, t in zip(attitudes, stars, guides, moments):
            if plan.guided:
                wanted = attitudes[0].T @ guides[0][k]
                attitude = guided_attitude(mount.axis_enu(ready + t), attitude, wanted, guide[k])
            c = attitude.T @ star[k]
            path.append(c[:2] / c[2] * plan.focal_px)
        trails.append(max(np.linalg.norm(p - q) for p in path for q in path))
    return float(max(trails))


def guided_attitude(axis: FloatArray, attitude: FloatArray, wanted: FloatArray, now: FloatArray) -> FloatArray:
    """The attitude after the two axes have been moved until the guide star is where it was in the camera."""
    hinge = np.cross(axis, attitude[:, 2])
    hinge = hinge / np.linalg.norm(hinge)
    angles = np.zeros(2)
    for _ in range(6):  # Newton on the two axes
        held = rotation_about(axis, angles[0]) @ rotation_about(hinge, angles[1]) @ attitude
        miss = held.T @ now - wanted
        if np.abs(miss).max() < 1e-12:
            break
        slopes = -held.T @ np.stack([np.cross(axis, now), np.cross(hinge, now)], axis=1)
        angles = angles - np.linalg.lstsq(slopes, miss, rcond=None)[0]
    assert np.abs(miss).max() < 1e-9
    return np.asarray(held)


def spec_of(plan: ImagingPlan, target: TargetPole, east_rad: float, up_rad: float) -> MountSpec:
    """A faultless mount whose axis is so far off the pole that the traced rays give."""
    lat = np.radians(plan.latitude_deg)
    side = 1.0 if plan.latitude_deg >= 0.0 else -1.0
    pole = np.array([0.0, side * np.cos(lat), abs(np.sin(lat))])
    lifted = through_air(pole[None], plan.atmosphere)[0]
    altitude = abs(lat) + target.value * (np.arcsin(lifted[2]) - abs(lat))
    azimuth = 0.0 if side > 0.0 else np.pi
    north = np.array([np.cos(altitude) * np.sin(azimuth), np.cos(altitude) * np.cos(azimuth), np.sin(altitude)])
    east = np.array([1.0, 0.0, 0.0])
    up = np.cross(east, north) * side
    axis = north + east_rad * east + up_rad * up
    axis = axis / np.linalg.norm(axis)
    return MountSpec(
        axis_azimuth_deg=float(np.degrees(np.arctan2(axis[0], axis[1]))),
        axis_altitude_deg=float(np.degrees(np.arcsin(axis[2]))),
        southern=side < 0.0,
    )


def true_star(plan: ImagingPlan, hour_angle_rad: float, north_rad: FloatArray, west_rad: FloatArray) -> FloatArray:
    """ENU (..., 3) without air of stars north and west (...) of the target."""
    lat, d = np.radians(plan.latitude_deg), np.radians(plan.declination_deg)
    u = np.array([0.0, -np.sin(lat), np.cos(lat)])
    n = np.array([0.0, np.cos(lat), np.sin(lat)])
    e = np.array([1.0, 0.0, 0.0])
    meridian = np.cos(hour_angle_rad) * u - np.sin(hour_angle_rad) * e
    west = -np.sin(hour_angle_rad) * u - np.cos(hour_angle_rad) * e
    centre = np.cos(d) * meridian + np.sin(d) * n
    north = -np.sin(d) * meridian + np.cos(d) * n
    v = centre + np.multiply.outer(np.tan(north_rad), north) + np.multiply.outer(np.tan(west_rad), west)
    return np.asarray(v / np.linalg.norm(v, axis=-1, keepdims=True))


def seen(plan: ImagingPlan, true_enu: FloatArray) -> FloatArray:
    """Through the air, by traced rays."""
    return through_air(true_enu, plan.atmosphere)


WHOLLY_SOUTH = {"Sagittarius", "Tucana", "Sculptor", "Carina", "Centaurus", "Dorado"}
WHOLLY_NORTH = {
    "Hercules", "Vulpecula", "Andromeda", "Triangulum", "Lyra", "Canes Venatici", "Ursa Major", "Cassiopeia",
    "Perseus", "Cygnus", "Cepheus",
}  # fmt: skip


def test_objects_stand_on_the_side_of_the_equator_of_their_constellation() -> None:
    """These constellations do not cross it (boundaries of the IAU, Delporte 1930; from memory)."""
    seen = {"south": 0, "north": 0}
    for name, at in SKY_OBJECTS.values():
        where = name.rpartition(" in ")[2]
        if where in WHOLLY_SOUTH | WHOLLY_NORTH:
            side = "south" if at.dec_deg < 0.0 else "north"
            assert (where in WHOLLY_SOUTH) == (side == "south"), name
            seen[side] += 1
    assert min(seen.values()) >= 8
