"""`read_frame`: one file in, one `Frame` or one `FrameReadError` out."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.frame_reader.facts import DamagedError, FrameFacts, NotPlainError, OtherKindError, Raster
from polewright.services.frame_reader.families import family_of, other_kind
from polewright.services.frame_reader.file_time import fallback_time, file_time
from polewright.services.frame_reader.luminance import luminance, saturation_adu
from polewright.words import files

MAX_FILE_BYTES = 2 << 30  # chosen: larger than any camera makes; a file is read as a whole


def read_frame(path: Path, *, utc_offset_hours: float | None = None, image: int = 1) -> Frame:
    """The frame in the file at `path`; FrameReadError, with a sentence that names the file, for anything else.

    `utc_offset_hours` is how far the camera's clock is ahead of UTC, for files that state local time alone. `image`:
    which one of a file of several, counted from 1.
    """
    blob, modified_s = bytes_of(path)
    return frame_from_bytes(shown(path.name), blob, modified_s, utc_offset_hours, image=image)


def frame_from_bytes(
    name: str,
    blob: bytes,
    modified_s: float,
    utc_offset_hours: float | None = None,
    *,
    plain: bool = False,
    image: int = 1,
) -> Frame:
    """The frame in the bytes of a file; `modified_s` is its modification time in POSIX seconds.

    `plain`: raise NotPlainError instead of handing the bytes to a library that unpacks them.
    """
    if not blob:
        raise FrameReadError(f"{name} is empty. {files.TRY_THE_NEXT}")
    try:
        raster, facts = _unpack(name, blob, utc_offset_hours, plain, image)
        return _assemble(name, raster, facts, modified_s)
    except (NotPlainError, FrameReadError):
        raise
    except MemoryError as error:
        raise FrameReadError(
            f"{name} cannot be read: it needs more memory than a frame does. {files.TRY_THE_NEXT}"
        ) from error
    except OtherKindError as error:
        raise FrameReadError(files.not_read(name, str(error))) from error
    except DamagedError as error:
        raise FrameReadError(f"{name} cannot be read: {error}. {files.TRY_THE_NEXT}") from error
    except ImportError as error:  # the file is not to blame
        raise FrameReadError(
            f"{name} cannot be read: a part of this installation is missing ({error}). Run 'polewright doctor', or"
            " install Polewright again."
        ) from error
    except Exception as error:
        # The libraries raise nearly anything on damaged bytes (OSError, KeyError, TypeError, struct.error, ...).
        # This is the one place in the program where that is caught broadly; the cause stays attached.
        detail = " ".join(str(error).split())[:120] or type(error).__name__
        raise FrameReadError(
            f"{name} cannot be read: the file is damaged ({detail}). {files.TRY_THE_NEXT}"
        ) from error


def shown(name: object) -> str:
    """The name of a file as it may be shown on a terminal: what would steer it is left out."""
    return "".join(c for c in str(name) if c.isprintable())


def _where(folder: Path) -> str:
    """` in frames/night`; nothing for the folder that one is in, whose name would be a dot."""
    return "" if folder == Path() else f" in {shown(folder)}"


def bytes_of(path: Path) -> tuple[bytes, float]:
    """All bytes at once (never a memory map: another program may still be writing) and the modification time."""
    name = shown(path.name)
    try:
        mode = path.stat().st_mode  # asked before opening: a pipe would be waited for, a device may have no end
        if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
            raise FrameReadError(f"{name} is a device or a pipe, not a file.")
        with path.open("rb") as file:
            status = os.fstat(file.fileno())
            if status.st_size > MAX_FILE_BYTES:
                raise FrameReadError(f"{name} is larger than 2 GB, more than any frame.")
            return file.read(), status.st_mtime
    except FileNotFoundError as error:
        raise FrameReadError(f"{name} does not exist{_where(path.parent)}.") from error
    except PermissionError as error:
        raise FrameReadError(f"{name} is locked by another program, or reading it is not allowed.") from error
    except IsADirectoryError as error:
        raise FrameReadError(f"{name} is a folder, not a frame: name the frames in it.") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FrameReadError(f"{name} cannot be opened: {reason}.") from error


def _unpack(
    name: str, blob: bytes, utc_offset_hours: float | None, plain: bool, image: int
) -> tuple[Raster, FrameFacts]:
    family = family_of(name, blob)
    if family is None:
        what = other_kind(blob)
        if what is not None:
            raise OtherKindError(what)
        raise DamagedError("it is not a FITS, TIFF, PNG, JPEG, BMP or camera raw file")
    read = family.bare if plain else family.read
    if read is None:
        raise NotPlainError
    return read(blob, utc_offset_hours, image)


def _assemble(name: str, raster: Raster, facts: FrameFacts, modified_s: float) -> Frame:
    pixels, pixel_warnings = luminance(raster)
    warnings = [*raster.warnings, *pixel_warnings, *facts.warnings]
    utc_mid, dated_by_file = facts.utc_mid, False
    if utc_mid is None and not facts.time_withheld:
        exposure_s = facts.exposure_s.value if facts.exposure_s is not None else 0.0
        utc_mid, warning, dated_by_file = fallback_time(name, modified_s, exposure_s)
        warnings.append(warning)
    return Frame(
        name=name,
        pixels=pixels,
        utc_mid=utc_mid,
        exposure_s=facts.exposure_s,
        saturation_adu=saturation_adu(pixels, raster.full_adu, facts.saturation_adu),
        focal_length_mm=facts.focal_length_mm,
        pixel_size_um=facts.pixel_size_um,
        scale_arcsec_px=facts.scale_arcsec_px,
        site=facts.site,
        pointing=facts.pointing,
        camera=facts.camera,
        temperature_c=facts.temperature_c,
        pressure_hpa=facts.pressure_hpa,
        warnings=tuple(warnings),
        file_utc=file_time(modified_s),
        dated_by_file=dated_by_file,
        images=raster.images,
    )
