"""The fields of `polewright drift --field`: frames that cannot be solved, and what is known of them instead."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from polewright.commands.frames_given import unless_bad
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.live import DriftProof
from polewright.core.drift.plan import field_rad
from polewright.core.drift.unsolved import ORIENTATION_SIGMA_RAD, KnownCamera, UnsolvedDrift, add_stars, at_field
from polewright.core.errors import FrameReadError, UsageError
from polewright.core.model import Frame, Utc
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.detector import Detector
from polewright.services.frame_reader.reading import shown
from polewright.services.measuring import Optics, stated_scale_arcsec_px
from polewright.words.drift import shift_words

SHARED_ANGLE_SIGMA_RAD = math.radians(2.5)  # axes that are not square turn the camera by this between two fields


@dataclass(frozen=True)
class Field:
    """Where it is at its first frame (hour angle in hours, west positive; declination in degrees), and its frames."""

    hour_angle_h: float
    declination_deg: float
    frames: tuple[Path, ...]


def check_fields(given: Sequence[Sequence[str]]) -> list[Field]:
    """The fields; UsageError when one makes no sense."""
    fields = []
    for words in given:
        if len(words) < 3:
            raise UsageError("--field needs hour angle, declination and frames: --field -5 60 *.fits")
        try:
            hour, declination = float(words[0]), float(words[1])
        except ValueError:
            raise UsageError(
                f"--field begins with hour angle and declination, not with {words[0]} {words[1]}."
            ) from None
        if not (abs(hour) <= 12.0 and abs(declination) <= 90.0):
            raise UsageError(f"There is no place with hour angle {words[0]} h and declination {words[1]}°.")
        fields.append(Field(hour, declination, tuple(Path(word) for word in words[2:])))
    return fields


def unsolved_proof(
    args: argparse.Namespace, fields: Sequence[Field], proof: DriftProof
) -> tuple[DriftProof, int, tuple[tuple[str, str], ...]]:
    """The proof after all fields, how many frames are in it, and (name, why) of those that are not."""
    angles = _angles(args, len(fields))
    reader = ContainedReader(HelperProcess())
    detector, left_out = Detector(reader.find_stars), []
    state: UnsolvedDrift | None = None
    begin: Utc | None = None
    for field, angle_deg in zip(fields, angles, strict=True):
        hour, dec_p = field_rad(field.hour_angle_h, field.declination_deg, proof.site)
        state = None if state is None else at_field(state, hour, dec_p)
        for path in field.frames:
            frame = unless_bad(reader.read, path, utc_offset_hours=args.utc_offset)
            if isinstance(frame, FrameReadError):
                left_out.append((shown(path.name), str(frame)))
                continue
            if frame.utc_mid is None:
                left_out.append((frame.name, "it does not say when it was taken."))
                continue
            stars = unless_bad(detector.detect, frame)
            if isinstance(stars, FrameReadError):
                left_out.append((frame.name, str(stars)))
                continue
            begin = begin or frame.utc_mid.value
            state = state or UnsolvedDrift(proof, _camera(args, frame), hour, dec_p)
            state = replace(state, camera=replace(state.camera, position_angle_rad=math.radians(angle_deg)))
            state = add_stars(state, stars, frame.utc_mid.value.seconds_since(begin))
            if state.trouble is not None:
                left_out.append((frame.name, shift_words(state.trouble).whole))
    if state is None:
        return proof, 0, tuple(left_out)
    return state.proof, len(state.proof.samples), tuple(left_out)


def _angles(args: argparse.Namespace, count: int) -> list[float]:
    """The position angle for each field, degrees: one for all, or one each."""
    given = args.position_angle or []
    if not given or not all(math.isfinite(angle) for angle in given):
        raise UsageError(
            "--field needs --position-angle: the angle of image up, from north through east, in degrees."
        )
    if len(given) not in (1, count):
        raise UsageError(f"{len(given)} position angles for {count} fields: give one for all, or one for each.")
    return list(given) if len(given) == count else given * count


def _camera(args: argparse.Namespace, frame: Frame) -> KnownCamera:
    scale = stated_scale_arcsec_px(frame, Optics(args.focal_length, args.pixel_size))
    if scale is None:
        raise UsageError("The frames do not state their scale: give --focal-length and --pixel-size.")
    one_for_all = len(args.position_angle) == 1 and len(args.field) > 1
    sigma = SHARED_ANGLE_SIGMA_RAD if one_for_all else ORIENTATION_SIGMA_RAD
    return KnownCamera(scale / ARCSEC_PER_RAD, 0.0, args.mirrored, sigma)
