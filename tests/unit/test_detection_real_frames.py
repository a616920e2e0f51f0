"""Real frames against the star catalogue: where the catalogue has a star, detection must have one.

HAT-P-32 frames of 2017-12-20 (650 x 500, 60 s, telescope drifting, hot pixels, bleeding stars). The plate constants
below (pixel = a (xi' + i eta) + t, xi' = -xi for these mirrored frames; tangent point RA 31.2, Dec +46.76 deg) were
fitted once to the catalogue; for the two frames whose centre is known independently, (31.249, +46.741) and
(31.089, +46.812), they give that centre to 0.003 deg.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polewright.core.model import StarList
from polewright.services.catalogue import load_catalogue
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame

PLATES = {
    "HATP-32171220013343": (39948.5 + 153.1j, 347.64 + 262.94j),
    "HATP-32171220024512": (39941.5 + 199.4j, 319.35 + 227.18j),
    "HATP-32171220035712": (39945.6 + 258.8j, 271.65 + 212.84j),
    "HATP-32171220050912": (39944.7 + 319.8j, 204.85 + 200.18j),
    "HATP-32171220062112": (39940.9 + 400.5j, 153.84 + 203.92j),
    "HATP-32171220080912": (39925.3 + 526.1j, 89.08 + 232.43j),
}


def catalogue_places(a: complex, t: complex, faintest: float) -> tuple[np.ndarray, np.ndarray]:
    """Pixel places (complex) and magnitudes of the catalogue stars around the field at 2017.97."""
    ra, dec = np.radians(31.2), np.radians(46.76)
    z = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
    east = np.array([-np.sin(ra), np.cos(ra), 0.0])
    catalogue = load_catalogue()
    near = catalogue.around(z, np.radians(0.75), 400)
    near = near[catalogue.magnitude[near] < faintest]
    v = catalogue.vectors_at(2017.97)[near]
    plane = (-(v @ east) + 1j * (v @ np.cross(z, east))) / (v @ z)
    return a * plane + t, catalogue.magnitude[near]


def gaps(stars: StarList, places: np.ndarray) -> np.ndarray:
    """Distance of each place to the nearest detected star, px."""
    return np.asarray(np.abs(places[:, None] - (stars.x_px + 1j * stars.y_px)).min(axis=1))


@pytest.mark.parametrize("name", PLATES)
def test_catalogue_stars_of_the_hard_frames_are_found(shared_frames: Path, name: str) -> None:
    stars = Detector().detect(read_frame(shared_frames / f"{name}.FITS"))
    places, magnitude = catalogue_places(*PLATES[name], faintest=11.2)
    inside = (places.real > 5) & (places.real < 644) & (places.imag > 5) & (places.imag < 494)
    # brighter than 8.5 they are full and bleed by a pixel or more
    clean = inside & (magnitude > 8.5)
    gap = gaps(stars, places[clean])
    assert clean.sum() >= 25
    assert (gap < 1.5).mean() >= 0.95
    assert np.sqrt(np.mean(gap[gap < 1.5] ** 2) / 2.0) < 0.2
    assert (gaps(stars, places[inside]) < 4.0).mean() >= 0.95
    assert stars.trouble is None


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("2019-07-29T204726_Alt40_Azi-135_Try1.tiff", 40),
        ("2019-07-29T204726_Alt60_Azi45_Try1.tiff", 100),
        ("2019-07-29T204726_Alt60_Azi135_Try1.tiff", 100),
        ("few-stars/img0.png", 8),
        ("few-stars/img3.png", 8),
        ("few-stars/img7.png", 8),
        ("polar_30sec.jpg", 200),
    ],
)
def test_every_real_frame_gives_stars(shared_frames: Path, name: str, least: int) -> None:
    stars = Detector().detect(read_frame(shared_frames / name, utc_offset_hours=0.0))
    assert len(stars) >= least
    assert np.isfinite(stars.sigma_px).all() and stars.trouble is None
