"""Simulated frames against their own truth, against astropy and against the laws of photon noise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.errors import UsageError
from polewright.core.model import FloatArray, Utc
from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue
from polewright.simulate.camera import CameraSpec, centre_direction, project, sensor_of
from polewright.simulate.fits_file import fits_bytes, write_at_once
from polewright.simulate.light import Blur, add_stars
from polewright.simulate.render import Scene, SkyGlow, Streak, render
from polewright.simulate.rig import Exposure, SimulatedRig
from polewright.simulate.scenarios import SCENARIOS, Scenario
from polewright.simulate.stars import StarFlaws
from polewright.simulate.view import airmass
from simulated_star_lists import observe_stars

PERFECT_SKY = StarFlaws(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
STILL = replace(
    SCENARIOS["calm"],
    stars=PERFECT_SKY,
    seeing_arcsec=0.01,
    blur_px=2.5,
    wind_arcsec=0.0,
    satellites_per_frame=0.0,
    extinction_mag=0.0,
)
NO_STARS = np.empty((1, 0))


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def started(
    scenario: Scenario, catalogue: Catalogue, seed: int = 4, tracking: bool = True
) -> tuple[SimulatedRig, Utc]:
    """A rig pointed as the scenario has it, and when it is ready."""
    rig = SimulatedRig(scenario, seed, catalogue)
    side = -1.0 if rig.night.southern else 1.0
    now = rig.point(scenario.hour_angle_h, side * scenario.declination_toward_pole_deg, rig.night.start)
    rig.set_tracking(tracking, now)
    return rig, now.plus_seconds(20.0)


def blank(camera: CameraSpec, exposure_s: float, sky_e: float) -> Scene:
    return Scene(exposure_s, NO_STARS, NO_STARS, np.empty(0), Blur(2.5), sky_e)


def centroid(pixels: NDArray[np.floating], x: float, y: float, half: int = 6) -> FloatArray:
    """Centre of light in a small box around a bright star, no weights, background from the border."""
    i, j = round(x), round(y)
    box = pixels[j - half : j + half + 1, i - half : i + half + 1].astype(float)
    border = np.concatenate([box[0], box[-1], box[:, 0], box[:, -1]])
    box = box - np.median(border)
    rows, columns = np.mgrid[j - half : j + half + 1, i - half : i + half + 1]
    return np.array([(box * columns).sum(), (box * rows).sum()]) / box.sum()


def bright_and_alone(exposure: Exposure, camera: CameraSpec) -> NDArray[np.int_]:
    """Stars well inside, unsaturated, with nobody within 20 px."""
    x, y, e = exposure.view.x_px.mean(0), exposure.view.y_px.mean(0), exposure.view.electrons
    good = (x > 12) & (x < camera.width_px - 12) & (y > 12) & (y < camera.height_px - 12)
    good &= (e > 8000.0) & (e < 60000.0)
    distance = np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :]) + 1e9 * np.eye(x.size)
    return np.flatnonzero(good & (distance.min(axis=1) > 20.0))


@pytest.mark.parametrize("name", ["calm", "southern-sky", "mirrored-optics"])
def test_stars_are_rendered_where_the_truth_has_them(name: str, catalogue: Catalogue) -> None:
    scenario = replace(
        SCENARIOS[name], stars=PERFECT_SKY, seeing_arcsec=0.01, blur_px=2.5, wind_arcsec=0.0, satellites_per_frame=0.0
    )
    scenario = replace(scenario, camera=replace(scenario.camera, hot_pixels=0, full_well_e=1e9, bits=16))
    rig, now = started(scenario, catalogue)
    exposure = rig.take(now, 8.0)
    chosen = bright_and_alone(exposure, scenario.camera)
    x, y = exposure.view.x_px.mean(0)[chosen], exposure.view.y_px.mean(0)[chosen]
    error = np.array([centroid(exposure.pixels.astype(np.uint16), *xy) - xy for xy in zip(x, y)])
    assert chosen.size >= 10
    assert np.abs(np.median(error, axis=0)).max() < 0.03
    assert np.median(np.abs(error)) < 0.08


def test_stars_stand_where_a_camera_of_a_sky_map_has_them(catalogue: Catalogue) -> None:
    """The gnomonic projection, from astropy's WCS (Calabretta & Greisen, A&A 395, 1077 (2002), TAN)."""
    from astropy.wcs import WCS

    camera = CameraSpec(focal_length_mm=50.0)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [40.0, 30.0]
    wcs.wcs.crpix = [640.5, 480.5]
    step = np.degrees(1.0 / camera.focal_px)
    wcs.wcs.cdelt = [-step, -step]  # north down, east left: a camera with y down, turned by 180 degrees from the sky
    ra, dec = np.radians(40.0 + np.linspace(-4, 4, 9)), np.radians(30.0 + np.linspace(3, -3, 9))
    v = np.stack([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)], axis=-1)
    a, d = np.radians(40.0), np.radians(30.0)
    z = np.array([np.cos(d) * np.cos(a), np.cos(d) * np.sin(a), np.sin(d)])
    west = -np.array([-np.sin(a), np.cos(a), 0.0])
    x, y = project(camera, v @ np.stack([west, np.cross(z, west), z], axis=1))
    expected = wcs.wcs_world2pix(np.degrees(ra), np.degrees(dec), 0)
    assert x == pytest.approx(expected[0], abs=1e-6)
    assert y == pytest.approx(expected[1], abs=1e-6)


