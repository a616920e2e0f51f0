"""Files that hold several images, as mosaics of chips and cameras that keep a preview write them; astropy writes them
and is the oracle of what is read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

import starfields as sf
from polewright.core.matching.hint import SolveHint
from polewright.core.model import PlateSolution, StarList
from polewright.core.unsolved import NoMatchAnywhere, ThinCatalogue, Unsolved
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import FrameMeasurer
from sky_solver import shared_catalogue, shared_solver
from solver_fields import Field, FieldRecipe, error_px, make_field

SKY_ADU, NOISE_ADU, FWHM_PX = 500.0, 20.0, 2.5
EMPTY = np.full((480, 640), SKY_ADU)


def drawn(seed: int) -> tuple[Field, np.ndarray]:
    """A field of four degrees and its picture, top row first, without noise."""
    recipe = FieldRecipe(4.0, width_px=640, height_px=480, spurious=0, noise_px=0.0, limit_stars=40)
    field = make_field(shared_catalogue(), recipe, np.random.default_rng(seed))
    assert field is not None
    image = EMPTY.copy()
    for x, y, snr in zip(field.stars.x_px, field.stars.y_px, np.geomspace(200.0, 12.0, field.real)):
        sf.add_star(image, x, y, float(sf.flux_of(snr, FWHM_PX, NOISE_ADU)), FWHM_PX / sf.FWHM_PER_SIGMA)
    return field, image


def file_of(path: Path, **chips: np.ndarray) -> Path:
    """A FITS file with an empty primary HDU, a table, and an image a chip."""
    rng = np.random.default_rng(7)
    table = fits.BinTableHDU(np.zeros(3, dtype=[("TIME", "f8")]), name="TIMES")
    images = [
        fits.ImageHDU((image + rng.normal(size=image.shape) * NOISE_ADU).astype(np.uint16)[::-1], name=name.upper())
        for name, image in chips.items()
    ]
    primary = fits.PrimaryHDU(header=fits.Header({"DATE-OBS": "2026-11-20T20:00:00", "EXPTIME": 2.0}))
    fits.HDUList([primary, table, *images]).writeto(path)
    return path


def measurer() -> FrameMeasurer:
    return FrameMeasurer(Detector(), shared_solver(), lambda: 0.0)


def test_the_image_that_solves_is_used_and_named(tmp_path: Path) -> None:
    field, image = drawn(4)
    measured = measurer().measure(file_of(tmp_path / "mosaic.fits", left=EMPTY, right=image))
    assert isinstance(measured.outcome, PlateSolution) and error_px(field, measured.outcome) < 1.0
    assert "The file holds 2 images: number 2 (RIGHT) is used." in measured.warnings


def test_a_refused_file_speaks_of_its_first_image(tmp_path: Path) -> None:
    measured = measurer().measure(file_of(tmp_path / "mosaic.fits", left=EMPTY, right=EMPTY))
    assert isinstance(measured.outcome, Unsolved)
    assert measured.frame.warnings == ("The file holds 2 images: number 1 (LEFT) is used.",)


def test_a_night_stays_with_one_image(tmp_path: Path) -> None:
    """Each chip looks another way: the axis would seem to jump from one to the other."""
    (first, a), (_, b) = drawn(4), drawn(9)
    night = measurer()
    assert isinstance(night.measure(file_of(tmp_path / "1.fits", left=EMPTY, right=a)).outcome, PlateSolution)
    second = night.measure(file_of(tmp_path / "2.fits", left=b, right=a)).outcome
    assert isinstance(second, PlateSolution) and error_px(first, second) < 1.0
    assert isinstance(night.measure(file_of(tmp_path / "3.fits", left=a, right=EMPTY)).outcome, Unsolved)
    plain = tmp_path / "4.fits"
    fits.PrimaryHDU(np.rint(a).astype(np.uint16)).writeto(plain)
    assert night.read(plain)[0].images == 1  # a file of one image has no second


class Refuses:
    """A solver that refuses all it is asked; `asked` is how thoroughly that was."""

    def __init__(self, why: NoMatchAnywhere | ThinCatalogue) -> None:
        self.why, self.asked = why, list[bool]()

    def solve(self, stars: StarList, epoch_year: float, hint: SolveHint, progress: object = None) -> Unsolved:
        self.asked.append(hint.thorough)
        return Unsolved(self.why, len(stars))


@pytest.mark.parametrize(
    ("why", "asked"),
    [(ThinCatalogue(40, 0.01, 0, 5), [True]), (NoMatchAnywhere(40, 0.4, 90.0), [True, False, False, False])],
)
def test_a_refusal_stays_within_its_time(
    tmp_path: Path, why: NoMatchAnywhere | ThinCatalogue, asked: list[bool]
) -> None:
    """Calibrated frames hold their errors and flags as further images: all searched thoroughly cost 4 s, not 1.3."""
    _, image = drawn(4)
    solver = Refuses(why)
    path = file_of(tmp_path / "six.fits", **dict.fromkeys("abcdef", image))
    measured = FrameMeasurer(Detector(), solver, lambda: 0.0).measure(path)
    assert isinstance(measured.outcome, Unsolved) and measured.outcome.why == why
    assert solver.asked == asked


@pytest.mark.parametrize("number", [1, 2, 3])
def test_each_image_is_read_as_astropy_reads_it(tmp_path: Path, number: int) -> None:
    rng = np.random.default_rng(1)
    chips = {name: rng.integers(200, 900, (40, 50)).astype(float) for name in ("a", "b", "c")}
    path = file_of(tmp_path / "three.fits", **chips)
    frame = read_frame(path, image=number)
    with fits.open(path) as hdus:
        expected = hdus[number + 1].data[::-1]
    np.testing.assert_array_equal(frame.pixels, expected)
    assert frame.images == 3 and frame.utc_mid is not None and "DATE-OBS" in frame.utc_mid.source


def test_of_an_image_that_is_cut_off_nothing_is_said(tmp_path: Path) -> None:
    path = file_of(tmp_path / "cut.fits", left=EMPTY, right=EMPTY)
    path.write_bytes(path.read_bytes()[:-200_000])
    assert read_frame(path).images == 1


def test_a_compressed_image_is_asked_of_the_helper_by_its_number(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    a, b = (rng.integers(200, 900, (64, 80)).astype(np.int16) for _ in range(2))
    path = tmp_path / "two.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(a), fits.CompImageHDU(b)]).writeto(path)
    helper = HelperProcess()
    try:
        frame = ContainedReader(helper).read(path, image=2)
    finally:
        helper.close()
    np.testing.assert_array_equal(frame.pixels, b[::-1])
    assert frame.images == 2
