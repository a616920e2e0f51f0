"""Nights of one rig side by side: how the screw rates agree, how long it took, and where to set down next time.

A rig is known by its name where both records have one, else by its camera: same number of pixels, same scale to
three per cent.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import PolewrightError
from polewright.core.model import Camera
from polewright.core.screws.memory import ScrewRate
from polewright.services.night_folders import recorded_nights
from polewright.services.night_log import read_night
from polewright.services.program_log import LOG
from polewright.services.report.facts import NightFacts, gather
from polewright.words.numbers import angle_text

SCALE_SHARE = 0.03
HINT_NIGHTS = 2
SYSTEMATIC = 2.0  # the mean start must be so many of its sigmas away to be worth a hint
_SAME_POINT_DEG = 0.2


@dataclass(frozen=True)
class RateAgreement:
    """Rates of one screw over the nights, arcmin per turn: mean, and scatter as a share of it."""

    screw: str
    nights: int
    mean_arcmin: float
    scatter: float


@dataclass(frozen=True)
class History:
    """`nights` oldest first. `hint` is a sentence for the next set-up, "" when there is nothing to learn."""

    nights: tuple[NightFacts, ...]
    rates: tuple[RateAgreement, ...]
    median_minutes: float | None
    hint: str
    skipped: tuple[str, ...] = ()


def nights_beside(folder: Path, facts: NightFacts, alone: bool = False) -> History:
    """The nights recorded beside `folder` with the same rig, this one included; only it when `alone`."""
    found, skipped = [facts], []
    for other in [] if alone else recorded_nights(folder.resolve().parent):
        if other.resolve() == folder.resolve():
            continue
        try:
            night = gather(read_night(other), other.name)
        except PolewrightError as error:
            skipped.append(f"{other.name}: {error}")
            continue
        except Exception as error:  # no other night may cost this one its report
            LOG.warning("the night in %s cannot be summed up", other, exc_info=error)
            skipped.append(f"{other.name}: its record is damaged.")
            continue
        if same_night_rig(night, facts):
            found.append(night)
    return history_of(found, skipped)


def history_of(nights: Sequence[NightFacts], skipped: Sequence[str] = ()) -> History:
    """What nights of one rig have in common."""
    ordered = sorted(nights, key=lambda n: (n.started.jd1 + n.started.jd2) if n.started else 0.0)
    minutes = [n.aligned_s / 60.0 for n in ordered if n.aligned_s is not None]
    rates = tuple(a for screw in ("azimuth", "altitude") if (a := _agreement(screw, ordered)) is not None)
    return History(
        tuple(ordered), rates, statistics.median(minutes) if minutes else None, starting_hint(ordered), tuple(skipped)
    )


def same_night_rig(a: NightFacts, b: NightFacts) -> bool:
    """By name, else by camera."""
    return a.rig == b.rig if a.rig and b.rig else same_rig(a.camera, b.camera)


def same_rig(a: Camera | None, b: Camera | None) -> bool:
    """Same sensor size, same scale within three per cent."""
    if a is None or b is None:
        return False
    alike = abs(a.focal_px / b.focal_px - 1.0) <= SCALE_SHARE
    return alike and (a.width_px, a.height_px) == (b.width_px, b.height_px)


def starting_hint(nights: Sequence[NightFacts]) -> str:
    """Where to set the mount down next time, from where it stood at first on the nights so far."""
    parts, starts = starting_shift(nights)
    if starts < HINT_NIGHTS:
        return ""
    if not parts:
        return "Your starting positions scatter evenly about the pole: nothing to change."
    return f"Set the mount down {' and '.join(parts)} than you did: it began off by that on {starts} nights."


def starting_shift(nights: Sequence[NightFacts]) -> tuple[list[str], int]:
    """How to set it down differently ("30′ further west"), and how many nights say so; empty where they scatter."""
    starts = [n for n in nights if n.first is not None and n.site is not None]
    if len(starts) < HINT_NIGHTS:
        return [], len(starts)
    east = [_horizon_deg(n) for n in starts]
    up = [math.degrees(n.first.offset.up_rad) for n in starts if n.first is not None]
    parts = []
    for values, positive, negative in (
        (east, "further west", "further east"),
        (up, "lower", "higher"),
    ):
        mean = statistics.fmean(values)
        sigma = max(statistics.stdev(values) / math.sqrt(len(values)), 0.02)
        if abs(mean) >= max(SYSTEMATIC * sigma, _SAME_POINT_DEG):
            parts.append(
                f"{angle_text(math.radians(mean), math.radians(sigma))} {positive if mean > 0 else negative}"
            )
    return parts, len(starts)


def _horizon_deg(night: NightFacts) -> float:
    """East part of the first offset along the horizon, as the base has to be turned."""
    assert night.first is not None and night.site is not None
    lat = math.radians(min(abs(night.site.lat_deg), 85.0))
    return math.degrees(night.first.offset.east_rad) / math.cos(lat)


def _agreement(screw: str, nights: Sequence[NightFacts]) -> RateAgreement | None:
    known: list[ScrewRate] = [r for n in nights if (r := n.rates.get(screw)) is not None and n.moves.get(screw)]
    if not known:
        return None
    values = [r.arcmin_per_turn for r in known]
    mean = statistics.fmean(values)
    scatter = statistics.stdev(values) / abs(mean) if len(values) > 1 and mean else 0.0
    return RateAgreement(screw, len(values), mean, scatter)


def total_arcmin(night: NightFacts) -> float | None:
    """Final error of a night."""
    return night.final.total_rad * ARCMIN_PER_RAD if night.final else None