def test_the_image_centre_is_where_the_truth_has_it(catalogue: Catalogue) -> None:
    for camera in (SCENARIOS["wide-lens"].camera, replace(SCENARIOS["wide-lens"].camera, mirrored=True)):
        x, y = project(camera, centre_direction(camera)[None, :])
        assert (x[0], y[0]) == pytest.approx(((camera.width_px - 1) / 2, (camera.height_px - 1) / 2), abs=1e-3)
    rig, now = started(SCENARIOS["wide-lens"], catalogue)
    view = rig.view(now, 1.0)
    ra, dec = np.radians(view.centre.ra_deg), np.radians(view.centre.dec_deg)
    v = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
    nearest = np.argmax(view.stars.icrs @ v)
    off_px = np.hypot(view.x_px[0, nearest] - 799.5, view.y_px[0, nearest] - 599.5)
    assert np.degrees(np.arccos(view.stars.icrs[nearest] @ v)) * 3600 == pytest.approx(off_px * 36.83, rel=0.02)


def test_what_lies_behind_or_is_folded_in_by_the_lens_is_nowhere() -> None:
    lens = CameraSpec(focal_length_mm=8.0, barrel1=-0.3)
    x, _ = project(lens, np.array([[0.0, 0.0, -1.0], [0.9, 0.0, np.sqrt(0.19)], [0.1, 0.0, np.sqrt(0.99)]]))
    assert list(np.isfinite(x)) == [False, False, True]


def test_a_mirrored_camera_sees_the_mirror_image() -> None:
    v = np.array([[0.01, 0.02, 1.0]])
    plain, mirrored = project(CameraSpec(), v), project(CameraSpec(mirrored=True), v)
    assert plain[0] - 639.5 == pytest.approx(-(mirrored[0] - 639.5))
    assert plain[1] == pytest.approx(mirrored[1])


def test_a_star_spreads_its_light_over_pixels_without_loss() -> None:
    for fwhm, centre in ((1.2, 30.0), (3.1, 30.4), (6.0, 30.73)):
        image = np.zeros((61, 61), dtype=np.float32)
        add_stars(image, np.array([[centre]]), np.array([[29.8]]), np.array([1e5]), Blur(fwhm), 0.01)
        rows, columns = np.mgrid[:61, :61]
        assert image.sum() == pytest.approx(1e5, rel=0.01)
        assert (image * columns).sum() / image.sum() == pytest.approx(centre, abs=0.01)
        assert (image * rows).sum() / image.sum() == pytest.approx(29.8, abs=0.01)


