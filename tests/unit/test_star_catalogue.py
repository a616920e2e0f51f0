"""The star catalogue as a data structure, and what happens when its file is missing or damaged."""

from __future__ import annotations

import hashlib
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from hypothesis import given, settings
from hypothesis import strategies as st

import polewright
from polewright.core.errors import CatalogueError
from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue
from polewright.services.catalogue_format import CHECKSUM_NAME, FILE_NAME, CatalogueTables, decode, encode
from polewright.services.resources import find_resource


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def shipped() -> Path:
    found = find_resource(FILE_NAME)
    assert found is not None
    return found


@pytest.fixture
def copied(shipped: Path, tmp_path: Path) -> Path:
    shutil.copy(shipped.with_name(CHECKSUM_NAME), tmp_path / CHECKSUM_NAME)
    return Path(shutil.copy(shipped, tmp_path / FILE_NAME))


def brute_force(catalogue: Catalogue, v: np.ndarray, radius_rad: float) -> np.ndarray:
    return np.flatnonzero(np.linalg.norm(catalogue.position - v, axis=1) <= 2.0 * np.sin(radius_rad / 2.0))


# ---- the structure


def test_stars_run_from_bright_to_faint_and_nothing_can_be_written(catalogue: Catalogue) -> None:
    assert len(catalogue) == 1_889_633
    assert (np.diff(catalogue.magnitude) >= 0.0).all()
    assert catalogue.magnitude.dtype == np.float32
    assert sorted(catalogue.members[::1000])[0] >= 0
    assert np.array_equal(np.bincount(catalogue.members, minlength=len(catalogue)), np.ones(len(catalogue)))
    with pytest.raises(ValueError, match="read-only"):
        catalogue.position[0] = 0.0


@pytest.mark.parametrize("year", [1900.0, 2000.0, 2016.0, 2026.4, 2100.0])
def test_places_are_unit_vectors_at_any_epoch(catalogue: Catalogue, year: float) -> None:
    v = catalogue.vectors_at(year)
    assert v.shape == (len(catalogue), 3) and v.dtype == np.float64
    assert np.abs(np.linalg.norm(v, axis=1) - 1.0).max() < 1e-15 * 4
    chosen = np.array([5, 0, 1_889_632])
    assert np.array_equal(catalogue.vectors_at(year, chosen), v[chosen])
    assert np.array_equal(catalogue.vectors_at(year, slice(0, 100)), v[:100])


def test_motion_is_at_right_angles_to_the_place(catalogue: Catalogue) -> None:
    own = np.flatnonzero(catalogue.motion_measured)
    radial = np.einsum("ni,ni->n", catalogue.motion_mas[own].astype(float), catalogue.position[own])
    assert np.abs(radial).max() < 1.0  # mas a year: the rounding to whole mas


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1),
    st.floats(0.0, 25.0),
    st.one_of(st.none(), st.integers(1, 400)),
)
def test_around_finds_what_looking_at_every_star_finds(
    catalogue: Catalogue, v: list[float], radius_deg: float, limit: int | None
) -> None:
    direction = np.array(v) / np.linalg.norm(v)
    found = catalogue.around(direction, np.radians(radius_deg), limit)
    assert np.array_equal(found, brute_force(catalogue, direction, np.radians(radius_deg))[:limit])


@pytest.mark.parametrize("pole", [1.0, -1.0])
@pytest.mark.parametrize(("radius_deg", "limit"), [(0.5, None), (2.0, 50), (90.0, 1000), (180.0, 10)])
def test_around_the_poles(catalogue: Catalogue, pole: float, radius_deg: float, limit: int | None) -> None:
    v = np.array([0.0, 0.0, pole])
    found = catalogue.around(v, np.radians(radius_deg), limit)
    assert np.array_equal(found, brute_force(catalogue, v, np.radians(radius_deg))[:limit])
    assert found.size > 20 or found.size == limit


# ---- the file


def test_the_file_is_standard_fits_and_means_the_same_to_astropy(shipped: Path, catalogue: Catalogue) -> None:
    ours = decode(shipped.read_bytes())
    with fits.open(shipped) as file:
        file.verify("exception")
        assert [hdu.name for hdu in file[1:]] == ["CELLS", "STARS", "MOTION", "LEVELS"]
        assert file[0].header["EPOCH"] == catalogue.epoch_year == 2016.0
        stars = file["STARS"].data
        assert np.array_equal(stars["U"], ours.stars["U"].astype(int) + 32768)
        assert np.array_equal(stars["MAG"], ours.stars["MAG"])
        assert np.array_equal(file["MOTION"].data["PMDEC"], ours.motion["PMDEC"])
        assert np.array_equal(file["CELLS"].data["MOVING"], ours.cells["MOVING"])
        assert np.array_equal(file["LEVELS"].data["MAGNITUDE"], ours.levels["MAGNITUDE"])


