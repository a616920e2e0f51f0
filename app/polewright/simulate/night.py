"""A scenario becomes one particular night: everything that a seed decides is drawn here, once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist

import erfa
import numpy as np

from polewright.core.errors import UsageError
from polewright.core.model import Atmosphere, FloatArray, Utc
from polewright.simulate.mount import MountSpec
from polewright.simulate.real_mount import PERFECT, Range, RealMount, draw_real_mount, usual_within
from polewright.simulate.scenarios import SCENARIOS, Clouds, Scenario, perfect
from polewright.simulate.screw import ScrewSpec
from polewright.simulate.sky import EarthState, sky_moment


@dataclass(frozen=True, eq=False)
class Night:
    """What is so tonight. `kick` is (seconds after the start, rotation vector in ENU, rad), None without one."""

    scenario: Scenario
    seed: int
    start: Utc
    air: Atmosphere
    earth: EarthState
    mount: MountSpec
    kick: tuple[float, FloatArray] | None
    cloud_phase: FloatArray

    @property
    def southern(self) -> bool:
        return self.mount.southern

    def stamped(self, utc: Utc) -> Utc:
        """What the camera software writes down for a true instant: the computer's clock is off, and it is late."""
        late_s = self.mount.real.late(utc.seconds_since(self.start))
        return utc.plus_seconds(self.scenario.clock_error_s + late_s)

    def cloud_mag(self, at_s: float) -> float:
        """What clouds take away at that time, magnitudes."""
        clouds = self.scenario.clouds
        return cloud_depth_mag(clouds, self.cloud_phase, at_s) if clouds is not None else 0.0


_PERFECT = "perfect-"


def scenario_named(name: str) -> Scenario:
    """The scenario, with a perfect mount where `perfect-` stands before its name; UsageError naming all of them if
    there is no such one."""
    usual = name.removeprefix(_PERFECT)
    if usual not in SCENARIOS:
        raise UsageError(f"There is no scenario '{name}'. Choose one of: {', '.join(SCENARIOS)}.")
    return SCENARIOS[usual] if usual == name else perfect(SCENARIOS[usual])


def draw_night(scenario: Scenario, seed: int) -> Night:
    """The night that belongs to `seed`: the same for the same seed."""
    rng = np.random.default_rng([seed, *scenario.name.encode()])
    start = utc_of(scenario.start)
    real = draw_real_mount(scenario.real, seed, scenario.name)
    air = air_of(scenario, real)
    earth = EarthState(float(rng.uniform(-0.1, 0.1)), float(rng.uniform(0.05, 0.3)), float(rng.uniform(0.2, 0.5)))
    return Night(
        scenario=scenario,
        seed=seed,
        start=start,
        air=air,
        earth=earth,
        mount=replace(_draw_mount(scenario, start, air, earth, rng), real=real),
        kick=_draw_kick(scenario, rng),
        cloud_phase=rng.uniform(0.0, 2.0 * np.pi, 3),
    )


def utc_of(iso: str) -> Utc:
    """The instant of `YYYY-MM-DDThh:mm:ss`."""
    date, clock = iso.split("T")
    year, month, day = (int(part) for part in date.split("-"))
    hour, minute, second = clock.split(":")
    jd1, jd2 = erfa.dtf2d("UTC", year, month, day, int(hour), int(minute), float(second))
    return Utc(float(jd1), float(jd2))


def iso_of(utc: Utc) -> str:
    """`YYYY-MM-DDThh:mm:ss.sss`."""
    year, month, day, clock = erfa.d2dtf("UTC", 3, utc.jd1, utc.jd2)
    return (
        f"{int(year):04d}-{int(month):02d}-{int(day):02d}T"
        f"{int(clock['h']):02d}:{int(clock['m']):02d}:{int(clock['s']):02d}.{int(clock['f']):03d}"
    )


def air_of(scenario: Scenario, real: RealMount = PERFECT) -> Atmosphere:
    """The air of the place that night: pressure by height and weather, temperature, humidity."""
    temperature_c = scenario.temperature_c + real.warmer_c
    warmth = temperature_c + 273.15
    standard = 1013.25 * np.exp(-9.80665 * 0.0289644 * scenario.site.elev_m / (8.314462618 * (warmth + 5.0)))
    pressure_hpa = float(standard + scenario.pressure_anomaly_hpa + real.pressure_hpa)
    return Atmosphere(pressure_hpa, temperature_c, scenario.humidity, 0.60)