def test_the_width_of_a_star_is_what_it_says() -> None:
    image = np.zeros((401, 401), dtype=np.float32)
    add_stars(image, np.array([[200.0]]), np.array([[200.0]]), np.array([1e6]), Blur(40.0), 1e-4)
    row = image[200]
    assert np.count_nonzero(row >= 0.5 * row.max()) == pytest.approx(40, abs=1)


def test_a_star_out_of_focus_is_a_ring() -> None:
    image = np.zeros((81, 81), dtype=np.float32)
    add_stars(image, np.array([[40.0]]), np.array([[40.0]]), np.array([1e5]), Blur(2.0, defocus_px=12.0), 0.01)
    assert image[40, 40] < 0.3 * image[40, 48]
    assert image.sum() == pytest.approx(1e5, rel=0.02)


def test_brightness_follows_magnitude_aperture_and_exposure(catalogue: Catalogue) -> None:
    """Pogson's law: five magnitudes are a factor of 100."""
    rig, now = started(STILL, catalogue)
    view, longer = rig.view(now, 1.0), rig.view(now, 4.0)
    two = view.stars.magnitude[:2]
    assert view.electrons[0] / view.electrons[1] == pytest.approx(10.0 ** (-0.4 * (two[0] - two[1])))
    assert longer.electrons[0] == pytest.approx(4.0 * view.electrons[0], rel=1e-4)
    wide = replace(STILL, camera=replace(STILL.camera, aperture_mm=100.0))
    assert started(wide, catalogue)[0].view(now, 1.0).electrons[0] == pytest.approx(4.0 * view.electrons[0], rel=1e-3)


def test_noise_follows_the_photons() -> None:
    """Photon transfer: variance in electrons = light + read noise^2 (Janesick, Photon Transfer, SPIE 2007)."""
    camera = CameraSpec(
        hot_pixels=0, dark_e_s=0.0, vignetting=0.0, sensitivity_spread=0.0, row_noise_e=0.0, left_justified=False,
        bits=16, electrons_per_adu=0.1,
    )  # fmt: skip
    for light in (4.0, 50.0, 3000.0):
        frame = render(camera, blank(camera, 1.0, light), np.random.Generator(np.random.SFC64(5)))
        electrons = (frame.astype(float) - camera.offset_adu) * camera.electrons_per_adu
        assert electrons.mean() == pytest.approx(light, rel=0.01)
        assert electrons.var() == pytest.approx(light + 9.0, rel=0.02)


def test_numbers_are_those_of_the_camera() -> None:
    for bits, left, dtype, top in (
        (8, False, "uint8", 255),
        (12, True, "uint16", 65520),
        (14, False, "uint16", 16383),
    ):
        camera = CameraSpec(bits=bits, left_justified=left, full_well_e=1e9, electrons_per_adu=0.1)
        frame = render(camera, blank(camera, 1.0, 1e6), np.random.Generator(np.random.SFC64(5)))
        assert frame.dtype == np.dtype(dtype)
        assert frame.max() == top


def test_hot_pixels_belong_to_the_camera_and_grow_with_the_exposure() -> None:
    camera = CameraSpec()
    short, long = (
        render(camera, blank(camera, t, 5.0), np.random.Generator(np.random.SFC64(seed)))
        for t, seed in ((1, 1), (9, 2))
    )
    hot = sensor_of(camera).dark_e_s > 50.0
    assert 20 < hot.sum() < 500
    assert (long[hot].astype(float) - 600.0).mean() > 2.0 * (short[hot].astype(float) - 600.0).mean()
    assert short[hot].mean() > short.mean() + 6.0 * short[~hot].std()


