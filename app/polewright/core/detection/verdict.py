"""Why a frame is poor: one cause with its numbers, chosen in one order. What is said about it: words/frames.py."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from polewright.core.star_trouble import CapOn, OutOfFocus, StarTrouble, TooBright, TooFewStars, Trailed

LEAST_STARS = 5  # with fewer a frame is called poor, whether or not a match is found all the same
_WIDE_FWHM_PX = 9.0  # chosen: no focused guide scope or lens makes stars so wide
_BLANK_SHARE = 0.5  # of the pixels full: in the rest no sky can be measured (chosen)
_LONG = 2.0  # times its width: a streak


@dataclass(frozen=True)
class FrameFacts:
    """What the verdict rests on.

    `lowest`, `highest`: pixel values; `full_share`: share of full pixels; `trailed`: streaks alike in
    direction and length, `trail_px` their length; `rings`: hollow ones among the brightest sources.
    """

    lowest: float
    highest: float
    full_share: float
    exposure_s: float | None = None
    stars: int = 0
    fwhm_px: float = 0.0
    trailed: int = 0
    trail_px: float = 0.0
    rings: int = 0
    rejected: Mapping[str, int] = field(default_factory=dict)


def judge(facts: FrameFacts) -> StarTrouble | None:
    """What is wrong with the stars of a frame, None when all is well: motion before focus before exposure."""
    return _trailed(facts) or _wide(facts) or _few(facts)


def judge_blank(f: FrameFacts) -> StarTrouble | None:
    """Why no star can be looked for at all, None for any other frame: a cap before too much light."""
    if f.highest <= f.lowest:
        full = f.highest > 0.0 and f.full_share > 0.0
        return TooBright(f.exposure_s, 1.0) if full else CapOn(f.highest)
    return TooBright(f.exposure_s, f.full_share) if f.full_share > _BLANK_SHARE else None


def _trailed(f: FrameFacts) -> Trailed | None:
    """Most stars are streaks alike; a few are enough where the rest is wide, for long trails fall to pieces that look
    like stars out of focus, and no blur makes a star longer than it is wide."""
    pieces = f.fwhm_px > _WIDE_FWHM_PX and f.trailed >= 3 and f.trail_px > _LONG * f.fwhm_px
    if pieces or (f.trailed >= 4 and f.trailed >= 0.35 * f.stars):
        return Trailed(f.trailed, f.trail_px, f.exposure_s)
    return None


def _wide(f: FrameFacts) -> OutOfFocus | None:
    rings = f.rings >= 3 and f.rings >= f.stars // 2
    return OutOfFocus(f.stars, f.fwhm_px, rings) if rings or (f.stars and f.fwhm_px > _WIDE_FWHM_PX) else None


def _few(f: FrameFacts) -> TooFewStars | None:
    hot = f.rejected.get("hot pixels", 0)
    return TooFewStars(f.exposure_s, hot, f.stars, width_px=f.fwhm_px) if f.stars < LEAST_STARS else None
