"""Writes frames of a mount that only tracks, one field after the other, and the truth beside them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from polewright.core.errors import UsageError
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.sequence import TRUTH_NAME, date_file
from polewright.simulate.truth import truth_of_axis, truth_of_frame, truth_of_night

LONGEST_WATCH_S = 7200.0  # of one position: two hours, in which any drift shows


@dataclass(frozen=True)
class WatchPlan:
    """`fields`: (hour angle in h, declination in deg), each watched for `seconds_each`, a frame every `cadence_s`."""

    fields: Sequence[tuple[float, float]]
    seconds_each: float = 180.0
    cadence_s: float = 10.0
    exposure_s: float = 2.0
    pause_s: float = 6.0

    def __post_init__(self) -> None:
        if not 1.0 <= self.seconds_each <= LONGEST_WATCH_S:
            raise UsageError(f"A field is watched for 1 to 7200 s, not {self.seconds_each:g}.")
        if not 0.001 <= self.exposure_s < self.cadence_s:
            raise UsageError(f"Frames every {self.cadence_s:g} s leave no room to expose {self.exposure_s:g} s.")


def write_watch(rig: SimulatedRig, folder: Path, plan: WatchPlan) -> dict[str, Any]:
    """Write the frames and `truth.json` into `folder` (made if missing); returns the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    truth = truth_of_night(rig)
    truth["frames"] = []
    now = rig.night.start
    for number, (hour_angle_h, declination_deg) in enumerate(plan.fields):
        now = rig.point(hour_angle_h, declination_deg, now)
        rig.set_tracking(True, now)
        now = now.plus_seconds(plan.pause_s)
        for _ in range(int(plan.seconds_each / plan.cadence_s) + 1):
            path, view = rig.write_frame(folder, now, plan.exposure_s)
            date_file(path, now.plus_seconds(plan.exposure_s + 1.0))
            truth["frames"].append(truth_of_frame(rig, path.name, f"field {number + 1}", view))
            now = now.plus_seconds(plan.cadence_s)
    truth["axis_after_capture"] = truth_of_axis(rig.axis(now))
    (folder / TRUTH_NAME).write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    return truth
