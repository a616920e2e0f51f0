"""What metal, weather and computers add to a mount of pure geometry: ranges to draw from, and one drawn mount.

The truth stays where the mechanical RA axis points: the middle of its bearings, on the base as it stands at that
moment. Creep moves the truth; all else here only moves the camera against it, or the time on a frame, as on a mount
of metal. Nothing here knows what the estimator allows for, and no range was fitted to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from polewright.core.model import FloatArray

Range = tuple[float, float]
_SLOT_S = 20.0  # at most one gust in each; chosen
_GUST_S = (1.5, 5.0)  # how long one lasts; chosen
_FLOP_RAD = np.radians(3.0)  # of rotation about the meridian until what flops has flopped; chosen
_WOBBLE_TURNS = (1.5, 9.0)  # waves of the bearing in one turn of the axis: the balls run slower than the ring; chosen
_WAVES = 4
_WANDER_WAVES = 24
_SLOWEST_HZ, _FASTEST_HZ = 1.0 / 1800.0, 0.25


@dataclass(frozen=True)
class RealRanges:
    """From what a real mount is drawn, evenly between both ends; a pull as `usual_within` draws.

    `pull_arcsec_rad`: how far the camera is drawn in declination for each radian that the RA axis turns, from
    gravity that turns round in the tube: common practice has 5 to 20 arcsec between guide scope and telescope, no
    source, and either way. `flop_arcsec`: the jump of the camera when the RA axis crosses the meridian, on
    `flop_share` of the mounts (a mirror or a focuser with play): common practice, no source. `wobble_arcsec`: rms
    of the bearing's run-out, each direction: chosen; below it lies a good bearing, above it a worn one.
    `creep_arcsec_min`: steady tilting of the tripod on soft ground: chosen. `wander_arcsec`: rms of the slow red
    noise of pointing, each direction, with memory `wander_s`: slow image motion has a few tenths of an arcsec over
    minutes (Pier et al., AJ 125, 1559 (2003), from memory), a mount some more. `gust_arcsec`: the height of a gust,
    `gusts_a_minute` of them: chosen. `late_s`: how late the times on all frames are, `late_jitter_s`: and on each
    one more: common practice, no source. `warmer_c`, `pressure_hpa`: tonight's weather against the usual one of the
    place and season; at middle latitudes the pressure scatters by about 10 hPa in winter (memory).
    """

    pull_arcsec_rad: Range = (-20.0, 20.0)
    flop_arcsec: Range = (1.0, 8.0)
    flop_share: float = 0.25
    wobble_arcsec: Range = (0.0, 2.0)
    creep_arcsec_min: Range = (0.0, 0.5)
    wander_arcsec: Range = (0.05, 0.6)
    wander_s: Range = (10.0, 60.0)
    gust_arcsec: Range = (0.0, 2.0)
    gusts_a_minute: Range = (0.0, 0.4)
    late_s: Range = (0.0, 0.8)
    late_jitter_s: Range = (0.0, 0.2)
    warmer_c: Range = (-8.0, 8.0)
    pressure_hpa: Range = (-18.0, 18.0)


_NONE: Range = (0.0, 0.0)
PERFECT_RANGES = RealRanges(
    pull_arcsec_rad=_NONE,
    flop_share=0.0,
    wobble_arcsec=_NONE,
    creep_arcsec_min=_NONE,
    wander_arcsec=_NONE,
    gust_arcsec=_NONE,
    gusts_a_minute=_NONE,
    late_s=_NONE,
    late_jitter_s=_NONE,
    warmer_c=_NONE,
    pressure_hpa=_NONE,
)
"""Geometry alone, in the usual air of the place."""


@dataclass(frozen=True)
class RealMount:
    """One drawn mount; all zero is a perfect one. `flop_arcsec` is (across, along) the camera's declination."""

    seed: int = 0
    pull_arcsec_rad: float = 0.0
    flop_arcsec: tuple[float, float] = (0.0, 0.0)
    wobble_arcsec: float = 0.0
    creep_arcsec_min: float = 0.0
    creep_toward_deg: float = 0.0
    wander_arcsec: float = 0.0
    wander_s: float = 30.0
    gust_arcsec: float = 0.0
    gusts_a_minute: float = 0.0
    late_s: float = 0.0
    late_jitter_s: float = 0.0
    warmer_c: float = 0.0
    pressure_hpa: float = 0.0

    def shaft_tilt_rad(self, ra_angle_rad: FloatArray) -> FloatArray:
        """Rotation vectors (S, 2), x and z of the head frame, by which the RA shaft leans in its bearings."""
        if self.wobble_arcsec == 0.0:
            return np.zeros((ra_angle_rad.size, 2))
        return _arcsec(self.wobble_arcsec) * _waves(*_bearing_waves(self.seed), ra_angle_rad)

    def tube_shift_rad(self, ra_angle_rad: FloatArray, at_s: FloatArray) -> FloatArray:
        """(S, 2), across and along declination, by which the camera looks beside where the axes hold it."""
        from_meridian = ((ra_angle_rad + np.pi) % (2.0 * np.pi) - np.pi)[:, None]
        pulled = from_meridian * [0.0, self.pull_arcsec_rad]
        flopped = 0.5 * np.tanh(from_meridian / _FLOP_RAD) * np.array(self.flop_arcsec)
        return np.asarray(_arcsec(1.0) * (pulled + flopped + self._wander(at_s) + self._gusts(at_s)))

    def crept_rad(self, at_s: FloatArray) -> FloatArray:
        """How far the tripod has tilted steadily since the start of the night, (S,)."""
        return np.asarray(_arcsec(self.creep_arcsec_min) * np.maximum(at_s, 0.0) / 60.0)

    def late(self, at_s: float) -> float:
        """How late, s, the time is that is written on a frame exposed at that time."""
        if self.late_jitter_s == 0.0:
            return self.late_s
        rng = np.random.default_rng([self.seed, 37, round(at_s * 1000.0) & 0xFFFFFFFF])
        return self.late_s + float(rng.uniform(0.0, self.late_jitter_s))

    def _wander(self, at_s: FloatArray) -> FloatArray:
        if self.wander_arcsec == 0.0:
            return np.zeros((at_s.size, 2))
        hertz, heights, phases = _red_waves(self.seed, self.wander_s)
        return self.wander_arcsec * _waves(2.0 * np.pi * hertz, heights, phases, at_s)

    def _gusts(self, at_s: FloatArray) -> FloatArray:
        if self.gust_arcsec == 0.0 or self.gusts_a_minute == 0.0:
            return np.zeros((at_s.size, 2))
        return np.array([self._gust(moment) for moment in at_s.tolist()])

    def _gust(self, at_s: float) -> FloatArray:
        chance, begin_s, lasts_s, height, way = _drawn_gust(self.seed, int(at_s // _SLOT_S))
        share = (at_s % _SLOT_S - begin_s) / lasts_s
        if chance > self.gusts_a_minute * _SLOT_S / 60.0 or not 0.0 < share < 1.0:
            return np.zeros(2)
        size = self.gust_arcsec * height * np.sin(np.pi * share) ** 2
        return np.array([size * np.cos(way), size * np.sin(way)])


PERFECT = RealMount()


def usual_within(limits: Range, rng: np.random.Generator) -> float:
    """What bends, drawn from a normal distribution about the middle, both ends two sigmas from it: of many causes
    that add up (clamps, plates, a focuser) none is the largest, and one rig in twenty bends by more than is usual."""
    low, high = limits
    bell = NormalDist(0.5 * (low + high), 0.25 * (high - low)) if high > low else None
    share = float(rng.uniform(0.0, 1.0))  # drawn all the same: what is drawn after it stays what it was
    return low if bell is None else bell.inv_cdf(min(max(share, 1e-9), 1.0 - 1e-9))


def draw_real_mount(ranges: RealRanges, seed: int, name: str) -> RealMount:
    """The mount that belongs to the seed of a night; draws that are its own leave those of the night as they are."""
    rng = np.random.default_rng([seed, 41, *name.encode()])

    def drawn(limits: Range) -> float:
        return float(rng.uniform(*limits))

    way = rng.uniform(0.0, 2.0 * np.pi)
    flop = drawn(ranges.flop_arcsec) * float(rng.random() < ranges.flop_share)
    return RealMount(
        seed=seed,
        pull_arcsec_rad=usual_within(ranges.pull_arcsec_rad, rng),
        flop_arcsec=(float(flop * np.cos(way)), float(flop * np.sin(way))),
        wobble_arcsec=drawn(ranges.wobble_arcsec),
        creep_arcsec_min=drawn(ranges.creep_arcsec_min),
        creep_toward_deg=drawn((0.0, 360.0)),
        wander_arcsec=drawn(ranges.wander_arcsec),
        wander_s=drawn(ranges.wander_s),
        gust_arcsec=drawn(ranges.gust_arcsec),
        gusts_a_minute=drawn(ranges.gusts_a_minute),
        late_s=drawn(ranges.late_s),
        late_jitter_s=drawn(ranges.late_jitter_s),
        warmer_c=drawn(ranges.warmer_c),
        pressure_hpa=drawn(ranges.pressure_hpa),
    )


def _arcsec(amount: float) -> float:
    return float(np.radians(amount / 3600.0))


def _waves(turns: FloatArray, heights: FloatArray, phases: FloatArray, at: FloatArray) -> FloatArray:
    """The sum of K waves in each of two directions, their parameters (2, K), at the places (S,): (S, 2)."""
    return np.asarray((heights * np.sin(turns * at[:, None, None] + phases)).sum(axis=2))


@lru_cache(maxsize=16)
def _bearing_waves(seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Waves a radian, heights and phases (2, K) of a run-out of rms 1 in each direction."""
    rng = np.random.default_rng([seed, 31])
    turns = rng.uniform(*_WOBBLE_TURNS, (2, _WAVES))
    heights = rng.uniform(0.5, 1.0, (2, _WAVES))
    heights *= np.sqrt(2.0 / np.sum(heights**2, axis=1, keepdims=True))
    return turns, heights, rng.uniform(0.0, 2.0 * np.pi, (2, _WAVES))


@lru_cache(maxsize=16)
def _red_waves(seed: int, memory_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Frequencies (Hz), heights and phases (2, K) that sum to noise of rms 1 which forgets within `memory_s`: the
    spectrum of an Ornstein-Uhlenbeck process, 1 / (1 + (2 pi f memory)^2), at frequencies even in their logarithm."""
    rng = np.random.default_rng([seed, 47])
    steps = np.linspace(0.0, 1.0, _WANDER_WAVES) + rng.uniform(-0.5, 0.5, (2, _WANDER_WAVES)) / _WANDER_WAVES
    hertz = _SLOWEST_HZ * (_FASTEST_HZ / _SLOWEST_HZ) ** steps
    heights = np.sqrt(hertz / (1.0 + (2.0 * np.pi * hertz * memory_s) ** 2))
    heights *= np.sqrt(2.0 / np.sum(heights**2, axis=1, keepdims=True))
    return hertz, heights, rng.uniform(0.0, 2.0 * np.pi, (2, _WANDER_WAVES))


@lru_cache(maxsize=256)
def _drawn_gust(seed: int, slot: int) -> tuple[float, float, float, float, float]:
    """(chance, begin s, length s, height over the usual, direction rad) of the gust that one slot may hold."""
    rng = np.random.default_rng([seed, 43, slot & 0xFFFFFFFF])
    lasts_s = float(rng.uniform(*_GUST_S))
    begin_s = float(rng.uniform(0.0, _SLOT_S - lasts_s))
    return float(rng.random()), begin_s, lasts_s, float(rng.exponential(1.0)), float(rng.uniform(0.0, 2.0 * np.pi))