def test_gradient_patch_streak_and_cosmic_rays_are_drawn() -> None:
    camera = CameraSpec(vignetting=0.0)
    plain = blank(camera, 1.0, 50.0)

    def frame(scene: Scene) -> NDArray[np.float64]:
        return render(camera, scene, np.random.Generator(np.random.SFC64(9))).astype(float)

    sloped = frame(replace(plain, glow=SkyGlow(slope_right=0.6)))
    assert sloped[:, 1000:].mean() > 1.2 * sloped[:, :280].mean()
    patch = frame(replace(plain, glow=SkyGlow(patch=1.0, patch_x=0.2, patch_y=0.2, patch_radius=0.1)))
    assert patch[150:230, 220:290].mean() > 1.2 * patch[700:, 1000:].mean()
    crossed = frame(replace(plain, streak=Streak(640.0, 480.0, 0.3, 400.0)))
    along = np.arange(-500, 500)
    x, y = 640 + along * np.cos(0.3), 480 + along * np.sin(0.3)
    assert crossed[np.rint(y).astype(int), np.rint(x).astype(int)].mean() > frame(plain).mean() + 1500.0
    hit = frame(replace(plain, cosmic_rays=40.0))
    assert (hit - frame(plain)).max() > 2000.0


def test_a_frame_is_the_same_for_the_same_seed(catalogue: Catalogue) -> None:
    frames = []
    for seed in (4, 4, 5):
        rig, now = started(SCENARIOS["windy"], catalogue, seed)
        frames.append(rig.expose(now, 1.0)[0])
    assert np.array_equal(frames[0], frames[1])
    assert not np.array_equal(frames[0], frames[2])


def test_stars_trail_when_the_drive_is_off(catalogue: Catalogue) -> None:
    """15.041 arcsec a second times cos(dec); started again, the drive first takes up its backlash."""
    rig, now = started(STILL, catalogue, tracking=False)
    exposure = rig.take(now, 6.0)
    view = exposure.view
    mid = view.x_px.shape[0] // 2
    near_centre = np.hypot(view.x_px[mid] - 639.5, view.y_px[mid] - 479.5).argmin()
    length = np.hypot(np.ptp(view.x_px[:, near_centre]), np.ptp(view.y_px[:, near_centre]))
    dec = np.arcsin(view.stars.icrs[near_centre, 2])
    expected = 15.041 * 6.0 * np.cos(dec) / STILL.camera.scale_arcsec_px
    assert view.x_px.shape[0] > 10
    assert length * view.x_px.shape[0] / (view.x_px.shape[0] - 1) == pytest.approx(expected, rel=0.02)
    rig.set_tracking(True, now)
    assert rig.view(now, 6.0).x_px.shape[0] > 1
    assert rig.view(now.plus_seconds(30.0), 6.0).x_px.shape[0] == 1


def test_turning_a_screw_while_the_shutter_is_open_trails_the_stars(catalogue: Catalogue) -> None:
    rig, now = started(STILL, catalogue)
    done = rig.turn("altitude", 0.3, now)
    during, afterwards = rig.view(now, done.seconds_since(now)), rig.view(done.plus_seconds(30.0), 1.0)
    moved = np.hypot(np.ptp(during.x_px, axis=0), np.ptp(during.y_px, axis=0))
    assert np.nanmedian(moved) > 20.0
    assert afterwards.x_px.shape[0] == 1


def test_there_are_two_screws(catalogue: Catalogue) -> None:
    rig, now = started(STILL, catalogue)
    with pytest.raises(UsageError, match="azimuth or altitude"):
        rig.turn("focus", 1.0, now)


def test_clouds_and_walls_hide_the_stars(catalogue: Catalogue) -> None:
    cloudy = replace(SCENARIOS["passing-clouds"], wind_arcsec=0.0)
    rig = started(cloudy, catalogue)[0]
    loss = np.array([rig.night.cloud_mag(t) for t in range(0, 40000, 20)])
    assert np.mean(loss > 0.0) == pytest.approx(0.3, abs=0.06)
    assert loss.min() == 0.0
    walled, then = started(SCENARIOS["no-pole-view"], catalogue)
    clear = walled.take(then, 1.0)
    north = walled.point_horizontal(0.0, 48.0, then)
    hidden = walled.take(north.plus_seconds(5.0), 1.0)
    assert not clear.view.blocked
    assert hidden.view.blocked
    assert np.percentile(hidden.pixels, 99.9) < np.percentile(clear.pixels, 99.9)
    assert len(observe_stars(walled, north.plus_seconds(5.0), 1.0, np.random.default_rng(1)).stars) == 0


