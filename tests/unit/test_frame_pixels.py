"""Pixels of every file family: astropy, tifffile and Pillow write them and are the oracles of what is read."""

from __future__ import annotations

import base64
import bz2
import gzip
import io
import sys
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from PIL import Image, features

from polewright.core.errors import FrameReadError
from polewright.services.frame_reader import read_frame, reading
from polewright.services.frame_reader.families import family_of, is_frame_name

RNG = np.random.default_rng(20260301)
HEIGHT, WIDTH = 30, 41  # no multiple of anything, taller than wide would hide a swap of axes


def ramp(dtype: Any, low: int = 0, high: int = 4000) -> Any:
    return RNG.integers(low, high, (HEIGHT, WIDTH)).astype(dtype)


def fits_file(folder: Path, data: Any, **cards: Any) -> Path:
    path = folder / "frame.fits"
    header = fits.Header({"DATE-OBS": "2026-03-01T20:00:00", "EXPTIME": 2.0})
    header.update({name.replace("_", "-"): value for name, value in cards.items()})
    fits.PrimaryHDU(data, header).writeto(path, overwrite=True)
    return path


@pytest.mark.parametrize(
    ("stored", "dtype"),
    [
        (ramp(np.uint8, 0, 255), np.uint8),
        (ramp(np.uint16, 0, 65535), np.uint16),
        (ramp(np.int16, 0, 32767), np.uint16),
        (ramp(np.int16, -300, 300), np.float32),
        (ramp(np.int32, 0, 65535), np.uint16),
        (ramp(np.int32, -10, 10_000_000), np.float32),
        (ramp(np.uint32, 0, 10_000_000), np.float32),
        (ramp(np.int64, 0, 10_000_000), np.float32),
        (ramp(np.float32) / 7, np.float32),
        (ramp(np.float64) / 7, np.float32),
    ],
    ids=lambda value: getattr(value, "dtype", value).__str__() if not isinstance(value, type) else value.__name__,
)
def test_fits_of_every_depth_is_read_as_astropy_reads_it(tmp_path: Path, stored: Any, dtype: type) -> None:
    frame = read_frame(fits_file(tmp_path, stored))
    with fits.open(tmp_path / "frame.fits") as hdus:
        expected = hdus[0].data[::-1]
    assert frame.pixels.dtype == dtype
    assert frame.pixels.dtype.isnative
    np.testing.assert_array_equal(frame.pixels, expected.astype(dtype))
    assert not frame.pixels.flags.writeable
    assert (frame.height_px, frame.width_px) == (HEIGHT, WIDTH)


def test_bscale_and_bzero_are_applied(tmp_path: Path) -> None:
    path = tmp_path / "scaled.fits"
    hdu = fits.PrimaryHDU(ramp(np.int16, -2000, 2000))
    hdu.header["BSCALE"], hdu.header["BZERO"] = 0.25, 1000.0
    hdu.writeto(path)
    with fits.open(path) as hdus:
        np.testing.assert_allclose(read_frame(path).pixels, hdus[0].data[::-1])


def test_row_one_is_at_the_bottom_unless_the_header_says_top_down(tmp_path: Path) -> None:
    data = ramp(np.uint16)
    np.testing.assert_array_equal(read_frame(fits_file(tmp_path, data)).pixels, data[::-1])
    np.testing.assert_array_equal(read_frame(fits_file(tmp_path, data, ROWORDER="TOP-DOWN")).pixels, data)
    np.testing.assert_array_equal(read_frame(fits_file(tmp_path, data, ROWORDER="BOTTOM-UP")).pixels, data[::-1])


@pytest.mark.parametrize("compression", ["RICE_1", "GZIP_1", "GZIP_2", "HCOMPRESS_1", "PLIO_1"])
def test_tile_compressed_fits(tmp_path: Path, compression: str) -> None:
    data = RNG.integers(900, 1200, (120, 160)).astype(np.int16)
    path = tmp_path / "frame.fits.fz"
    header = fits.Header({"DATE-OBS": "2026-03-01T20:00:00", "EXPTIME": 4.0, "OBJECT": "near the pole"})
    tile = (16, 16) if compression == "HCOMPRESS_1" else None
    hdu = fits.CompImageHDU(data, header, compression_type=compression, tile_shape=tile)
    fits.HDUList([fits.PrimaryHDU(), hdu]).writeto(path)
    frame = read_frame(path)
    np.testing.assert_array_equal(frame.pixels, data[::-1])
    assert frame.exposure_s is not None and frame.exposure_s.value == 4.0


