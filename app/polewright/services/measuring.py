"""From a frame to a plate solution, with what the night has taught so far: camera, pointing, hot pixels.

Decided 2026-11-25. Time is spent on calls, not on arithmetic. From pixels to pointing an ordinary frame makes some
2000 calls, each of microseconds: fewer steps on the way (three passes over a star, one verdict, matches kept while
no star moves) gain more than quicker ones. tests/bench/pixels_to_pointing.py states it as multiples of reading the
file and of one pass over the pixels. Compiled code of our own was rejected: every machine would need a compiler, or
the project a build for every system.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Protocol

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis.estimate import sky_frame
from polewright.core.axis.plausible import impossible_sky
from polewright.core.camera import pixel_to_vector, vector_to_pixel
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.errors import FrameReadError
from polewright.core.matching.hint import SolveHint
from polewright.core.matching.neighbour import Neighbours
from polewright.core.model import (
    NO_SHARED_ERROR,
    Atmosphere,
    Camera,
    FloatArray,
    Frame,
    PlateSolution,
    Site,
    SkyFrame,
    Sourced,
    StarList,
    Utc,
)
from polewright.core.night.orientation.clock import DAY_S, FrameArrival, doubted_date
from polewright.core.sky.timescales import julian_epoch_year, unix_seconds
from polewright.core.star_trouble import CapOn, TooBright, TooSmall, Trailed
from polewright.core.unsolved import NoTime, ThinCatalogue, Unsolved
from polewright.services.frame_reader import read_frame
from polewright.services.second_looks import Finds, Look
from polewright.services.sky_index import Progress
from polewright.words import files

HINT_RADIUS_DEG = 5.0  # how far a header's pointing or the last frame may be off; the whole sky is searched after it
# for proper motions where a frame does not say when; a year off moves few stars by a pixel
DEFAULT_EPOCH_YEAR = 2026.0
FEWEST_FOR_A_FLIP = 12  # stars; fewer are no sign that the field should have been known
MOST_LOOKS = 3
_MOST_IMAGES = 4  # of a file that are tried: one read out through four amplifiers has as many (chosen: bound of time)
WIDE_FIELD_DEG = 35.0  # from which lenses bend their pictures much
LONG_TRAIL_PX = 40.0  # a star-sized window sees longer ones in pieces (chosen)
THOROUGH_EVERY = 8  # after a solved frame, failing ones are most likely trailed: every eighth is searched for long


class Reads(Protocol):
    """Reads a frame file: frame_reader.read_frame, or the same in a process of its own."""

    def __call__(self, path: Path, *, utc_offset_hours: float | None = None, image: int = 1) -> Frame: ...


class Detects(Protocol):
    """Finds stars on a frame."""

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList: ...


class LooksAgain(Protocol):
    """Other star lists of a frame, made when asked for: second_looks.second_looks."""

    def __call__(self, frame: Frame, detect: Finds, hot_pixels: HotPixelMask | None = None) -> Iterator[Look]: ...


class Solves(Protocol):
    """Places a star list on the sky."""

    def solve(
        self, stars: StarList, epoch_year: float, hint: SolveHint, progress: Progress | None = None
    ) -> PlateSolution | Unsolved: ...


@dataclass(frozen=True)
class Optics:
    """What the user states about the camera; None where the header is to be believed."""

    focal_length_mm: float | None = None
    pixel_size_um: float | None = None


@dataclass(frozen=True, eq=False)
class MeasuredFrame:
    """One frame, its stars and where it points; `seconds` says where the time went (read, detect, solve)."""

    frame: Frame
    stars: StarList
    outcome: PlateSolution | Unsolved
    seconds: Mapping[str, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


class FrameMeasurer:
    """Reads, detects and solves frames one after the other; remembers what makes the next one quicker and surer.

    Attributes: `last`: the last plate solution, None before the first.
    """

    def __init__(
        self,
        detector: Detects,
        solver: Solves,
        now_s: Callable[[], float],
        optics: Optics | None = None,
        utc_offset_hours: float | None = None,
        progress: Progress | None = None,
        read: Reads = read_frame,
        look_again: LooksAgain = lambda frame, detect, hot_pixels=None: iter(()),
    ) -> None:
        self._read = read
        self._detector = detector
        self._solver = solver
        self._now_s = now_s
        self._optics = optics or Optics()
        self._utc_offset_hours = utc_offset_hours
        self._progress = progress
        self._hot_pixels: HotPixelMask | None = None
        self._look_again = look_again
        self._look_that_solved = 0  # of the last solved frame: 0 the ordinary list, else which of the second looks
        self._by_middle = False  # was the last solved frame so wide that its middle alone was known?
        self._neighbours = Neighbours()
        self._failed = 0
        self._camera_name: str | None = None
        self._came_from: tuple[Frame, Path] | None = None  # the last frame that was read
        self._image = 1  # of files that hold several: the one that was solved
        self.last: PlateSolution | None = None

    def read(self, path: Path) -> tuple[Frame, float]:
        """The frame and the seconds it took; FrameReadError when the file is damaged."""
        start = self._now_s()
        frame = self._read(path, utc_offset_hours=self._utc_offset_hours, image=self._image)
        self._came_from = frame, path
        return frame, self._now_s() - start

    def measure(self, path: Path) -> MeasuredFrame:
        """Read, detect, solve."""
        frame, read_s = self.read(path)
        return self.place(frame, read_s)

    def place(self, frame: Frame, read_s: float = 0.0) -> MeasuredFrame:
        """Detect and solve a frame that has been read already; of a file that holds several images, before the first
        solved one, the image that solves. Later ones are not changed: another chip looks another way. No other image
        is looked at where the catalogue has too few stars: it is of the same telescope."""
        measured = self._placed(frame, read_s)
        if isinstance(measured.outcome, PlateSolution) or self.last is not None:
            return measured
        if isinstance(measured.outcome.why, ThinCatalogue):
            return measured
        return self._by_another_image(frame, read_s) or measured

    def _by_another_image(self, frame: Frame, read_s: float) -> MeasuredFrame | None:
        if self._came_from is None or self._came_from[0] is not frame:
            return None
        for image in range(2, min(frame.images, _MOST_IMAGES) + 1):
            try:
                other = self._read(self._came_from[1], utc_offset_hours=self._utc_offset_hours, image=image)
            except FrameReadError:
                continue  # the first image was whole, and says why it shows no stars
            measured = self._placed(other, read_s, may_look_again=False)
            if isinstance(measured.outcome, PlateSolution):
                self._image = image
                return measured
        return None

    def _placed(self, frame: Frame, read_s: float, may_look_again: bool = True) -> MeasuredFrame:
        start = self._now_s()
        stars = self._detector.detect(frame, self._hot_pixels)
        detected = self._now_s()
        outcome, shown, spoken_for = self._looked_at(frame, stars, may_look_again)
        solved = self._now_s()
        warnings = (*frame.warnings, *_date_warnings(frame), *self._other_camera(frame))
        if isinstance(outcome, PlateSolution):
            warnings = (*warnings, *outcome.warnings)
            self._learn_hot_pixels(spoken_for, outcome)
            self._neighbours = self._neighbours.with_frame(spoken_for, outcome)
            self.last = outcome
        self._failed = 0 if isinstance(outcome, PlateSolution) else self._failed + 1
        return MeasuredFrame(
            frame, shown, outcome, {"read": read_s, "detect": detected - start, "solve": solved - detected}, warnings
        )

    def again(self, measured: MeasuredFrame) -> MeasuredFrame:
        """A frame that came before its field was known, now by the stars that it shares with later ones."""
        if isinstance(measured.outcome, PlateSolution):
            return measured
        shared = self._neighbours.place(measured.stars)
        return measured if shared is None else replace(measured, outcome=shared)

    def _looked_at(
        self, frame: Frame, stars: StarList, may_look_again: bool
    ) -> tuple[PlateSolution | Unsolved, StarList, StarList]:
        """The outcome, the stars of the frame, and those that the outcome speaks for: outside the middle of a lens
        that bends, its camera tells neither where a star is nor how far the sky has moved.

        So the frame after one that was solved by its middle is not tried with all its stars until its middle fails:
        the lens of the middle, drawn on to the corners, matched stars that were 17 px off.
        """
        if self._by_middle:
            looked = self._second_looks(frame, stars, None)
            if looked is not None:
                return looked
        outcome = self._solve(frame, stars, thorough=may_look_again)
        if isinstance(outcome, PlateSolution):
            self._look_that_solved, self._by_middle = 0, False
            return outcome, stars, stars
        shared = self._neighbours.place(stars)
        if shared is not None:
            return shared, stars, stars
        again = self._second_looks(frame, stars, outcome) if may_look_again else None
        return again or (outcome, stars, stars)

    def _solve(self, frame: Frame, stars: StarList, thorough: bool) -> PlateSolution | Unsolved:
        """With all that is known; what fails although it shows stars may have been flipped meanwhile."""
        hint, epoch_year = self._hint(frame, drawn=stars.shared_error != NO_SHARED_ERROR), self._epoch_year(frame)
        hint = replace(hint, thorough=hint.thorough and thorough)
        outcome = self._solver.solve(stars, epoch_year, hint, self._progress)
        if isinstance(outcome, PlateSolution) or hint.camera is None or len(stars) < FEWEST_FOR_A_FLIP:
            return outcome
        if self._failed % THOROUGH_EVERY not in (0, THOROUGH_EVERY - 1):
            return outcome
        flipped = replace(hint, camera=replace(hint.camera, mirrored=not hint.camera.mirrored), thorough=False)
        second = self._solver.solve(stars, epoch_year, flipped, self._progress)
        return second if isinstance(second, PlateSolution) else outcome

    def _second_looks(
        self, frame: Frame, stars: StarList, refused: Unsolved | None
    ) -> tuple[PlateSolution, StarList, StarList] | None:
        """By other lists of the same frame, where that is worth its time; None when they fail. `refused`: None where
        its middle alone is looked at.

        A frame that follows a solved one has most likely been spoiled, unless that one needed a second look, too.
        """
        hint = self._hint(frame, drawn=stars.shared_error != NO_SHARED_ERROR)
        looks = MOST_LOOKS if hint.thorough else self._look_that_solved
        if isinstance(stars.trouble, TooSmall | CapOn | TooBright):
            return None  # no other list shows what is not there
        if refused is not None and isinstance(refused.why, ThinCatalogue):
            return None  # nor what is not in the catalogue
        hint = replace(hint, thorough=False)
        again = self._look_again(frame, self._detector.detect, self._hot_pixels)
        for number, look in enumerate(islice(again, looks), start=1):
            if not (_may_be_wide(frame, hint) if look.is_part else refused is not None):
                continue
            if _is_long(stars) and not _is_long(look.stars):
                continue  # it took their ends for stars: those match the sky of the end of the exposure
            outcome = self._solver.solve(
                look.stars, self._epoch_year(frame), _hint_of_look(look, hint), self._progress
            )
            if isinstance(outcome, PlateSolution):
                self._look_that_solved, self._by_middle = number, look.is_part
                return look.whole(outcome), look.among(stars), look.whole_stars()
        return None

    def _other_camera(self, frame: Frame) -> tuple[str, ...]:
        """A warning when the frame names another camera than the frames before it."""
        before = self._camera_name
        self._camera_name = frame.camera or before
        if before is None or frame.camera is None or frame.camera == before:
            return ()
        return (files.another_camera(frame.camera, before),)

    def _epoch_year(self, frame: Frame) -> float:
        return julian_epoch_year(frame.utc_mid.value) if frame.utc_mid is not None else DEFAULT_EPOCH_YEAR

    def _hint(self, frame: Frame, drawn: bool) -> SolveHint:
        """`drawn`: the mount was moving while the shutter was open; such a frame is not worth a long search."""
        centre = self.last.centre if self.last is not None else None
        return SolveHint(
            scale_arcsec_px=stated_scale_arcsec_px(frame, self._optics),
            near=frame.pointing.value if frame.pointing is not None else centre,
            near_radius_deg=HINT_RADIUS_DEG,
            declination_deg=centre.dec_deg if centre is not None else None,
            camera=self._known_camera(frame),
            thorough=self._known_camera(frame) is None
            or (self._failed % THOROUGH_EVERY == THOROUGH_EVERY - 1 and not drawn),
        )

    def _known_camera(self, frame: Frame) -> Camera | None:
        if self.last is None:
            return None
        camera = self.last.camera
        return camera if (camera.width_px, camera.height_px) == (frame.width_px, frame.height_px) else None

    def _learn_hot_pixels(self, stars: StarList, outcome: PlateSolution) -> None:
        """What stood still on the sensor while the sky moved is no star; the next frame is mended of it.

        Sources that a catalogue star accounts for are left out: in a frame exposed while the mount moved, the stars
        of the frame before shine once more at their old places.
        """
        strange = ~np.isin(stars.x_px, outcome.matched.x_px)
        x_px, y_px = stars.x_px[strange], stars.y_px[strange]
        mask = self._hot_pixels
        if mask is None or mask.shape != (stars.height_px, stars.width_px):
            mask, moved = HotPixelMask.empty(stars.height_px, stars.width_px), np.full(x_px.size, np.nan)
        elif self.last is None:
            moved = np.full(x_px.size, np.nan)
        else:
            moved = sky_motion_px(self.last, outcome, x_px, y_px)
        self._hot_pixels = mask.update(np.column_stack([x_px, y_px]), moved)


def _date_warnings(frame: Frame) -> tuple[str, ...]:
    """What is wrong with the date that the frame states itself."""
    stated = frame.stated_utc
    doubt = None if stated is None else doubted_date(stated, frame.file_utc)
    if stated is None or doubt is None:
        return ()
    if doubt.too_old:
        return (files.date_too_old(int(julian_epoch_year(stated))),)
    return (files.date_off(doubt.ahead_s / DAY_S),)


def _is_long(stars: StarList) -> bool:
    """Are they trails too long for a list that knows of none?"""
    return isinstance(stars.trouble, Trailed) and stars.trouble.length_px > LONG_TRAIL_PX


def _hint_of_look(look: Look, hint: SolveHint) -> SolveHint:
    """The hint of the frame as it holds for the look; a middle is looked at for wide fields alone."""
    narrowest = look.field_of_part_deg(WIDE_FIELD_DEG) if look.is_part else 0.0
    return replace(hint, camera=look.camera_of_part(hint.camera), narrowest_field_deg=narrowest)


def _may_be_wide(frame: Frame, hint: SolveHint) -> bool:
    scale = hint.camera.scale_arcsec_px if hint.camera is not None else hint.scale_arcsec_px
    return scale is None or scale * max(frame.width_px, frame.height_px) > 3600.0 * WIDE_FIELD_DEG


def place_in_sky(
    frame: Frame, outcome: PlateSolution | Unsolved, site: Site, atmosphere: Atmosphere
) -> SkyFrame | Unsolved:
    """The frame in the observed sky of its site; Unsolved when it is not solved, has no time, or cannot be so."""
    if not isinstance(outcome, PlateSolution):
        return outcome
    if frame.utc_mid is None:
        return Unsolved(NoTime(), outcome.stars_detected)
    exposure_s = frame.exposure_s.value if frame.exposure_s is not None else None
    placed = sky_frame(frame.name, frame.utc_mid.value, site, atmosphere, outcome, exposure_s)
    impossible = impossible_sky(placed, site)
    return placed if impossible is None else Unsolved(impossible, outcome.stars_detected)


def by_true_time(measured: MeasuredFrame, clock_ahead_s: float) -> MeasuredFrame:
    """The same frame, taken so much earlier than its own clock said; the time of its file is not that clock's."""
    utc = measured.frame.utc_mid
    if not clock_ahead_s or utc is None or measured.frame.dated_by_file:
        return measured
    mended = Sourced(utc.value.plus_seconds(-clock_ahead_s), files.put_right(utc.source, clock_ahead_s))
    return replace(measured, frame=replace(measured.frame, utc_mid=mended))


