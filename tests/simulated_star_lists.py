"""The short way: what a good detector would find on a frame, without rendering it. For thousands of trials."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.model import NO_SHARED_ERROR, FloatArray, IntArray, StarFlag, StarList, Utc
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import Scenario
from polewright.simulate.shutter import image_motion_arcsec
from polewright.simulate.view import View, sky_electrons, star_width_px

_DETECTION_SNR = 6.0  # chosen: a little above the thresholds of the real detector (services/quick_pass.py)
_DRAWN_PX, _DRAWN_SHARE = 2.0, 0.01  # a detector reads the moment within the exposure from longer paths to so much
_CENTROID_FLOOR_PX = 0.03  # pixel structure, undersampling: common practice 0.02-0.05 px, no source


@dataclass(frozen=True, eq=False)
class Sighting:
    """A star list with the truth: catalogue index (N,), -1 for what is no catalogue star; ICRS places (N, 3), NaN
    for what is no star at all; true pixels (N, 2)."""

    stars: StarList
    catalogue_index: IntArray
    icrs: FloatArray
    true_px: FloatArray
    view: View


def observe_stars(
    rig: SimulatedRig,
    utc: Utc,
    exposure_s: float,
    rng: np.random.Generator,
    noise_px: float | None = None,
    most: int = 200,
    spurious: int = 0,
    seeing: bool = True,
) -> Sighting:
    """The star list of an exposure that begins at `utc`.

    The centroid noise follows from the light of each star, or is `noise_px` for all; `seeing` adds the motion of the
    image, both what all stars share and what is each star's own. `spurious` adds detections that are no stars.
    """
    view = rig.view(utc, exposure_s)
    camera, scenario = rig.night.scenario.camera, rig.night.scenario
    x, y = at_mid_exposure(view.x_px), at_mid_exposure(view.y_px)
    path_px = drawn_px(view)
    fwhm = star_width_px(scenario)
    spread = np.sqrt(1.0 + path_px / (1.5 * fwhm))  # the same light over a longer path
    snr = signal_to_noise(scenario, view) / spread
    inside = (x > 2.0) & (x < camera.width_px - 3.0) & (y > 2.0) & (y < camera.height_px - 3.0)
    chosen = np.flatnonzero(inside & (snr > _DETECTION_SNR))
    chosen = chosen[np.argsort(-view.electrons[chosen], kind="stable")][:most]
    photon = np.hypot(1.2 * fwhm * spread / (2.355 * snr[chosen]), _CENTROID_FLOOR_PX)
    sigma = photon if noise_px is None else np.full(chosen.size, noise_px)
    common, single = (m / camera.scale_arcsec_px for m in image_motion_arcsec(scenario, exposure_s))
    together, apart = (rng.normal(0.0, common, 2), single) if seeing else (np.zeros(2), 0.0)
    true = np.stack([x[chosen], y[chosen]], axis=-1)
    sigma = np.hypot(sigma, apart)
    shared = _DRAWN_SHARE * path_px * np.array([np.cos(way := _way(view)), np.sin(way)])
    together = together + shared * rng.normal() if path_px > _DRAWN_PX else together
    measured = true + together + rng.normal(0.0, 1.0, true.shape) * sigma[:, None]
    sighting = Sighting(
        stars=replace(
            _star_list(scenario, measured, sigma, view.electrons[chosen], snr[chosen]),
            shared_error=(float(shared[0]), float(shared[1]), 0.0, 0.0) if path_px > _DRAWN_PX else NO_SHARED_ERROR,
        ),
        catalogue_index=view.stars.index[chosen],
        icrs=view.stars.icrs[chosen],
        true_px=true,
        view=view,
    )
    return _with_spurious(scenario, sighting, spurious, rng) if spurious else sighting


def at_mid_exposure(track_px: FloatArray) -> FloatArray:
    """Of tracks (S, N) at S even moments, where each star is in the middle of them."""
    steps = track_px.shape[0]
    return np.asarray(0.5 * (track_px[(steps - 1) // 2] + track_px[steps // 2]))


def drawn_px(view: View) -> float:
    """How long the middle one of the paths is that the stars draw while the shutter is open."""
    if view.x_px.shape[0] == 1 or not view.x_px.shape[1]:
        return 0.0
    along = np.hypot(np.diff(view.x_px, axis=0), np.diff(view.y_px, axis=0)).sum(axis=0)
    return float(np.median(along))


def _way(view: View) -> float:
    return float(np.arctan2(np.median(view.y_px[-1] - view.y_px[0]), np.median(view.x_px[-1] - view.x_px[0])))


def signal_to_noise(scenario: Scenario, view: View) -> FloatArray:
    """Signal to noise (N,) of each star in an aperture of two full widths: light against sky, dark and read noise."""
    camera = scenario.camera
    area = np.pi * star_width_px(scenario) ** 2
    per_pixel = sky_electrons(scenario, view.exposure_s, view.cloud_mag) + camera.dark_e_s * view.exposure_s
    return np.asarray(view.electrons / np.sqrt(view.electrons + area * (per_pixel + camera.read_noise_e**2)))


def _star_list(
    scenario: Scenario, px: FloatArray, sigma: FloatArray, electrons: FloatArray, snr: FloatArray
) -> StarList:
    camera, width = scenario.camera, star_width_px(scenario)
    peak = 0.8 * electrons / (1.13 * width**2)
    full = peak >= min(camera.full_well_e, 2.0**camera.bits * camera.electrons_per_adu)
    return StarList(
        width_px=camera.width_px,
        height_px=camera.height_px,
        x_px=px[:, 0],
        y_px=px[:, 1],
        sigma_px=sigma,
        flux_adu=electrons / camera.electrons_per_adu,
        snr=snr,
        fwhm_px=np.full(electrons.size, width),
        flags=np.where(full, int(StarFlag.SATURATED), int(StarFlag.NONE)).astype(np.int64),
    )


def _with_spurious(scenario: Scenario, sighting: Sighting, count: int, rng: np.random.Generator) -> Sighting:
    """The same with `count` false detections, as bright as stars, in the order of brightness."""
    camera, stars = scenario.camera, sighting.stars
    false_px = rng.uniform(0.0, 1.0, (count, 2)) * [camera.width_px - 1.0, camera.height_px - 1.0]
    if len(stars):
        like = rng.integers(0, len(stars), count)
        electrons = stars.flux_adu[like] * camera.electrons_per_adu * rng.uniform(0.7, 1.3, count)
        snr, sigma = stars.snr[like], stars.sigma_px[like]
    else:
        electrons, snr, sigma = np.full(count, 500.0), np.full(count, 15.0), np.full(count, 0.2)
    order = np.argsort(-np.concatenate([stars.flux_adu * camera.electrons_per_adu, electrons]), kind="stable")
    px = np.concatenate([np.stack([stars.x_px, stars.y_px], axis=-1), false_px])[order]
    light = np.concatenate([stars.flux_adu * camera.electrons_per_adu, electrons])[order]
    return Sighting(
        stars=_star_list(
            scenario,
            px,
            np.concatenate([stars.sigma_px, sigma])[order],
            light,
            np.concatenate([stars.snr, snr])[order],
        ),
        catalogue_index=np.concatenate([sighting.catalogue_index, np.full(count, -1)])[order],
        icrs=np.concatenate([sighting.icrs, np.full((count, 3), np.nan)])[order],
        true_px=np.concatenate([sighting.true_px, false_px])[order],
        view=sighting.view,
    )
