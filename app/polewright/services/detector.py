"""Frame -> StarList: a quick pass for ordinary frames, a careful one when stars are few or the frame is difficult.

Both passes only propose candidates; every candidate is then measured (core/detection/measure.py) and judged
(core/detection/selection.py, trails.py), and the frame as a whole gets its verdict (verdict.py).

Decided 2026-11-25. Pixel libraries are services. Core may use numpy and ERFA only. Star extraction (sep) and
nearest-neighbour trees (scipy) are called from services/, which hand arrays to pure code in core/detection and
core/matching. Allowing scipy in core was rejected: the contract would no longer say "pure".

Decided 2026-11-25. Two passes of detection. A quick pass proposes candidates, numpy measures every one in a small
window; the careful pass (matched filters of several widths, deblending) runs only when stars are few or the frame
is difficult. One careful pass for all was rejected: 40 times slower on ordinary frames.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from polewright.core.detection.alike import (
    drawn_selection,
    may_be_drawn,
    off_one_line,
    shared_error,
    short_path,
    tailed_path,
    teachers,
    whole_drawn,
)
from polewright.core.detection.arcs import usual_length_px
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.detection.measure import Measurement, measure
from polewright.core.detection.rings import count_rings
from polewright.core.detection.selection import Selection, select, select_trails, short_fwhm_px, trail_sources
from polewright.core.detection.smear import Path, Profile, fit_stars, learn_profile
from polewright.core.detection.trails import Streaks, streaks_of, without_lines
from polewright.core.detection.verdict import FrameFacts, judge, judge_blank
from polewright.core.model import NO_SHARED_ERROR, FloatArray, Frame, PixelArray, SharedError, StarList
from polewright.core.star_trouble import StarTrouble, TooSmall, Trailed
from polewright.services.careful_pass import Trails, careful_candidates, flattened, long_regions
from polewright.services.quick_pass import MOST_CANDIDATES, halved, quick_candidates
from polewright.services.smeared_pass import Image, drawn_candidates, even_light, level, parts_agree, shared_path

MOST_STARS = 400  # chosen: more make a fit hardly surer, and cost time in proportion
_ENOUGH_STARS = 30  # clear ones: a careful pass then gains no certainty (chosen)
_WORTH_KEEPING = 12  # clear ones of the quick pass that a shorter careful list does not replace
_ENOUGH_WIDE_STARS = 60  # of wide stars the quick pass loses the faint half: twice as many are asked for
_WIDE_PX = 2.6  # Gaussian width from which the quick pass loses faint stars
_QUICK_LEAST_SNR = 5.0  # of a measured source (chosen)
_CAREFUL_LEAST_SNR = 4.3  # lower where stars are few: the solver copes with strays, not with too few stars
_SURE_SNR = 6.0  # noise makes such a peak in one of a hundred frames of a million pixels
_FEWEST_DRAWN = 5  # stars: fewer share a path by chance
_LENGTHENED, _LONGER = 3, 1.5  # how often, and by how much each time: to three times the length (chosen)
_LONG_PX = 40.0  # a path that may be longer still; short ones are seen whole (chosen)
_FEWEST_ARCS = 8  # long regions: fewer are branches or scratches (chosen)
_SMALL = 400_000  # pixels
_STREAK_PX = 8.0  # a path that is worth a word
_LARGEST_ADU = 1e9  # no camera counts so far; floats beyond it are damage
_LEAST_SIDE_PX = 32  # a smaller picture has no room for a window and its sky
# of 8 to 16 bits, and of 10 to 15 shifted left within 16
_FULL_SCALES = (*(2.0**bits - 1.0 for bits in range(8, 17)), *(2.0**16 - 2.0**shift for shift in range(1, 7)))

Elsewhere = Callable[[Frame, HotPixelMask | None], StarList]
Levelled = Callable[[], Image]  # the frame at half its size without sky, in units of its noise: made once, if at all


@dataclass(frozen=True, eq=False)
class _Found:
    measurement: Measurement
    selection: Selection
    streaks: Streaks
    crowded: bool = False  # the quick pass could not list all that shines: hot pixels, mostly
    shared_error: SharedError = NO_SHARED_ERROR


class Detector:
    """Finds and measures the stars of a frame. Holds no state: one instance serves any number of threads.

    `elsewhere` finds them, all over again, on a frame that needs care; without it that is done here.
    """

    def __init__(self, elsewhere: Elsewhere | None = None) -> None:
        self._elsewhere = elsewhere

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        """The stars of `frame`, brightest first; a poor or empty list says why."""
        pixels = finite(frame.pixels)
        if min(pixels.shape) < _LEAST_SIDE_PX:
            return _nothing(frame, TooSmall(_LEAST_SIDE_PX))
        if hot_pixels is not None:
            pixels = hot_pixels.mended(pixels)
        highest = float(pixels.max())
        full = full_level(highest, pixels.dtype.kind, frame.saturation_adu)
        sample = pixels[::8, ::8]
        share = float((sample >= full).mean()) if full <= highest else 0.0
        exposure = frame.exposure_s.value if frame.exposure_s is not None else None
        blank = FrameFacts(float(sample.min()), highest, share, exposure)
        nothing = judge_blank(blank)
        if nothing is not None:
            return _nothing(frame, nothing)
        found = _quick(pixels, full, highest)
        flat = cache(lambda: level(halved(pixels, highest)))
        drawn = _drawn(pixels, full, found, highest, flat)
        if drawn is not None:
            found = drawn
        elif _needs_care(found):
            if self._elsewhere is not None:
                return self._elsewhere(frame, hot_pixels)
            found = _better(_careful(pixels, full, found, flat), found)
        return _star_list(frame, pixels, found, blank, flat)


def finite(pixels: PixelArray) -> PixelArray:
    """The pixels with NaN, infinities and nonsense replaced by the median of the rest (0 when nothing is left)."""
    if pixels.dtype.kind != "f":
        return pixels
    good = np.abs(pixels) < _LARGEST_ADU  # false for NaN
    if good.all():
        return pixels
    level = float(np.median(pixels[good])) if good.any() else 0.0
    return np.where(good, pixels, np.float32(level)).astype(np.float32)


def full_level(highest: float, kind: str, stated_adu: float | None) -> float:
    """Level from which a pixel counts as full, ADU; inf when nothing in the frame looks full.

    Unless the frame states it, the `highest` pixel is the level when it is the full scale of a converter (2^n - 1, or
    that shifted left within 16 bits). `kind`: of the pixel type, "u" or "f".
    """
    if stated_adu is not None:
        return 0.98 * stated_adu
    if kind == "f" or highest < 200.0:
        return np.inf
    return 0.98 * highest if any(0.99 * scale <= highest <= scale for scale in _FULL_SCALES) else np.inf


def _quick(pixels: PixelArray, full: float, highest: float) -> _Found:
    x, y = quick_candidates(pixels, highest)
    measurement = measure(pixels, x, y, full_adu=full)
    selection = select(measurement, pixels.shape, full_adu=full, least_snr=_QUICK_LEAST_SNR, limit=MOST_STARS)
    return _Found(
        measurement,
        without_lines(selection, pixels.shape, all_pairs=False),
        streaks_of(measurement),
        x.size >= MOST_CANDIDATES,
    )


def _needs_care(found: _Found) -> bool:
    clear = _clear(found)
    if found.crowded and clear < MOST_STARS // 2:
        return True
    if found.measurement.width_px > _WIDE_PX and clear < _ENOUGH_WIDE_STARS:
        return True
    return clear < _ENOUGH_STARS or found.streaks.alike >= max(4, clear // 3)


def _drawn(pixels: PixelArray, full: float, quick: _Found, highest: float, flat: Levelled) -> _Found | None:
    """The stars of a frame on which the mount was moving; None when it stood, or too little is to be seen.

    Short paths show in the shapes of the bright stars, long ones in the frame as a whole.
    """
    care, seen = _needs_care(quick), tailed_path(pixels, quick.measurement, full)
    if not care and seen is None and not may_be_drawn(quick.measurement):
        return None
    width = min(max(quick.measurement.width_px, 1.0), _WIDE_PX)
    path = short_path(quick.measurement, pixels.shape)
    tail = seen or shared_path(level(halved(_core(pixels), highest)), width)
    if path is not None and (tail is None or tail.length_px < 2.0 * path.length_px + _STREAK_PX):
        sources = quick.measurement.sources
        clear = np.flatnonzero(sources.snr > _QUICK_LEAST_SNR)
        clear = clear[np.argsort(-sources.flux_adu[clear], kind="stable")]
        profile = _profile(pixels, sources.x_px[clear], sources.y_px[clear], path)
        return _drawn_at(pixels, sources.x_px[clear], sources.y_px[clear], quick, profile)
    if tail is None and not care:
        return None
    path = shared_path(flat(), width)
    path = seen if seen is not None and (path is None or not path.like(seen)) else path
    profile = _long_profile(pixels, flat(), path) if path is not None else None
    if profile is None:
        return None
    return _drawn_at(pixels, *drawn_candidates(flat(), profile.path, profile.u_px, profile.light), quick, profile)


def _long_profile(pixels: PixelArray, flat: Image, path: Path) -> Profile | None:
    """The profile of a path that may be longer than the frame as a whole shows, where trails fan out: as long as
    light goes on beyond its ends."""
    for _ in range(_LENGTHENED + 1):
        profile = _profile(pixels, *drawn_candidates(flat, path, *even_light(path)), path)
        if profile is None or path.length_px < _LONG_PX or not profile.goes_on:
            return profile
        path = replace(profile.path, length_px=_LONGER * profile.path.length_px)
    return None


def _core(pixels: PixelArray) -> PixelArray:
    """The middle of a frame: it tells as well whether the stars are drawn out, in a quarter of the time."""
    height, width = pixels.shape
    return pixels[height // 4 : 3 * height // 4, width // 4 : 3 * width // 4] if height * width > _SMALL else pixels


def _profile(pixels: PixelArray, x: FloatArray, y: FloatArray, path: Path) -> Profile | None:
    x, y = off_one_line(*teachers(x, y, path, pixels.shape), path)
    return learn_profile(pixels, x, y, path) if x.size >= _FEWEST_DRAWN else None


def _drawn_at(
    pixels: PixelArray, x: FloatArray, y: FloatArray, quick: _Found, profile: Profile | None
) -> _Found | None:
    if profile is None or x.size < _FEWEST_DRAWN:
        return None
    x, y = off_one_line(x, y, profile.path)
    noise = max(quick.measurement.noise.noise_adu, 1e-3)
    fitted, profile = fit_stars(pixels, x, y, profile, noise)
    stars = whole_drawn(fitted, profile.path, pixels.shape)
    if len(stars.x_px) < _FEWEST_DRAWN:
        return None
    selection = drawn_selection(stars, profile)
    streaks = Streaks(len(stars.x_px), profile.path.length_px) if profile.path.length_px > _STREAK_PX else Streaks()
    measurement = replace(quick.measurement, sources=selection.stars)
    return _Found(measurement, selection, streaks, shared_error=shared_error(stars, profile))


def _better(careful: _Found, quick: _Found) -> _Found:
    """The careful list, unless it lost most of the stars: a bright horizon or branches can teach it a wrong width."""
    few = 2 * _clear(careful) < _clear(quick) and _clear(quick) >= _WORTH_KEEPING
    return quick if few and not quick.crowded and careful.streaks.alike < 4 else careful


def _clear(found: _Found) -> int:
    return int((found.selection.stars.snr > _SURE_SNR).sum())


def _careful(pixels: PixelArray, full: float, quick: _Found, flat: Levelled) -> _Found:
    clear = int((quick.selection.stars.snr > 10.0).sum())
    sure = clear >= 8 and quick.streaks.alike < clear // 3
    width = quick.measurement.width_px if sure else 0.0
    image = flattened(pixels, width)
    trails = long_regions(image)
    streaks = trails.streaks
    if streaks.alike >= 4 and streaks.alike > trails.others:
        return _trailed(pixels, quick.measurement, trails)
    arcs = _arcs(pixels, trails, quick, flat)
    if arcs is not None:
        return arcs
    candidates = careful_candidates(image, width)
    measurement = measure(image.data, candidates.x_px, candidates.y_px, full_adu=full, width_px=width or None)
    selection = select(measurement, pixels.shape, full_adu=full, least_snr=_CAREFUL_LEAST_SNR, limit=MOST_STARS)
    selection = selection.counting("hot pixels", image.spikes)
    return _Found(measurement, without_lines(selection, pixels.shape, all_pairs=True), streaks)


def _trailed(pixels: PixelArray, measurement: Measurement, trails: Trails) -> _Found:
    """The middles of star trails: where the stars were at mid-exposure, to some tenths of a pixel."""
    sources = trail_sources(
        trails.x_px, trails.y_px, trails.flux_adu, trails.snr, trails.length_px, trails.width_px, trails.angle_rad
    )
    selection = select_trails(sources, pixels.shape, limit=MOST_STARS)
    return _Found(replace(measurement, sources=sources), selection, trails.streaks)


def _arcs(pixels: PixelArray, trails: Trails, quick: _Found, flat: Levelled) -> _Found | None:
    """A wide frame of a camera that stood still: trails enough, but each with a direction of its own."""
    if trails.x_px.size < max(_FEWEST_ARCS, trails.others):
        return None
    width = min(max(quick.measurement.width_px, 1.0), _WIDE_PX)
    if not parts_agree(flat(), width):
        return None  # no part of the frame agrees with itself
    found = _trailed(pixels, quick.measurement, trails)
    return replace(found, streaks=replace(found.streaks, alike=trails.x_px.size))


def _star_list(frame: Frame, pixels: PixelArray, found: _Found, blank: FrameFacts, flat: Levelled) -> StarList:
    stars, width = found.selection.stars, found.measurement.width_px
    sure = int((stars.snr > _SURE_SNR).sum())
    if sure == 0:  # nothing but the tail of the noise
        found = replace(found, selection=found.selection.without(np.ones(len(stars), dtype=bool), "noise"))
        stars = found.selection.stars
    trouble = judge(
        replace(
            blank,
            stars=sure,
            fwhm_px=short_fwhm_px(stars),
            trailed=found.streaks.alike,
            trail_px=found.streaks.length_px,
            rings=count_rings(pixels, stars.x_px, stars.y_px, width),
            rejected=found.selection.rejected,
        )
    )
    return StarList(
        width_px=frame.width_px,
        height_px=frame.height_px,
        x_px=stars.x_px,
        y_px=stars.y_px,
        sigma_px=stars.sigma_px,
        flux_adu=stars.flux_adu,
        snr=stars.snr,
        fwhm_px=found.selection.fwhm_px,
        flags=found.selection.flags,
        background_adu=found.measurement.noise.sky_adu,
        noise_adu=found.measurement.noise.noise_adu,
        rejected=found.selection.rejected,
        trouble=_walked(flat(), trouble) if isinstance(trouble, Trailed) else trouble,
        shared_error=found.shared_error,
    )


def _walked(flat: Image, trailed: Trailed) -> Trailed:
    """With long trails as long as they are from end to end: what drew them alike may be a part of bent ones."""
    return replace(trailed, length_px=2.0 * usual_length_px(flat) or trailed.length_px)


def _nothing(frame: Frame, trouble: StarTrouble) -> StarList:
    none = np.zeros(0)
    return StarList(
        frame.width_px,
        frame.height_px,
        none,
        none,
        none,
        none,
        none,
        none,
        none.astype(np.int64),
        trouble=trouble,
    )
