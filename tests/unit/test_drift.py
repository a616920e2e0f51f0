"""Proof by drift on the simulated mount: both components, honest sigmas, periodic error, refraction, mishaps."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from drift_nights import AIR, look_at, mount_off, site_at, watched
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.drift.compare import Cause, compare_with_turn
from polewright.core.drift.live import DriftProof, DriftResult, add_direction, add_frame, measure
from polewright.core.drift.plan import predicted_seconds
from polewright.core.drift.reasons import Jumped, NotTracking, PartsDisagree, TooFewFrames, TooShort, Unknown
from polewright.core.model import Atmosphere, Attitude, Camera, SkyFrame, SkyPosition, TargetPole, Utc
from polewright.simulate.mount import Mount
from polewright.words.drift import comparison_words

PLACES = ((0.0, 5.0), (-5.0, 60.0))
WORM: dict[str, Any] = {"periodic_error_arcsec": 20.0, "periodic_error_s": 480.0}


def found(proof: DriftProof) -> DriftResult:
    result = measure(proof)
    assert isinstance(result, DriftResult), result
    return result


def in_arcmin(result: DriftResult) -> np.ndarray:
    return np.array([result.east_rad, result.up_rad]) * ARCMIN_PER_RAD


def sigmas_arcmin(result: DriftResult) -> np.ndarray:
    return np.sqrt(np.diag(np.array(result.covariance_rad2))) * ARCMIN_PER_RAD


@pytest.mark.parametrize("lat_deg", [52.0, 31.0, -35.0])
@pytest.mark.parametrize("error", [(7.0, -4.0), (-55.0, 40.0)])
def test_without_noise_the_drift_is_exact(lat_deg: float, error: tuple[float, float]) -> None:
    """Errors of a degree included; refraction by traced rays, taken out through the observed directions."""
    proof = watched(mount_off(lat_deg, *error, **WORM), lat_deg, PLACES, 300.0, 10.0, 0.0, np.random.default_rng(1))
    assert in_arcmin(found(proof)) == pytest.approx(error, abs=0.03)


def test_forty_nights_with_periodic_error_and_noise() -> None:
    """20" peak periodic error, 1" noise: within 2 sigma in 95 % (300 runs in tests/bench/drift_proof.py)."""
    rng = np.random.default_rng(2026)
    inside = []
    for _ in range(40):
        lat = rng.choice([-1.0, 1.0]) * rng.uniform(25.0, 60.0)
        error = rng.uniform(-15.0, 15.0, 2)
        spec = mount_off(lat, *error, **WORM, roll_deg=rng.uniform(0.0, 360.0))
        result = found(watched(spec, lat, PLACES, 180.0, 4.0, 1.0, rng))
        inside.append(np.abs(in_arcmin(result) - error) < 2.0 * sigmas_arcmin(result))
        assert result.noise_rad * ARCSEC_PER_RAD == pytest.approx(1.0, abs=0.4)
    assert np.mean(inside) >= 0.9


def test_one_position_tells_one_component_and_says_so() -> None:
    spec = mount_off(50.0, 6.0, 3.0)
    rng = np.random.default_rng(5)
    meridian = found(without_cameras(watched(spec, 50.0, PLACES[:1], 200.0, 2.0, 0.5, rng)))
    assert in_arcmin(meridian)[0] == pytest.approx(6.0, abs=3.0 * sigmas_arcmin(meridian)[0])
    assert sigmas_arcmin(meridian)[0] < 1.5 and sigmas_arcmin(meridian)[1] > 30.0
    assert meridian.unknown is Unknown.ALTITUDE
    east = found(watched(spec, 50.0, ((-6.0, 60.0),), 200.0, 2.0, 0.5, rng))
    assert sigmas_arcmin(east)[1] < 1.5 and east.unknown is Unknown.AZIMUTH


def without_cameras(proof: DriftProof) -> DriftProof:
    """The same from places alone, as frames that cannot be solved give them."""
    return replace(proof, samples=tuple(replace(s, camera_x_enu=None) for s in proof.samples))


def test_the_turning_field_tells_the_other_component() -> None:
    """13' turn the field by 13' per radian of the sky's turn; places alone leave the altitude open."""
    spec = mount_off(50.0, 6.0, 13.0, **WORM)
    proof = watched(spec, 50.0, PLACES[:1], 600.0, 4.0, 0.5, np.random.default_rng(5))
    places, whole = found(without_cameras(proof)), found(proof)
    assert sigmas_arcmin(whole)[1] < 0.5 * sigmas_arcmin(places)[1]
    assert in_arcmin(whole)[1] == pytest.approx(13.0, abs=3.0 * sigmas_arcmin(whole)[1])


def test_a_field_at_the_pole_tells_both() -> None:
    """Declination and right ascension drift square to each other there, and the drive's errors shrink by cos dec."""
    rng = np.random.default_rng(6)
    result = found(watched(mount_off(48.0, -9.0, 5.0, **WORM), 48.0, ((-3.0, 88.5),), 480.0, 4.0, 0.5, rng))
    assert result.unknown is None
    assert in_arcmin(result) == pytest.approx([-9.0, 5.0], abs=1.2)


