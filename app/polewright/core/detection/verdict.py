"""Why a frame is poor, with numbers, and what the person can do about it."""

from __future__ import annotations

from dataclasses import dataclass

from polewright.core.detection.selection import Selection
from polewright.core.model import PixelArray, Sourced

STARS_NEEDED = 5


@dataclass(frozen=True)
class FrameFacts:
    """What the verdict rests on."""

    stars: int
    fwhm_px: float
    exposure_s: float | None
    full_share: float
    lowest: float
    highest: float
    rejected: dict[str, int]

    @classmethod
    def of(
        cls, pixels: PixelArray, full_adu: float, exposure_s: Sourced[float] | None, found: Selection, fwhm_px: float
    ) -> FrameFacts:
        sample = pixels[::8, ::8]
        return cls(
            stars=len(found.stars),
            fwhm_px=fwhm_px,
            exposure_s=exposure_s.value if exposure_s is not None else None,
            full_share=float((sample >= full_adu).mean()),
            lowest=float(sample.min()),
            highest=float(sample.max()),
            rejected=found.rejected,
        )


def judge(facts: FrameFacts) -> tuple[str, str]:
    """(reason, cure), both empty when all is well."""
    if facts.stars >= STARS_NEEDED:
        return "", ""
    return f"{facts.stars} stars found, {STARS_NEEDED} needed", "expose longer"
