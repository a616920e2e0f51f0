"""Why a frame is poor, with numbers, and what the person can do about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

STARS_NEEDED = 5
_WIDE_FWHM_PX = 9.0
_BLANK_SHARE = 0.5
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


def judge(facts: FrameFacts) -> tuple[str, str]:
    """(reason, cure), both empty when all is well."""
    return _trailed(facts) or _wide(facts) or _few(facts) or ("", "")


def judge_blank(f: FrameFacts) -> tuple[str, str]:
    """(reason, cure) for a frame in which no star can be looked for, both empty for any other."""
    if f.highest <= f.lowest:
        if f.highest > 0.0 and f.full_share > 0.0:
            return f"Every pixel is full ({f.highest:.0f}): nothing can be seen.", _shorter(f)
        return (
            f"Every pixel has the value {f.highest:.0f}: no light reached the camera.",
            "Take the cap off, check that the shutter opens and that the camera delivers real frames.",
        )
    if f.full_share > _BLANK_SHARE:
        return f"{100.0 * f.full_share:.0f} % of the pixels are full.", _shorter(f)
    return "", ""


def _trailed(f: FrameFacts) -> tuple[str, str] | None:
    if not _streaked(f):
        return None
    cure = "Switch tracking on"
    if f.exposure_s is not None and f.trail_px > 0.0:
        best = f.exposure_s * min(1.0, 6.0 / f.trail_px)
        cure += f", or expose {seconds(best)} instead of {seconds(f.exposure_s)}"
    else:
        cure += ", or expose for a shorter time"
    return f"The stars are trailed, about {f.trail_px:.0f} px long ({f.trailed} of them).", cure + "."


def _streaked(f: FrameFacts) -> bool:
    """Whether most stars are streaks alike; a few are enough where the rest is wide, for long trails fall to pieces
    that look like stars out of focus, and no blur makes a star longer than it is wide."""
    pieces = f.fwhm_px > _WIDE_FWHM_PX and f.trailed >= 3 and f.trail_px > _LONG * f.fwhm_px
    return pieces or (f.trailed >= 4 and f.trailed >= 0.35 * f.stars)


def _wide(f: FrameFacts) -> tuple[str, str] | None:
    if f.rings >= 3 and f.rings >= f.stars // 2:
        return (
            f"The stars are rings, about {f.fwhm_px:.0f} px wide: the camera is far out of focus.",
            "Focus until the stars are points of 2 to 4 px.",
        )
    if f.stars and f.fwhm_px > _WIDE_FWHM_PX:
        what = (
            "The stars are" if f.stars >= STARS_NEEDED else f"{count(f.stars)} found, {STARS_NEEDED} needed; they are"
        )
        return (
            f"{what} {f.fwhm_px:.0f} px wide: the camera is out of focus.",
            "Focus until the stars are 2 to 4 px wide.",
        )
    return None


def _few(f: FrameFacts) -> tuple[str, str] | None:
    if f.stars >= STARS_NEEDED:
        return None
    reason = f"{count(f.stars)} found, {STARS_NEEDED} needed"
    if f.rejected.get("hot pixels", 0) > 50:
        reason += f" ({f.rejected['hot pixels']} hot pixels set aside)"
    if f.stars == 0:
        cure = "Look for clouds, dew or a cap; then " + _longer(f)
    else:
        cure = _longer(f)[0].upper() + _longer(f)[1:]
        cure += f", or check the focus: star width {f.fwhm_px:.0f} px" if f.fwhm_px > 5.0 else ", or look for clouds"
    return reason + ".", cure + "."


def _longer(f: FrameFacts) -> str:
    """Twice the depth needs four times the exposure when the sky limits: offer that, at least 0.5 s."""
    if f.exposure_s is None or f.exposure_s <= 0.0:
        return "expose four times as long"
    return f"expose {seconds(max(0.5, 4.0 * f.exposure_s))} instead of {seconds(f.exposure_s)}"


def _shorter(f: FrameFacts) -> str:
    if f.exposure_s is None or f.exposure_s <= 0.0:
        return "Expose a tenth as long, lower the gain, or wait until it is dark."
    return f"Expose {seconds(0.1 * f.exposure_s)} instead of {seconds(f.exposure_s)}, or wait until it is dark."


def seconds(value: float) -> str:
    """Two digits are enough for an exposure: "2 s", "0.25 s"."""
    return f"{float(f'{value:.2g}'):g} s"


def count(stars: int) -> str:
    """ "no stars", "1 star", "3 stars"."""
    return "No stars" if stars == 0 else "1 star" if stars == 1 else f"{stars} stars"