def test_the_wave_of_the_drive_is_found() -> None:
    rng = np.random.default_rng(7)
    result = found(watched(mount_off(48.0, 2.0, 2.0, **WORM), 48.0, PLACES, 500.0, 5.0, 0.5, rng))
    assert result.drive_wave_rad * ARCSEC_PER_RAD == pytest.approx(20.0, rel=0.25)


def test_noise_with_memory_widens_the_sigma() -> None:
    spec = mount_off(45.0, 1.0, -1.0)
    white = found(watched(spec, 45.0, PLACES, 300.0, 2.0, 1.0, np.random.default_rng(8)))
    red = found(watched(spec, 45.0, PLACES, 300.0, 2.0, 1.0, np.random.default_rng(8), noise_memory=0.6))
    assert white.inflation < 1.5 < 2.5 < red.inflation
    assert red.sigma_rad > 1.4 * white.sigma_rad


def test_one_arcminute_in_the_predicted_time() -> None:
    """Watched as long as predicted, the reported certainty is 1' and the error is of that size."""
    seconds = predicted_seconds([h for h, _ in PLACES], 1.0 / ARCMIN_PER_RAD, 1.0 / ARCSEC_PER_RAD, 2.0)
    rng = np.random.default_rng(9)
    results = [found(watched(mount_off(45.0, 3.0, 3.0), 45.0, PLACES, seconds, 2.0, 1.0, rng)) for _ in range(12)]
    assert np.median([r.sigma_rad for r in results]) * ARCMIN_PER_RAD == pytest.approx(1.0, abs=0.2)
    assert np.sqrt(np.mean(np.square([in_arcmin(r) - 3.0 for r in results]))) < 1.4


def test_sag_pulls_the_axis_down_as_computed() -> None:
    """sag * cos(lat) * cos(distance from the axis): 30" at latitude 40, seen 15 deg from the pole: 22.2"."""
    spec = mount_off(40.0, 0.0, 0.0, sag_arcsec=30.0)
    result = found(watched(spec, 40.0, ((0.0, 5.0), (-6.0, 75.0)), 400.0, 5.0, 0.0, np.random.default_rng(10)))
    assert result.up_rad * ARCSEC_PER_RAD == pytest.approx(
        -30.0 * np.cos(np.radians(40)) * np.cos(np.radians(15)), abs=2
    )


def test_live_frame_by_frame() -> None:
    """Each frame gives a new estimate; the sigma shrinks; a slew begins a new position by itself."""
    full = watched(mount_off(45.0, 4.0, -2.0), 45.0, PLACES, 120.0, 4.0, 0.5, np.random.default_rng(11))
    state = DriftProof(full.site, full.atmosphere, full.target)
    sigmas = []
    for sample in full.samples:
        state = add_direction(state, sample.at_s, np.array(sample.direction_enu), sample.sigma_rad)
        if isinstance(state.result, DriftResult):
            sigmas.append(state.result.sigma_rad)
    assert {s.position for s in state.samples} == {0, 1}
    assert isinstance(state.result, DriftResult) and len(state.result.positions) == 2
    assert sigmas[-1] < 0.1 * sigmas[0]
    assert in_arcmin(state.result) == pytest.approx([4.0, -2.0], abs=3.5 * state.result.sigma_rad * ARCMIN_PER_RAD)
    unchanged = add_direction(state, full.samples[0].at_s, np.array([0.0, 0.0, 1.0]), 1e-6)
    assert unchanged is state
    east = state.result.positions[1]
    assert east.hour_angle_rad == pytest.approx(np.radians(-75.0), abs=0.02)
    assert len(east.dec_residual_rad) == east.frames == len(east.at_s)


def test_frames_feed_it_through_their_attitude() -> None:
    mount = Mount(mount_off(45.0, 0.0, 0.0))
    attitude = Attitude(mount.attitude(0.0), np.diag([1e-12, 1e-12, 1e-8]))
    utc = Utc(2461000.5, 0.0)
    frame = SkyFrame("a", utc, attitude, Camera(100, 100, 5000.0), 9, 0.5, SkyPosition(0.0, 0.0))
    state = add_frame(DriftProof(site_at(45.0), AIR, TargetPole.REFRACTED), frame, 0.0)
    assert state.samples[0].sigma_rad == pytest.approx(1e-6)
    assert isinstance(state.result, TooFewFrames | TooShort)


def test_a_camera_at_rest_is_told_to_track() -> None:
    mount = Mount(mount_off(45.0, 0.0, 0.0))
    ready = mount.point(0.0, look_at(45.0, -2.0, 30.0))
    state = DriftProof(site_at(45.0), AIR, TargetPole.REFRACTED)
    for t in range(0, 60, 5):
        state = add_direction(state, ready + t, mount.attitude(ready + t)[:, 2], 1e-6)
    assert state.result == NotTracking()


