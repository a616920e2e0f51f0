"""Focal length, pixel size and plate scale from a FITS header."""

from __future__ import annotations

import math

from polewright.core.model import Sourced
from polewright.services.frame_reader.header import Header
from polewright.words import files

ARCSEC_MM_PER_UM = 206.26480624709636  # scale ["/px] = this * pixel [um] / focal [mm]
PIXEL_KEYS = ("XPIXSZ", "PIXSIZE1", "XPIXELSZ", "PIXSIZE")
SCALE_KEYS = ("SCALE", "PIXSCALE", "SECPIX", "SECPIX1", "IM_SCALE")
FOCAL_MM = (2.0, 50_000.0)  # chosen: what optics there are; anything else is a mistake in a header
PIXEL_UM = (0.5, 100.0)  # chosen, likewise, binning included
SCALE_ARCSEC = (0.02, 3600.0)  # chosen, likewise
SMALLEST_PHOTOSITE_UM = 1.4  # of sensors that take pictures of stars (common practice, no source)
AGREE = 0.10  # of two scales: rounding and focus differ by less, binning by more


Number = Sourced[float] | None


def read_optics(header: Header) -> tuple[Number, Number, Number]:
    """Focal length in mm, pixel size in um, scale in arcsec per pixel, checked against each other where three are
    given; None where nothing is said."""
    focal = header.first_number(("FOCALLEN", "FOCAL"), *FOCAL_MM)
    stated, matrix = header.first_number(SCALE_KEYS, *SCALE_ARCSEC), _matrix_scale(header)
    scale = stated or matrix
    if stated is not None and matrix is not None and abs(math.log(stated.value / matrix.value)) > AGREE:
        told = files.scales_differ(stated.source, stated.value, matrix.source, matrix.value)
        header.warnings.append(told)
    pixel = _pixel_size(header, focal, scale)
    if focal is not None and pixel is not None and scale is not None:
        computed = ARCSEC_MM_PER_UM * pixel.value / focal.value
        if abs(math.log(computed / scale.value)) > AGREE:
            header.warnings.append(files.scales_contradict(computed, scale.source, scale.value))
    return focal, pixel, scale


def _pixel_size(header: Header, focal: Number, scale: Number) -> Number:
    """The effective pixel size, after binning.

    XPIXSZ is by its convention the size after binning, but some programs write the size of the photosite there
    (common practice, no source). With XBINNING above 1 the two readings are told apart by the plate scale where one
    is given, then by the smallest photosite there is; else the convention holds and a warning says so.
    """
    stated = header.first_number(PIXEL_KEYS, *PIXEL_UM)
    binning = header.number("XBINNING", 1.0, 16.0)
    if stated is None or binning is None or binning == 1.0:
        return stated
    binned_source = f"{stated.source} (taken as the size after {binning:g} x {binning:g} binning)"
    photosite = Sourced(stated.value * binning, f"{stated.source} x XBINNING {binning:g}")
    if focal is not None and scale is not None:
        implied = scale.value * focal.value / ARCSEC_MM_PER_UM
        if abs(math.log(implied / photosite.value)) < AGREE:
            return photosite
        return Sourced(stated.value, binned_source)
    if stated.value / binning < SMALLEST_PHOTOSITE_UM:
        return photosite
    header.warnings.append(files.binned_size(stated.source, stated.value, binning, photosite.value))
    return Sourced(stated.value, binned_source)


def _matrix_scale(header: Header) -> Number:
    """Plate scale of a celestial WCS: the CD matrix, or CDELT, in degrees per pixel."""
    if not (header.text("CTYPE1") or "").startswith(("RA", "DEC")):
        return None
    terms = [header.number(name, -1.0, 1.0) for name in ("CD1_1", "CD1_2", "CD2_1", "CD2_2")]
    if terms[0] is not None and terms[3] is not None:
        a, b, c, d = (term or 0.0 for term in terms)
        scale, source = 3600.0 * math.sqrt(abs(a * d - b * c)), header.source("CD matrix")
    else:
        step = header.number("CDELT1", -1.0, 1.0)
        scale, source = 3600.0 * abs(step or 0.0), header.source("CDELT1")
    return Sourced(scale, source) if SCALE_ARCSEC[0] <= scale <= SCALE_ARCSEC[1] else None