def test_compressed_unsigned_and_float_fits(tmp_path: Path) -> None:
    unsigned = RNG.integers(40_000, 65_000, (64, 80)).astype(np.uint16)
    path = tmp_path / "u.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(unsigned)]).writeto(path)
    frame = read_frame(path)
    assert frame.pixels.dtype == np.uint16 and frame.saturation_adu == 65535.0
    np.testing.assert_array_equal(frame.pixels, unsigned[::-1])
    floating = RNG.normal(100.0, 5.0, (64, 80)).astype(np.float32)
    path = tmp_path / "f.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(floating, quantize_level=16)]).writeto(path)
    with fits.open(path) as hdus:
        np.testing.assert_array_equal(read_frame(path).pixels, hdus[1].data[::-1])


def test_gzipped_fits(tmp_path: Path) -> None:
    data = ramp(np.uint16)
    path = tmp_path / "frame.fits.gz"
    path.write_bytes(gzip.compress(fits_file(tmp_path, data).read_bytes()))
    np.testing.assert_array_equal(read_frame(path).pixels, data[::-1])


def test_the_first_image_of_an_otherwise_empty_file(tmp_path: Path) -> None:
    """A table before the image is skipped; the primary header completes that of the extension."""
    first, second = ramp(np.uint8, 0, 200), ramp(np.uint8, 0, 200)
    primary = fits.PrimaryHDU()
    primary.header["DATE-OBS"], primary.header["EXPTIME"] = "2026-03-01T20:00:00", 10.0
    table = fits.BinTableHDU.from_columns([fits.Column("n", "J", array=np.arange(5))])
    extension = fits.ImageHDU(first)
    extension.header["EXPTIME"] = 20.0
    path = tmp_path / "extensions.fits"
    fits.HDUList([primary, table, extension, fits.ImageHDU(second)]).writeto(path)
    frame = read_frame(path)
    np.testing.assert_array_equal(frame.pixels, first[::-1])
    assert frame.exposure_s is not None and frame.exposure_s.value == 20.0
    assert frame.utc_mid is not None and "DATE-OBS" in frame.utc_mid.source


def test_colour_planes_are_averaged_in_either_axis_order(tmp_path: Path) -> None:
    planes = RNG.integers(0, 4000, (3, HEIGHT, WIDTH)).astype(np.uint16)
    expected = planes.astype(np.float64).mean(axis=0)[::-1]
    np.testing.assert_allclose(read_frame(fits_file(tmp_path, planes)).pixels, expected, rtol=1e-6)
    last = np.moveaxis(planes, 0, 2).copy()
    np.testing.assert_allclose(read_frame(fits_file(tmp_path, last)).pixels, expected, rtol=1e-6)


def test_grey_saved_as_colour_keeps_its_depth(tmp_path: Path) -> None:
    grey = ramp(np.uint16)
    frame = read_frame(fits_file(tmp_path, np.stack([grey] * 3)))
    assert frame.pixels.dtype == np.uint16
    np.testing.assert_array_equal(frame.pixels, grey[::-1])


def test_of_a_stack_the_first_image_is_used_with_a_warning(tmp_path: Path) -> None:
    stack = RNG.integers(0, 4000, (5, HEIGHT, WIDTH)).astype(np.uint16)
    frame = read_frame(fits_file(tmp_path, stack))
    np.testing.assert_array_equal(frame.pixels, stack[0][::-1])
    assert any("stack of 5" in warning for warning in frame.warnings)
    single = read_frame(fits_file(tmp_path, stack[:1]))
    assert not any("stack" in warning for warning in single.warnings)


def test_pixels_that_are_no_numbers_become_the_median(tmp_path: Path) -> None:
    data = np.full((HEIGHT, WIDTH), 100.0, np.float32)
    data[3, 4], data[5, 6] = np.nan, np.inf
    frame = read_frame(fits_file(tmp_path, data))
    assert np.all(frame.pixels == 100.0)
    assert any("2 pixels are not numbers" in warning for warning in frame.warnings)
    with pytest.raises(FrameReadError, match="none of its pixels is a number"):
        read_frame(fits_file(tmp_path, np.full((HEIGHT, WIDTH), np.nan, np.float32)))