def arrival_of(frame: Frame, utc_mid: Utc, landed: Utc) -> FrameArrival:
    """The time that the frame states beside that of a clock when it was complete."""
    exposure_s = frame.exposure_s.value if frame.exposure_s is not None else 0.0
    return FrameArrival(unix_seconds(utc_mid), exposure_s, unix_seconds(landed))


def arrivals_of(frames: Sequence[Frame]) -> list[FrameArrival]:
    """Frame times beside those of their files, where the two are independent."""
    return [
        arrival_of(frame, stated, frame.file_utc)
        for frame in frames
        if (stated := frame.stated_utc) is not None and frame.file_utc is not None
    ]


def sky_motion_px(before: PlateSolution, after: PlateSolution, x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """How far the sky at each pixel (N,) of the later frame stood from there in the earlier one, px; inf when the
    earlier frame did not look that way at all."""
    icrs = pixel_to_vector(after.camera, x_px, y_px) @ after.attitude_icrs.camera_to_sky.T
    old_x, old_y = vector_to_pixel(before.camera, icrs @ before.attitude_icrs.camera_to_sky)
    return np.nan_to_num(np.hypot(old_x - x_px, old_y - y_px), nan=np.inf)


def stated_scale_arcsec_px(frame: Frame, optics: Optics) -> float | None:
    """Plate scale by the user's word, else by the header's focal length and pixel size, else by the scale that the
    header states outright; None when unknown."""
    focal = optics.focal_length_mm or (frame.focal_length_mm.value if frame.focal_length_mm else None)
    pixel = optics.pixel_size_um or (frame.pixel_size_um.value if frame.pixel_size_um else None)
    if focal is not None and pixel is not None:
        return ARCSEC_PER_RAD * pixel / (focal * 1000.0)
    return frame.scale_arcsec_px.value if frame.scale_arcsec_px is not None else None