def cloud_depth_mag(clouds: Clouds, phase: FloatArray, at_s: float) -> float:
    """Three slow waves (nearly normal in sum), cut off so that about `cover` of the time is cloudy."""
    wave = np.sum(np.sin(2.0 * np.pi * at_s / (clouds.period_s * np.array([1.0, 1.7, 2.9])) + phase)) / 3.0
    threshold = 0.43 * NormalDist().inv_cdf(1.0 - min(max(clouds.cover, 1e-3), 1.0 - 1e-3))
    return float(clouds.depth_mag * np.clip((wave - threshold) / 0.15, 0.0, 1.0))


def _draw(rng: np.random.Generator, limits: Range) -> float:
    return float(rng.uniform(*limits))


def _sign(rng: np.random.Generator, either_way: bool) -> float:
    return float(rng.choice([-1.0, 1.0])) if either_way else 1.0


def _draw_mount(
    scenario: Scenario, start: Utc, air: Atmosphere, earth: EarthState, rng: np.random.Generator
) -> MountSpec:
    ranges = scenario.mount
    pole = sky_moment(start, scenario.site, air, earth).pole_true
    southern = scenario.site.lat_deg < 0.0
    azimuth = np.degrees(np.arctan2(pole[0], pole[1])) + _draw(rng, scenario.off_azimuth_deg)
    altitude = np.degrees(np.arcsin(pole[2])) + _draw(rng, scenario.off_altitude_deg)
    lean, toward = _draw(rng, ranges.lean_deg), rng.uniform(0.0, 2.0 * np.pi)
    settling = {"settle_share": _draw(rng, ranges.settle_share), "settle_s": _draw(rng, ranges.settle_s)}
    return MountSpec(
        axis_azimuth_deg=float(azimuth),
        axis_altitude_deg=float(altitude),
        southern=southern,
        lean_east_deg=float(lean * np.cos(toward)),
        lean_north_deg=float(lean * np.sin(toward)),
        azimuth=ScrewSpec(
            arcmin_per_turn=_sign(rng, ranges.either_way) * _draw(rng, ranges.azimuth_arcmin_per_turn),
            backlash_turns=_draw(rng, ranges.azimuth_backlash_turns),
            lock_shift_arcmin=_draw(rng, ranges.lock_shift_arcmin),
            **settling,
        ),
        altitude=ScrewSpec(
            arcmin_per_turn=_sign(rng, ranges.either_way) * _draw(rng, ranges.altitude_arcmin_per_turn),
            backlash_turns=_draw(rng, ranges.altitude_backlash_turns),
            change_per_degree=_draw(rng, ranges.altitude_change_per_degree),
            lock_shift_arcmin=_draw(rng, ranges.lock_shift_arcmin),
            **settling,
        ),
        azimuth_slack=float(rng.uniform(-0.5, 0.5)),
        altitude_slack=float(rng.uniform(-0.5, 0.5)),
        ra_backlash_arcsec=_draw(rng, ranges.ra_backlash_arcsec),
        ra_slack=float(rng.uniform(-0.5, 0.5)),
        periodic_error_arcsec=_draw(rng, ranges.periodic_error_arcsec),
        periodic_error_s=float(rng.choice([240.0, 478.7, 638.0])),
        axes_not_square_arcmin=_draw(rng, ranges.axes_not_square_arcmin),
        cone_arcmin=_draw(rng, ranges.cone_arcmin),
        roll_deg=float(rng.uniform(0.0, 360.0)),
        sag_arcsec=usual_within(ranges.sag_arcsec, rng),
        settle_tripod_arcmin=_draw(rng, ranges.tripod_sinks_arcmin),
        settle_tripod_toward_deg=float(rng.uniform(0.0, 360.0)),
    )


def _draw_kick(scenario: Scenario, rng: np.random.Generator) -> tuple[float, FloatArray] | None:
    if scenario.kick_after_s is None:
        return None
    at_s, size, toward = (
        _draw(rng, scenario.kick_after_s),
        _draw(rng, scenario.kick_arcmin),
        rng.uniform(0, 2 * np.pi),
    )
    twist = 0.4 * size * rng.choice([-1.0, 1.0])
    return at_s, np.radians(np.array([size * np.cos(toward), size * np.sin(toward), twist]) / 60.0)