def test_blank_integer_pixels_become_the_median(tmp_path: Path) -> None:
    data = np.full((HEIGHT, WIDTH), 100, np.int16)
    data[3, 4] = -1
    assert np.all(read_frame(fits_file(tmp_path, data, BLANK=-1)).pixels == 100.0)


def star(height: int, width: int, x: float, y: float, sigma: float, flux: float) -> Any:
    row, column = np.mgrid[0:height, 0:width]
    return flux / (2 * np.pi * sigma**2) * np.exp(-((column - x) ** 2 + (row - y) ** 2) / (2 * sigma**2))


def centroid(pixels: Any, background: float) -> tuple[float, float]:
    light = pixels.astype(np.float64) - background
    row, column = np.mgrid[0 : pixels.shape[0], 0 : pixels.shape[1]]
    return float((light * column).sum() / light.sum()), float((light * row).sum() / light.sum())


@pytest.mark.parametrize("corner", [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_a_mosaic_loses_its_chequerboard_and_keeps_its_stars_in_place(
    tmp_path: Path, corner: tuple[int, int]
) -> None:
    """Invented sensor: sky 300, 500, 220 ADU in red, green, blue; a white star seen at 0.5, 1.0, 0.7 of its light."""
    sky = np.array([[300.0, 500.0], [500.0, 220.0]])
    gain = np.array([[0.5, 1.0], [1.0, 0.7]])
    sky, gain = np.roll(sky, corner, (0, 1)), np.roll(gain, corner, (0, 1))
    x, y = 31.3, 28.8
    light = star(60, 64, x, y, 1.7, 60_000.0)
    data = np.tile(sky, (30, 32)) + light * np.tile(gain, (30, 32))
    path = fits_file(tmp_path, np.rint(data[::-1]).astype(np.uint16), BAYERPAT="RGGB")
    pixels = read_frame(path).pixels
    assert pixels.shape == (60, 64)
    assert np.ptp(pixels[:12, :12]) < 1.0, "the background is flat"
    found = centroid(pixels[18:40, 20:44], 380.0)
    assert found[0] + 20 == pytest.approx(x, abs=0.05)
    assert found[1] + 18 == pytest.approx(y, abs=0.05)


def test_hot_photosites_of_a_mosaic_go_and_narrow_stars_stay(tmp_path: Path) -> None:
    data = RNG.normal(400.0, 10.0, (60, 64)) + star(60, 64, 40.2, 30.4, 0.64, 20_000.0)  # 1.5 px wide
    data[10, 11] = 30_000
    path = fits_file(tmp_path, np.rint(data[::-1]).astype(np.uint16), BAYERPAT="GBRG")
    pixels = read_frame(path).pixels
    assert pixels[8:13, 9:14].max() < 450.0
    assert pixels[30, 40] > 2000.0


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (ramp(np.uint8, 0, 255), "grey8"),
        (ramp(np.uint16, 0, 65535), "grey16"),
        (ramp(np.float32), "float"),
        (RNG.integers(0, 65535, (HEIGHT, WIDTH, 3)).astype(np.uint16), "rgb16"),
        (RNG.integers(0, 255, (HEIGHT, WIDTH, 4)).astype(np.uint8), "rgba8"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_tiff(tmp_path: Path, data: Any, name: str, compression: str | None) -> None:
    path = tmp_path / f"{name}.tif"
    photometric = "rgb" if data.ndim == 3 else "minisblack"
    tifffile.imwrite(path, data, photometric=photometric, compression=compression)
    expected = data if data.ndim == 2 else data[..., :3].astype(np.float64).mean(axis=2)
    np.testing.assert_allclose(read_frame(path).pixels, expected, rtol=1e-6)


def test_tiff_big_endian_inverted_planar_and_lzw(tmp_path: Path) -> None:
    data = ramp(np.uint16)
    path = tmp_path / "a.tiff"
    tifffile.imwrite(path, data, byteorder=">")
    np.testing.assert_array_equal(read_frame(path).pixels, data)
    tifffile.imwrite(path, data, photometric="miniswhite")
    np.testing.assert_array_equal(read_frame(path).pixels, 65535 - data)
    planes = np.stack([data, data // 2, data // 3])
    tifffile.imwrite(path, planes, photometric="rgb", planarconfig="separate")
    np.testing.assert_allclose(read_frame(path).pixels, planes.astype(float).mean(axis=0), rtol=1e-6)
    Image.fromarray(data).save(path, compression="tiff_lzw")  # unpacked by Pillow
    np.testing.assert_array_equal(read_frame(path).pixels, data)


@pytest.mark.parametrize("mode", ["L", "RGB", "RGBA", "LA", "P", "1", "I;16"])
def test_png(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "a.png"
    image = (
        Image.fromarray(ramp(np.uint16)) if mode == "I;16" else Image.fromarray(ramp(np.uint8, 0, 255)).convert(mode)
    )
    image.save(path)
    frame = read_frame(path)
    grey = np.asarray(image if mode == "I;16" else image.convert("RGB" if mode == "P" else "L"), dtype=np.float64)
    expected = grey.mean(axis=2) if grey.ndim == 3 else grey
    np.testing.assert_allclose(frame.pixels, expected, rtol=1e-6)
    assert frame.saturation_adu == (65535.0 if mode == "I;16" else 255.0)


def test_jpeg_is_not_turned_by_its_orientation_mark(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: rotate by 90 degrees when shown
    Image.fromarray(ramp(np.uint8, 0, 255)).save(path, exif=exif, quality=95)
    assert read_frame(path).pixels.shape == (HEIGHT, WIDTH)


def dng(path: Path, data: Any) -> None:
    """The least that LibRaw accepts as a DNG (Adobe DNG specification 1.4): a mosaic and its description."""
    extra = [
        (50706, "B", 4, (1, 4, 0, 0), True),  # DNGVersion
        (50708, "s", 0, "Invented camera", True),  # UniqueCameraModel
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, (0, 1, 1, 2), True),  # CFAPattern: RGGB
        (50717, "H", 1, 16000, True),  # WhiteLevel
        (50714, "H", 1, 200, True),  # BlackLevel
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),  # ColorMatrix1
        (50778, "H", 1, 21, True),  # CalibrationIlluminant1
        (271, "s", 0, "Invented", True),
        (272, "s", 0, "Invented camera", True),
    ]
    with tifffile.TiffWriter(path) as writer:
        writer.write(data, photometric="cfa", extratags=extra, metadata=None)


def test_raw_photo(tmp_path: Path) -> None:
    """A DNG written here; no file of a real camera is at hand, so the makers' own formats rest on LibRaw."""
    data = np.tile(np.array([[300, 500], [500, 220]], np.uint16), (60, 80))
    path = tmp_path / "frame.dng"
    dng(path, data)
    frame = read_frame(path, utc_offset_hours=1.0)
    assert frame.pixels.shape == (120, 160)
    np.testing.assert_allclose(frame.pixels, 380.0)
    assert frame.saturation_adu == 16000.0
    assert frame.camera == "Invented camera"


def test_saturation(tmp_path: Path) -> None:
    data = np.arange(HEIGHT * WIDTH, dtype=np.uint16).reshape(HEIGHT, WIDTH)  # one brightest pixel alone
    assert read_frame(fits_file(tmp_path, data)).saturation_adu == 65535.0
    assert read_frame(fits_file(tmp_path, data, SATURATE=60000)).saturation_adu == 60000.0
    assert read_frame(fits_file(tmp_path, data, DATAMAX=float(data.max()))).saturation_adu == 65535.0
    assert read_frame(fits_file(tmp_path, data, SATURATE=5)).saturation_adu == 65535.0
    data[4:6, 4:6] = 4095
    assert read_frame(fits_file(tmp_path, data)).saturation_adu == 4095.0
    data[0, 0] = 65520
    assert read_frame(fits_file(tmp_path, data)).saturation_adu == 65520.0
    assert read_frame(fits_file(tmp_path, data.astype(np.float32))).saturation_adu is None
    assert read_frame(fits_file(tmp_path, ramp(np.int16))).saturation_adu == 32767.0
    assert read_frame(fits_file(tmp_path, ramp(np.uint8, 0, 99))).saturation_adu == 255.0


def claimed(width: int, height: int, data: bytes = b"") -> bytes:
    cards = ["SIMPLE  =                    T", "BITPIX  =                   16", "NAXIS   =                    2"]
    cards += [f"NAXIS1  = {width:20d}", f"NAXIS2  = {height:20d}", "END"]
    return "".join(card.ljust(80) for card in cards).ljust(2880).encode() + data


@pytest.mark.parametrize(
    ("name", "blob", "sentence"),
    [
        ("empty.fits", b"", "empty.fits is empty"),
        ("text.fits", b"hello" * 1000, "not a FITS, TIFF, PNG, JPEG, BMP or camera raw"),
        ("head.fits", claimed(100, 100)[:1000], "only 1000 bytes long"),
        ("noend.fits", claimed(100, 100).replace(b"END", b"   "), "has no end"),
        ("huge.fits", claimed(10**6, 10**6), "only 2880 bytes are there"),
        ("absurd.fits", claimed(10**18, 10**18), "bytes are there"),
        ("short.fits", claimed(100, 100, bytes(19_999)), "promises 100 x 100 values, 22880 bytes in all"),
        ("tiny.fits", claimed(2, 3, bytes(2880)), "cannot be a frame of the sky"),
        ("nought.fits", claimed(0, 5, bytes(2880)), "no image"),
        ("short.png", b"\x89PNG\r\n\x1a\n" + bytes(30), "damaged"),
        ("short.jpg", b"\xff\xd8\xff\xe0" + bytes(30), "damaged"),
        ("short.tif", b"II*\0\x08\0\0\0", "no full-size picture"),
        ("short.dng", b"II*\0\x08\0\0\0", "damaged"),
        ("other.fits.gz", gzip.compress(b"not FITS" * 400), "not a FITS"),
        ("bomb.fits.gz", gzip.compress(claimed(10**5, 10**4)), "bytes are there"),
    ],
    ids=lambda value: value if isinstance(value, str) and "." in value[-8:] and len(value) < 16 else "",
)
def test_what_is_no_frame_is_refused_in_a_sentence(tmp_path: Path, name: str, blob: bytes, sentence: str) -> None:
    path = tmp_path / name
    path.write_bytes(blob)
    with pytest.raises(FrameReadError) as caught:
        read_frame(path)
    message = str(caught.value)
    assert message.startswith(name) and sentence in message and message.endswith(".")


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FrameReadError, match="does not exist"):
        read_frame(tmp_path / "gone.fits")
    (tmp_path / "folder.fits").mkdir()
    with pytest.raises(FrameReadError, match=r"is a folder|not allowed"):
        read_frame(tmp_path / "folder.fits")


def test_a_compressed_image_may_not_claim_more_than_its_data_can_hold(tmp_path: Path) -> None:
    path = tmp_path / "a.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(ramp(np.int16))]).writeto(path)
    blob = path.read_bytes()
    at = blob.index(b"ZNAXIS1 =")
    path.write_bytes(blob[:at] + f"ZNAXIS1 = {15_000:20d}".encode() + blob[at + 30 :])
    at = blob.index(b"ZNAXIS2 =")
    blob = path.read_bytes()
    path.write_bytes(blob[:at] + f"ZNAXIS2 = {15_000:20d}".encode() + blob[at + 30 :])
    with pytest.raises(FrameReadError, match="larger than its data can hold"):
        read_frame(path)


def test_which_names_are_frames() -> None:
    good = ["a.fits", "A.FIT", "b.fts", "c.fits.fz", "d.fits.gz", "e.TIFF", "f.png", "g.jpeg", "h.CR3", "i.dng"]
    bad = ["notes.txt", "a.gz", "a.fits.tmp", ".hidden.fits", "a.fits.part", "fits", "a.tar.gz", "log.jsonl"]
    assert all(is_frame_name(name) for name in good)
    assert not any(is_frame_name(name) for name in bad)
    assert family_of("a.bin", b"\x00" * 40) is None


def test_the_family_is_known_by_content_rather_than_by_name(tmp_path: Path) -> None:
    stream = io.BytesIO()
    Image.fromarray(ramp(np.uint8, 0, 255)).save(stream, "PNG")
    path = tmp_path / "wrong-name.fits"
    path.write_bytes(stream.getvalue())
    assert read_frame(path).pixels.shape == (HEIGHT, WIDTH)


def test_a_missing_library_is_not_blamed_on_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(FrameReadError, match=r"part of this installation is missing .*doctor"):
        reading.frame_from_bytes("a.dng", bytes(5000), 1.7e9)


def test_a_bmp_and_a_bzipped_fits_file(tmp_path: Path) -> None:
    """Written by Pillow and by astropy with the standard library's bzip2."""
    shades = np.arange(40 * 60, dtype=np.uint16).reshape(40, 60)
    Image.fromarray((shades % 251).astype(np.uint8)).save(tmp_path / "a.bmp")
    assert np.array_equal(read_frame(tmp_path / "a.bmp").pixels, shades % 251)
    fits.PrimaryHDU(shades).writeto(tmp_path / "a.fits")
    packed = bz2.compress((tmp_path / "a.fits").read_bytes())
    (tmp_path / "a.fits.bz2").write_bytes(packed)
    assert np.array_equal(read_frame(tmp_path / "a.fits.bz2").pixels, shades[::-1])
    (tmp_path / "b.fits.bz2").write_bytes(packed[:-30])
    with pytest.raises(FrameReadError, match="ends too early"):
        read_frame(tmp_path / "b.fits.bz2")


HEIC = zlib.decompress(
    base64.b85decode(  # a grey picture of 16 x 16 pixels, written by pillow-heif 1.8.1
        b"c-muNV30{GsVvAy%}izhg51nBLl8SRGck>Ufw3kxwIq=N0u(b+a*CjAhJwuG5(YG&l$nzcHpIn&fe{FSfN=qY1_EUe&dkh91M@(lqCie"
        b"66O@-xmTU-O@)cy3<ieHw$t)-;0Md6d3zGAJbSY4oGb1xdXaZP~+y{m~e}DX7VBlv?0P2u%VB}%^{~x4)8Ki<4gyeQHIV1ulHJun4(PS"
        b"1VG_p>6wQkn42Z{?0G%zsmG=PL#l7On&To?})AM6C$A)K6_Q<RsSQvnp^Wncp;VGzkIE=YxX%mIoul5-M44ikX79ZdiK|NjDzW`fZm@q"
        b")~XOpr!q4h{|=C6QT>3kzdlu(38WF|)P++1j}&iJ&l+*I-;Psi?{KPWf~E|H`~MVonXqmp?iAVCFxg>3!`AGXU;AU0V"
    )
)


def test_a_heic_picture_in_the_folder_is_seen_and_called_by_its_name(tmp_path: Path) -> None:
    """Whatever name it bears; a folder of such pictures alone would seem to be empty otherwise."""
    for name in ("a.HEIC", "b.jpg"):
        (tmp_path / name).write_bytes(HEIC)
        assert is_frame_name(name)
        with pytest.raises(FrameReadError, match=f"^{name} is a HEIC picture, which is not read: set the camera to"):
            read_frame(tmp_path / name)


def test_a_fits_file_of_tables_is_named_and_no_card_is_blamed(tmp_path: Path) -> None:
    """Written by astropy. One that has only its first header yet may still grow."""
    table = fits.BinTableHDU.from_columns([fits.Column("flux", "E", array=np.ones(9))])
    fits.HDUList([fits.PrimaryHDU(), table]).writeto(tmp_path / "a.fits")
    with pytest.raises(FrameReadError, match=r"^a\.fits is a FITS file of tables without an image, which is not"):
        read_frame(tmp_path / "a.fits")
    for name, length in (("b.fits", 2880), ("c.fits", -2880)):
        (tmp_path / name).write_bytes((tmp_path / "a.fits").read_bytes()[:length])
        with pytest.raises(FrameReadError, match=f"^{name} cannot be read: .* It may still be being written"):
            read_frame(tmp_path / name)


@pytest.mark.parametrize("kind", ["AVIF", "WEBP", "GIF"])
def test_pictures_of_other_kinds_written_by_pillow_are_called_by_their_name(tmp_path: Path, kind: str) -> None:
    if kind != "GIF" and not features.check(kind.lower()):
        pytest.skip(f"this Pillow writes no {kind}")
    Image.new("L", (40, 40), 40).save(tmp_path / "a.jpg", kind)
    with pytest.raises(FrameReadError, match=f"(?i)is an? {kind} picture, which is not read"):
        read_frame(tmp_path / "a.jpg")


@pytest.mark.parametrize(
    ("start", "what"),
    [
        (b"\0\0\0\x18ftypheic", "HEIC picture"),  # ISO/IEC 23008-12, 10.2: the brand
        (b"\0\0\0\x18ftypisom", "a film"),
        (b"%PDF-1.7", "PDF"),
        (b"GIF89a", "GIF"),
    ],
)
def test_files_of_other_kinds_are_called_by_their_name(tmp_path: Path, start: bytes, what: str) -> None:
    """Nothing is wrong with the disk or the card."""
    (tmp_path / "a.jpg").write_bytes(start + bytes(5000))
    with pytest.raises(FrameReadError, match=what) as told:
        read_frame(tmp_path / "a.jpg")
    assert "disk" not in str(told.value)
