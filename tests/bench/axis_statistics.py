"""Statistics of the measured axis over many simulated captures, and of following it. Seeded; prints what it finds.

    python tests/bench/axis_statistics.py [TRIALS]

Per case: error of the axis (median, 95 %), the bound of the closed formula for the noise present, their ratio, how
often the 95 % ellipse covers the truth.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from axis_sky import ARCSEC, GUIDE_SCOPE, Rig, refracted_pole
from polewright.core.axis.accuracy import FrameNoise, axis_sigma_rad
from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.following import follow, start_following
from polewright.core.model import AxisEstimate, Camera, FloatArray, Site, TargetPole
from polewright.core.sky.places import offset_from_pole

INSIDE_95 = 5.991  # chi-square, 2 degrees of freedom
SITE = Site(48.0, 10.0, 200.0)
WIDE = Camera(3000, 2000, 250.0 / 0.003)

CASES: dict[str, tuple[Rig, list[float]]] = {
    "guide scope, 3 frames over 90 deg": (Rig(SITE, 25.0, -12.0, hour_deg=-45.0), [0.0, 45.0, 90.0]),
    "guide scope, 3 frames over 60 deg": (Rig(SITE, 25.0, -12.0, hour_deg=-30.0), [0.0, 30.0, 60.0]),
    "guide scope, 2 frames over 60 deg": (Rig(SITE, 25.0, -12.0, hour_deg=-30.0), [0.0, 60.0]),
    "guide scope, 5 frames over 90 deg, no tracking": (
        Rig(SITE, -70.0, 40.0, rho_deg=50.0, hour_deg=-45.0, tracking=False),
        [0.0, 20.0, 45.0, 70.0, 90.0],
    ),
    "near the pole, 3 frames over 60 deg": (Rig(SITE, 25.0, -12.0, rho_deg=1.5), [0.0, 30.0, 60.0]),
    "south, latitude -35, few stars": (
        Rig(Site(-35.0, 150.0), 60.0, 30.0, rho_deg=35.0, hour_deg=-45.0, stars=8),
        [0.0, 45.0, 90.0],
    ),
    "latitude 75": (Rig(Site(75.0, 20.0), -30.0, 30.0, rho_deg=40.0, hour_deg=-45.0), [0.0, 45.0, 90.0]),
    "wide field, 60 stars": (
        Rig(SITE, 25.0, -12.0, hour_deg=-45.0, camera=WIDE, stars=60, noise_px=0.2),
        [0.0, 45.0, 90.0],
    ),
}


def measured(rig: Rig, turns: list[float], rng: np.random.Generator) -> tuple[float, float]:
    """(error in arcsec, squared Mahalanobis distance) of one capture."""
    frames = [sky_frame(n, u, rig.site, rig.air, s, 30.0) for n, u, s in rig.capture(turns, rng)]
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate), found
    error = np.array([found.east_rad, found.up_rad]) - np.array([rig.east_arcmin, rig.up_arcmin]) * 60.0 * ARCSEC
    return float(np.linalg.norm(error)) / ARCSEC, float(error @ np.linalg.solve(found.covariance_rad2, error))


def bound_arcsec(rig: Rig, turns: list[float]) -> float:
    """Rms of the closed formula for the centroid noise and the common motion that are put in."""
    sc = rig.noise_px * rig.camera.scale_arcsec_px * ARCSEC
    radius = np.sqrt((rig.camera.width_px**2 + rig.camera.height_px**2) / 12.0) / rig.camera.focal_px
    pointing = np.hypot(sc / np.sqrt(rig.stars), rig.common_arcsec * ARCSEC)
    noise = FrameNoise(float(pointing), float(sc / np.sqrt(rig.stars) / radius), np.radians(rig.rho_deg))
    return axis_sigma_rad(np.radians(turns), noise) / ARCSEC


def capture_statistics(rig: Rig, turns: list[float], trials: int, seed: int) -> tuple[FloatArray, float]:
    """Errors (trials,) in arcsec and the share of ellipses that cover the truth."""
    rng = np.random.default_rng(seed)
    found = np.array([measured(rig, turns, rng) for _ in range(trials)])
    return found[:, 0], float(np.mean(found[:, 1] < INSIDE_95))


FOLLOWED = [(20.0, (0.0, 0.0)), (25.0, (0.1, 0.0)), (32.0, (0.5, 0.3)), (40.0, (2.0, 1.0)), (47.0, (2.0, 1.0))]


def follow_statistics(rig: Rig, lean: tuple[float, float], trials: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Errors (trials, steps) in arcsec and squared Mahalanobis distances of FOLLOWED after a capture over 90 deg."""
    rng, turns = np.random.default_rng(seed), [0.0, 45.0, 90.0]
    pole = refracted_pole(rig.site, rig.air)
    errors, distances = np.zeros((trials, len(FOLLOWED))), np.zeros((trials, len(FOLLOWED)))
    for trial in range(trials):
        frames = [sky_frame(n, u, rig.site, rig.air, s, 30.0) for n, u, s in rig.capture(turns, rng)]
        found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
        assert isinstance(found, AxisEstimate), found
        state = start_following(found, frames)
        for k, (after_s, screws) in enumerate(FOLLOWED):
            mount, utc = rig.screws(*screws, *lean), rig.start.plus_seconds(80.0 + after_s)
            solution = rig.solution(mount @ rig.attitude(90.0, 80.0 + after_s), utc, rng)
            state, reading = follow(state, sky_frame("f", utc, rig.site, rig.air, solution, 30.0))
            truth = np.array(offset_from_pole(mount @ rig.axis, pole, rig.site))
            error = np.array([reading.east_rad, reading.up_rad]) - truth
            errors[trial, k] = np.linalg.norm(error) / ARCSEC
            distances[trial, k] = error @ np.linalg.solve(reading.covariance_rad2, error)
    return errors, distances


def main(trials: int) -> None:
    """Print the table."""
    print(
        f"{trials} trials a case; centroid noise 0.15 px unless said otherwise, 30 stars, common motion 0.04 arcsec"
    )
    print(f"{'case':48s} {'median':>7s} {'95 %':>7s} {'rms':>7s} {'bound':>7s} {'ratio':>6s} {'cover':>6s}")
    for number, (name, (rig, turns)) in enumerate(CASES.items()):
        rig = rig.but(common_arcsec=0.04)
        errors, cover = capture_statistics(rig, turns, trials, number)
        rms, bound = float(np.sqrt(np.mean(errors**2))), bound_arcsec(rig, turns)
        median, high = np.percentile(errors, [50.0, 95.0])
        print(f"{name:48s} {median:7.2f} {high:7.2f} {rms:7.2f} {bound:7.2f} {rms / bound:6.3f} {cover:6.3f}")
    print("following, error median per step in arcsec and cover of the 95 % ellipse per step")
    for lean in ((0.0, 0.0), (2.0, -2.0)):
        for tracking in (True, False):
            rig = Rig(SITE, 50.0, -70.0, hour_deg=-90.0, tracking=tracking, common_arcsec=0.04)
            errors, distances = follow_statistics(rig, lean, max(trials // 4, 50), 77)
            shares = np.mean(distances < INSIDE_95, axis=0)
            print(f"lean {lean}, tracking {tracking}: {np.median(errors, axis=0).round(2)} {shares.round(3)}")


if __name__ == "__main__":
    assert GUIDE_SCOPE.width_px == 1280
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