def test_the_header_is_read_by_astropy_and_tells_what_a_camera_tells(tmp_path: Path, catalogue: Catalogue) -> None:
    from astropy.io import fits

    rig, now = started(SCENARIOS["southern-sky"], catalogue)
    path, view = rig.write_frame(tmp_path, now, 2.0)
    with fits.open(path) as hdus:
        hdus.verify("exception")
        header, pixels = hdus[0].header, hdus[0].data
        assert header["EXPTIME"] == 2.0
        assert header["FOCALLEN"] == 240.0
        assert header["SITELAT"] == pytest.approx(-30.9)
        assert header["SITELONG"] == pytest.approx(156.0)
        assert header["DATE-OBS"].startswith("2026-09-14T10:4")
        assert pixels.shape == (960, 1280)
        assert pixels.dtype == np.uint16
    assert [p.name for p in tmp_path.iterdir()] == ["southern-sky-0001.fits"]
    assert view.exposure_s == 2.0


def test_eight_bits_and_odd_text_survive_the_file(tmp_path: Path) -> None:
    from astropy.io import fits

    pixels = np.arange(12, dtype=np.uint8).reshape(3, 4)
    write_at_once(
        tmp_path / "a.fits",
        fits_bytes(pixels, {"OBSERVER": ("O'Hara", "name"), "GAIN": (7, ""), "SMALL": (1e-7, "")}),
    )
    with fits.open(tmp_path / "a.fits") as hdus:
        hdus.verify("exception")
        assert np.array_equal(hdus[0].data, pixels)
        assert hdus[0].header["OBSERVER"] == "O'Hara"
        assert hdus[0].header["SMALL"] == 1e-7


def test_a_wrong_clock_shows_in_the_header_alone(catalogue: Catalogue) -> None:
    right = replace(SCENARIOS["wrong-clock"], clock_error_s=0.0)
    (one, now), (two, _) = started(SCENARIOS["wrong-clock"], catalogue), started(right, catalogue)
    wrong, correct = one.take(now, 1.0), two.take(now, 1.0)
    assert np.array_equal(wrong.pixels, correct.pixels)
    assert wrong.header["DATE-OBS"] != correct.header["DATE-OBS"]


def test_the_kick_comes_and_moves_the_axis(catalogue: Catalogue) -> None:
    rig, _ = started(SCENARIOS["kicked-tripod"], catalogue)
    assert rig.night.kick is not None
    start = rig.night.start
    before, later = (rig.axis(start.plus_seconds(rig.night.kick[0] + t)) for t in (-1.0, 1.0))
    moved = np.array(later.from_true_pole_arcmin) - np.array(before.from_true_pole_arcmin)
    assert 2.0 < np.hypot(*moved) < 12.0


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_scenario_starts_within_four_degrees_and_shows_stars(name: str, catalogue: Catalogue) -> None:
    rig, now = started(SCENARIOS[name], catalogue, seed=11)
    axis = rig.axis(now)
    assert np.hypot(*axis.from_true_pole_arcmin) < 4.0 * 60.0
    raised = axis.from_true_pole_arcmin[1] - axis.from_refracted_pole_arcmin[1]
    assert 0.2 < raised < 2.5  # the refracted pole stands higher, by 0.5' to 2' at these latitudes
    if rig.night.cloud_mag(rig.seconds(now)) == 0.0:
        assert len(observe_stars(rig, now, 2.0, np.random.default_rng(1)).stars) >= 12


