"""From the view to the frame: what air, wind, sky light and chance do while the shutter is open, and the header."""

from __future__ import annotations

import numpy as np

from polewright.core.model import FloatArray
from polewright.simulate.fits_file import HeaderValue
from polewright.simulate.light import Blur
from polewright.simulate.night import Night, iso_of
from polewright.simulate.render import Scene, Streak
from polewright.simulate.scenarios import Scenario
from polewright.simulate.view import View, sky_electrons, star_width_px

Header = dict[str, tuple[HeaderValue, str]]
_GUST_STEPS = 12  # positions of a gust during one exposure; chosen: smooth to the eye


def scene_of(night: Night, view: View, rng: np.random.Generator) -> Scene:
    """What reaches the sensor, with seeing, wind and satellites drawn from `rng`."""
    scenario = night.scenario
    shake_x, shake_y = _shake(scenario, view.x_px.shape, view.exposure_s, rng)
    return Scene(
        exposure_s=view.exposure_s,
        x_px=view.x_px + shake_x,
        y_px=view.y_px + shake_y,
        star_electrons=view.electrons,
        blur=Blur(star_width_px(scenario), scenario.defocus_px, 1.0 + 0.5 * min(view.cloud_mag, 2.0)),
        sky_electrons_px=(0.3 if view.blocked else 1.0) * sky_electrons(scenario, view.exposure_s, view.cloud_mag),
        glow=scenario.glow,
        streak=_satellite(scenario, view, rng),
        cosmic_rays=0.02 * view.exposure_s,
    )


def image_motion_arcsec(scenario: Scenario, exposure_s: float) -> tuple[float, float]:
    """Image motion by seeing, one axis: (common to all stars, star by star).

    Sized after the integrals for a 50 mm aperture and 2 arcsec seeing (0.10 to 0.24 arcsec at 1 s), D^(-1/6) (Martin,
    PASP 99, 1360 (1987)), falling slower than 1 / sqrt(t).
    """
    size = (scenario.seeing_arcsec / 2.0) ** (5.0 / 6.0) * (scenario.camera.aperture_mm / 50.0) ** (-1.0 / 6.0)
    time = max(exposure_s, 0.02) ** -0.35
    return 0.12 * size * time, 0.22 * size * time


def header_of(night: Night, view: View) -> Header:
    """The header as camera software writes it: the computer's clock, what the owner typed in, no truth."""
    scenario, camera = night.scenario, night.scenario.camera
    header: Header = {
        "DATE-OBS": (iso_of(night.stamped(view.utc_start)), "UTC, start of exposure"),
        "EXPTIME": (float(view.exposure_s), "seconds"),
        "IMAGETYP": ("LIGHT", ""),
        "INSTRUME": (camera.name, ""),
        "XPIXSZ": (camera.pixel_um, "micrometres"),
        "YPIXSZ": (camera.pixel_um, "micrometres"),
        "XBINNING": (1, ""),
        "YBINNING": (1, ""),
        "CCD-TEMP": (float(night.air.temperature_c + 6.0), "degrees Celsius"),
        "ROWORDER": ("TOP-DOWN", "first row is the top of the picture"),
    }
    if camera.stated_focal_length_mm:
        header["FOCALLEN"] = (camera.stated_focal_length_mm, "millimetres")
    if camera.bayer:
        header["BAYERPAT"] = (camera.bayer, "")
    if scenario.site_in_header:
        header["SITELAT"] = (scenario.site.lat_deg, "degrees, north positive")
        header["SITELONG"] = (scenario.site.lon_deg, "degrees, east positive")
        header["SITEELEV"] = (scenario.site.elev_m, "metres")
    if scenario.pointing_in_header:
        centre = view.centre
        header["RA"] = (round(centre.ra_deg + 0.2, 4), "degrees, as the mount believes")
        header["DEC"] = (round(centre.dec_deg - 0.15, 4), "degrees, as the mount believes")
    return header


def _shake(
    scenario: Scenario, shape: tuple[int, ...], exposure_s: float, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Seeing (common and star by star) and wind, px: (S, N), or more moments where gusts smear the stars."""
    scale = scenario.camera.scale_arcsec_px
    common, single = image_motion_arcsec(scenario, exposure_s)
    together = rng.normal(0.0, common / scale, (2, 1, 1))
    apart = rng.normal(0.0, single / scale, (2, 1, shape[1]))
    gusty = scenario.wind_arcsec / scale > 0.15 * star_width_px(scenario)
    steps = _GUST_STEPS if gusty and shape[0] == 1 else shape[0]
    moved = together + apart + _wind_px(scenario, steps, exposure_s, rng)
    return np.asarray(moved[0]), np.asarray(moved[1])


def _wind_px(scenario: Scenario, steps: int, exposure_s: float, rng: np.random.Generator) -> FloatArray:
    """How far wind sways the tube at each moment, (2, S, 1): slow leaning and a swing of about one a second."""
    rms = scenario.wind_arcsec / scenario.camera.scale_arcsec_px
    time = (np.arange(steps) + 0.5) / steps * exposure_s
    lean = rng.normal(0.0, 0.3 * rms * min(1.0, exposure_s**-0.25), (2, 1, 1))
    phase, rate = rng.uniform(0.0, 2.0 * np.pi, (2, 1)), rng.uniform(0.6, 1.6, (2, 1))
    swing = 0.8 * np.sqrt(2.0) * rms * rng.uniform(0.5, 1.5, (2, 1)) * np.sin(2.0 * np.pi * rate * time + phase)
    if steps == 1:  # the swing averages out
        swing = np.zeros((2, 1))
    return np.asarray(lean + swing[:, :, None])


def _satellite(scenario: Scenario, view: View, rng: np.random.Generator) -> Streak | None:
    camera = scenario.camera
    passes = rng.random() < scenario.satellites_per_frame
    x, y, angle = rng.uniform(0, camera.width_px), rng.uniform(0, camera.height_px), rng.uniform(0, np.pi)
    brightness = float(np.exp(rng.normal(4.5, 0.8)))
    return Streak(float(x), float(y), float(angle), brightness) if passes and not view.blocked else None
