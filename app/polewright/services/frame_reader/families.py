"""Which reader a file needs: by its first bytes, and by its suffix where raw files pose as TIFF."""

from __future__ import annotations

from pathlib import PurePath
from typing import Literal

Family = Literal["fits", "gzip", "tiff", "picture", "raw"]

FITS_SUFFIXES = frozenset({".fits", ".fit", ".fts", ".fz"})
TIFF_SUFFIXES = frozenset({".tif", ".tiff"})
PICTURE_SUFFIXES = frozenset({".png", ".jpg", ".jpeg"})
RAW_SUFFIXES = frozenset({".dng", ".cr2", ".cr3", ".nef", ".arw", ".orf", ".rw2", ".raf", ".pef", ".srw"})
PLAIN_SUFFIXES = FITS_SUFFIXES | TIFF_SUFFIXES | PICTURE_SUFFIXES | RAW_SUFFIXES

FRAME_SUFFIXES = PLAIN_SUFFIXES | {".gz"}
"""Lower-case suffixes of frame files; `.gz` counts only after a FITS suffix, see `is_frame_name`."""


def is_frame_name(name: str) -> bool:
    """Whether a file of this name can be a frame: a known suffix, neither hidden nor a partial download."""
    stem, dot, suffix = name.lower().rpartition(".")
    if not stem or stem.startswith("."):
        return False
    if suffix == "gz":
        stem, dot, suffix = stem.rpartition(".")
        return bool(stem) and dot + suffix in FITS_SUFFIXES
    return dot + suffix in PLAIN_SUFFIXES


def family_of(name: str, blob: bytes) -> Family | None:
    """The family of readers for these bytes; None when they are nothing known."""
    if PurePath(name).suffix.lower() in RAW_SUFFIXES:
        return "raw"
    if blob.startswith(b"SIMPLE  ="):
        return "fits"
    if blob.startswith(b"\x1f\x8b"):
        return "gzip"
    if blob.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        return "tiff"
    if blob.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")):
        return "picture"
    return None