def test_star_lists_scatter_as_they_say(catalogue: Catalogue) -> None:
    rig, now = started(STILL, catalogue)
    rng = np.random.default_rng(3)
    pulls = []
    for _ in range(20):
        sighting = observe_stars(rig, now, 1.0, rng, seeing=False)
        measured = np.stack([sighting.stars.x_px, sighting.stars.y_px], axis=-1)
        pulls.append((measured - sighting.true_px) / sighting.stars.sigma_px[:, None])
        assert np.all(np.diff(sighting.stars.flux_adu) <= 0.0)
    assert np.concatenate(pulls).std() == pytest.approx(1.0, abs=0.05)
    fixed = observe_stars(rig, now, 1.0, rng, noise_px=0.3, most=25, spurious=10, seeing=False)
    assert len(fixed.stars) == 35
    assert (fixed.catalogue_index == -1).sum() == 10
    assert np.isnan(fixed.icrs).any(axis=1).sum() == 10
    assert fixed.stars.sigma_px == pytest.approx(0.3)


def test_the_sky_differs_from_the_catalogue_but_stays_the_same_all_night(catalogue: Catalogue) -> None:
    flawed = replace(
        STILL, stars=StarFlaws(place_arcsec=0.3, place_outlier_share=0.0, missing_share=0.1, stranger_share=0.1)
    )
    (one, now), (perfect, _) = started(flawed, catalogue), started(STILL, catalogue)
    first, second, ideal = one.view(now, 1.0).stars, one.view(now, 2.0).stars, perfect.view(now, 1.0).stars
    shared = np.intersect1d(first.index[first.index >= 0], second.index)
    at = {int(i): v for i, v in zip(second.index, second.icrs)}
    assert all(np.allclose(v, at[int(i)], atol=1e-12) for i, v in zip(first.index, first.icrs) if i in shared)
    true = {int(i): v for i, v in zip(ideal.index, ideal.icrs)}
    off = np.array([v - true[int(i)] for i, v in zip(first.index, first.icrs) if int(i) in true]) * ARCSEC_PER_RAD
    assert off.std() * np.sqrt(1.5) == pytest.approx(0.3, rel=0.1)
    assert (first.index == -1).sum() == pytest.approx(0.1 * len(ideal), abs=0.05 * len(ideal))
    assert len(ideal) * 0.84 < (first.index >= 0).sum() < len(ideal) * 0.97


def test_the_sky_dims_toward_the_horizon_and_ends_there(catalogue: Catalogue) -> None:
    """Air mass of Kasten & Young (1989): 37.9 on the horizon, 1.994 at 30 degrees, 1 in the zenith."""
    assert airmass(np.sin(np.radians([0.0, 30.0, 90.0]))) == pytest.approx([37.92, 1.994, 1.0], rel=1e-3)
    rig, now = started(SCENARIOS["calm"], catalogue)
    low = rig.point_horizontal(180.0, 0.4, now).plus_seconds(30.0)
    view = rig.view(low, 2.0)
    altitude = view.sky.observed(view.stars.icrs)[:, 2]
    assert np.all(view.electrons[altitude <= 0.0] == 0.0)
    assert (altitude <= 0.0).sum() > 5
    assert np.median(view.electrons[altitude > 0.0]) > 0.0


def test_gusts_smear_the_stars_of_a_windy_night(catalogue: Catalogue) -> None:
    widths = {}
    for name, wind in (("still", 0.0), ("windy", 9.0)):
        scenario = replace(
            STILL, wind_arcsec=wind, camera=replace(STILL.camera, hot_pixels=0, full_well_e=1e9, bits=16)
        )
        rig, now = started(scenario, catalogue)
        exposure = rig.take(now.plus_seconds(30.0), 4.0)
        rows, columns = np.mgrid[-9:10, -9:10]
        spread = []
        for star in bright_and_alone(exposure, scenario.camera):
            x, y = round(exposure.view.x_px[0, star]), round(exposure.view.y_px[0, star])
            box = exposure.pixels[y - 9 : y + 10, x - 9 : x + 10].astype(float) - np.median(exposure.pixels)
            cx, cy = (box * columns).sum() / box.sum(), (box * rows).sum() / box.sum()
            spread.append((box * ((columns - cx) ** 2 + (rows - cy) ** 2)).sum() / box.sum())
        widths[name] = np.median(spread)
    assert widths["windy"] > 1.5 * widths["still"]