def test_a_slip_is_named_and_explains_a_disagreement() -> None:
    quiet = watched(mount_off(45.0, 2.0, 1.0), 45.0, PLACES, 200.0, 4.0, 0.5, np.random.default_rng(12))
    tilted = [
        replace(s, direction_enu=tuple(np.array(s.direction_enu) + np.array([0.0, 0.0, 20.0 / ARCSEC_PER_RAD])))
        if i > 80
        else s
        for i, s in enumerate(quiet.samples)
    ]
    slipped = found(replace(quiet, samples=tuple(tilted)))
    assert any(isinstance(w, Jumped) for w in slipped.warnings)
    told = compare_with_turn(slipped, 2.0 / ARCMIN_PER_RAD, 1.0 / ARCMIN_PER_RAD, TIGHT, site_at(45.0), AIR)
    assert not told.agree and told.cause is Cause.DRIFT_DISTURBED


TIGHT = ((1e-11, 0.0), (0.0, 1e-11))


@pytest.mark.parametrize(
    ("turn", "suspect", "cause"),
    [
        ((2.0, 1.0), None, Cause.NONE),
        ((2.0, 0.45), None, Cause.FLEXURE),
        ((5.0, 9.0), None, Cause.SLIP),
        ((5.0, 1.0), "light-0003", Cause.SLIP),
        ((2.0, 1.0 + 98.0 / 60.0), None, Cause.REFRACTION),
    ],
)
def test_what_came_between(turn: tuple[float, float], suspect: str | None, cause: Cause) -> None:
    """At latitude 30 the pole stands 98" high in this air."""
    proof = watched(mount_off(30.0, 2.0, 1.0), 30.0, PLACES, 900.0, 4.0, 0.2, np.random.default_rng(13))
    east, up = np.array(turn) / ARCMIN_PER_RAD
    told = compare_with_turn(found(proof), east, up, TIGHT, proof.site, AIR, suspect)
    assert told.cause is cause, told
    assert told.agree is (cause is Cause.NONE) and comparison_words(told, None)


def test_no_air_and_the_true_pole() -> None:
    """The same axis counted from the true pole lies higher by the refraction of the pole."""
    rng = np.random.default_rng(14)
    proof = watched(mount_off(30.0, 0.0, 0.0), 30.0, PLACES, 300.0, 10.0, 0.0, rng)
    from_true = found(replace(proof, target=TargetPole.TRUE))
    assert from_true.up_rad * ARCSEC_PER_RAD == pytest.approx(98.0, abs=1.5)
    none = Atmosphere(0.0)
    still = watched(mount_off(30.0, 1.0, 1.0, none), 30.0, PLACES, 300.0, 10.0, 0.0, rng, air=none)
    assert in_arcmin(found(still)) == pytest.approx([1.0, 1.0], abs=0.005)


def bending(proof: DriftProof, by_arcmin: float) -> DriftProof:
    """The same seen through a tube that sinks, at first slowly, by so much in the end."""
    begin, end = proof.samples[0].at_s, proof.samples[-1].at_s
    samples = []
    for s in proof.samples:
        sunk = by_arcmin / ARCMIN_PER_RAD * ((s.at_s - begin) / (end - begin)) ** 3
        v = np.array(s.direction_enu) - [0.0, 0.0, sunk]
        v /= np.linalg.norm(v)
        samples.append(replace(s, direction_enu=(float(v[0]), float(v[1]), float(v[2]))))
    return replace(proof, samples=tuple(samples))


@pytest.mark.parametrize("hour", [-2.0, 1.0])
def test_a_long_watch_through_a_bending_tube_does_not_claim_more_than_its_parts_agree_on(hour: float) -> None:
    """Five hours, in which the tube sinks by 4': that looks like a wrong axis, in every part like another one."""
    proof = watched(
        mount_off(40.0, 5.0, -12.0), 40.0, ((hour, 47.0),), 5 * 3600.0, 120.0, 0.5, np.random.default_rng(8)
    )
    result, stiff = found(bending(proof, 4.0)), found(proof)
    assert any(isinstance(doubt, PartsDisagree) for doubt in result.warnings)
    off = np.abs(in_arcmin(result) - (5.0, -12.0))
    assert (off < 3.0 * sigmas_arcmin(result)).all()
    assert (sigmas_arcmin(result) > 5.0 * sigmas_arcmin(stiff)).all()


def test_a_long_watch_of_a_stiff_mount_is_not_doubted() -> None:
    """At 1 in 1000 a chance: twelve seeds, none of them in doubt, all within three sigma."""
    spec = mount_off(40.0, 5.0, -12.0, **WORM)
    for seed in range(12):
        proof = watched(spec, 40.0, ((-3.0, 47.0),), 3.0 * 3600.0, 120.0, 0.5, np.random.default_rng(seed))
        result = found(proof)
        assert not any(isinstance(doubt, PartsDisagree) for doubt in result.warnings)
        assert (np.abs(in_arcmin(result) - (5.0, -12.0)) < 3.5 * sigmas_arcmin(result)).all()