def test_the_file_stays_small(shipped: Path) -> None:
    assert shipped.stat().st_size <= 12_000_000


def test_the_checksum_is_that_of_the_file(shipped: Path, catalogue: Catalogue) -> None:
    assert catalogue.checksum == hashlib.sha256(shipped.read_bytes()).hexdigest()


def test_one_changed_byte_anywhere_is_noticed(copied: Path) -> None:
    size = copied.stat().st_size
    for position in [0, size - 1, *np.random.default_rng(3).integers(0, size, 12)]:
        with copied.open("r+b") as file:
            file.seek(position)
            byte = file.read(1)[0]
            file.seek(position)
            file.write(bytes([byte ^ 1]))
            file.flush()
            with pytest.raises(CatalogueError, match="damaged") as caught:
                load_catalogue(copied)
            file.seek(position)
            file.write(bytes([byte]))
        assert "install Polewright again" in str(caught.value)
        assert "build_catalogue.py" in str(caught.value)
    load_catalogue(copied)


@pytest.mark.parametrize("name", [FILE_NAME, CHECKSUM_NAME])
def test_a_missing_file_is_named_with_a_cure(copied: Path, name: str) -> None:
    copied.with_name(name).unlink()
    with pytest.raises(CatalogueError, match=rf"{name} cannot be read.*install Polewright again"):
        load_catalogue(copied)


@pytest.mark.parametrize("text", [b"", b"\xff\xfe\x00", b"0123  star-catalogue.fits\n"])
def test_a_damaged_checksum_is_noticed(copied: Path, text: bytes) -> None:
    copied.with_name(CHECKSUM_NAME).write_bytes(text)
    with pytest.raises(CatalogueError, match="checksum"):
        load_catalogue(copied)


def test_an_installation_without_the_catalogue_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(polewright, "__file__", str(tmp_path / "app" / "polewright" / "__init__.py"))
    with pytest.raises(CatalogueError, match="missing from the installation"):
        load_catalogue()


def with_checksum(data: bytes, folder: Path) -> Path:
    (folder / CHECKSUM_NAME).write_text(hashlib.sha256(data).hexdigest())
    (folder / FILE_NAME).write_bytes(data)
    return folder / FILE_NAME


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda data: b"", "no end"),
        (lambda data: b"not a FITS file" * 400, "no end"),
        (lambda data: data[:6_000_000], "STARS is cut short"),
        (lambda data: data[: 2880 * 2], "CELLS is cut short"),
        (
            lambda data: data.replace(b"FORMAT  =                    1", b"FORMAT  =                    9", 1),
            "format 9",
        ),
        (lambda data: data.replace(b"EXTNAME = 'STARS ", b"EXTNAME = 'SHEEP ", 1), "table STARS is not where"),
        (lambda data: data.replace(b"=                48600", b"=                48599", 1), "contradict"),
    ],
)
def test_a_file_of_another_make_is_refused_even_with_its_own_checksum(
    shipped: Path, tmp_path: Path, spoil: Callable[[bytes], bytes], why: str
) -> None:
    data = shipped.read_bytes()
    assert spoil(data) != data
    with pytest.raises(CatalogueError, match=why):
        load_catalogue(with_checksum(spoil(data), tmp_path))


def test_tables_come_back_as_they_were_written(shipped: Path) -> None:
    tables = decode(shipped.read_bytes())
    few = CatalogueTables(2016.0, tables.cells[:7], tables.stars[:1000], tables.motion[:30], tables.levels)
    data = encode(few, ("a note",))
    back = decode(data)
    assert len(data) % 2880 == 0
    for name in ("cells", "stars", "motion", "levels"):
        assert np.array_equal(getattr(back, name), getattr(few, name))


# ---- where resources are looked for


def test_resources_of_a_wheel_a_frozen_build_and_a_checkout(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(polewright, "__file__", str(tmp_path / "app" / "polewright" / "__init__.py"))
    monkeypatch.setattr(sys, "_MEIPASS", str(tmp_path / "frozen"), raising=False)
    places = [
        tmp_path / "resources",
        tmp_path / "frozen" / "resources",
        tmp_path / "frozen" / "polewright" / "resources",
    ]
    places.append(tmp_path / "app" / "polewright" / "resources")
    assert find_resource("thing.txt") is None
    for folder in places:  # each comes before the ones already there
        folder.mkdir(parents=True)
        (folder / "thing.txt").touch()
        assert find_resource("thing.txt") == folder / "thing.txt"
