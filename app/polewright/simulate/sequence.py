"""Writes a whole sequence of frames with the truth beside: RA axis turned in steps, then the screws turned."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from polewright.core.errors import UsageError
from polewright.core.model import Utc
from polewright.core.sky.timescales import unix_seconds
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.truth import truth_of_axis, truth_of_frame, truth_of_night

TRUTH_NAME = "truth.json"


@dataclass(frozen=True)
class SequencePlan:
    """`frames` exposures spread over `span_deg` of RA rotation, then `adjust_frames` while the screws are turned.

    `centre_h`: the hour angle in the middle of the rotation.
    """

    frames: int = 3
    span_deg: float = 90.0
    exposure_s: float = 2.0
    adjust_frames: int = 0
    tracking: bool = True
    centre_h: float = 0.0
    pause_s: float = 6.0  # after a rotation or a turn, before the shutter opens

    def __post_init__(self) -> None:
        if self.frames < 1 or self.adjust_frames < 0:
            raise UsageError("A sequence needs at least one frame.")
        if not (0.0 <= abs(self.span_deg) <= 160.0):
            raise UsageError(f"The span must lie between 0 and 160 degrees, not {self.span_deg:g}.")
        if not 0.001 <= self.exposure_s <= 600.0:
            raise UsageError(f"The exposure must lie between 0.001 and 600 s, not {self.exposure_s:g}.")


def write_sequence(rig: SimulatedRig, folder: Path, plan: SequencePlan) -> dict[str, Any]:
    """Write the frames and `truth.json` into `folder` (made if missing); returns the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    side = -1.0 if rig.night.southern else 1.0
    scenario = rig.night.scenario
    first_h = plan.centre_h - plan.span_deg / 30.0
    now = rig.point(first_h, side * scenario.declination_toward_pole_deg, rig.night.start)
    rig.set_tracking(plan.tracking, now)
    truth = truth_of_night(rig)
    truth["frames"] = []
    now = now.plus_seconds(plan.pause_s)
    for number in range(plan.frames):
        if number:
            now = rig.rotate_ra(plan.span_deg / (plan.frames - 1), now).plus_seconds(plan.pause_s)
        now = _frame(rig, folder, plan, "capture", now, truth)
    truth["axis_after_capture"] = truth_of_axis(rig.axis(now))
    for number in range(plan.adjust_frames):
        now = _turn_toward_pole(rig, now, number).plus_seconds(plan.pause_s)
        now = _frame(rig, folder, plan, "adjust", now, truth)
    (folder / TRUTH_NAME).write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    return truth


def _frame(rig: SimulatedRig, folder: Path, plan: SequencePlan, stage: str, now: Utc, truth: dict[str, Any]) -> Utc:
    path, view = rig.write_frame(folder, now, plan.exposure_s)
    date_file(path, now.plus_seconds(plan.exposure_s + 1.0))
    truth["frames"].append(truth_of_frame(rig, path.name, stage, view))
    return now.plus_seconds(plan.exposure_s + 1.0)


def date_file(path: Path, written: Utc) -> None:
    """The file's own time, as a camera program leaves it."""
    os.utime(path, (unix_seconds(written), unix_seconds(written)))


def _turn_toward_pole(rig: SimulatedRig, now: Utc, number: int) -> Utc:
    """A hand that knows the truth takes away 70 % of one component, azimuth and altitude by turns."""
    east, up = rig.axis(now).from_refracted_pole_arcmin
    spec = rig.night.mount
    if number % 2 == 0:
        horizon = east / np.cos(np.radians(rig.night.scenario.site.lat_deg))
        clockwise = horizon * (-1.0 if rig.night.southern else 1.0)
        return rig.turn("azimuth", float(-0.7 * clockwise / spec.azimuth.arcmin_per_turn), now)
    return rig.turn("altitude", float(-0.7 * up / spec.altitude.arcmin_per_turn), now)
