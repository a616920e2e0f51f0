"""The five stages and what each has brought."""

from __future__ import annotations

import math

from polewright.core.night.states import NightState, Stage
from polewright.ui.view_model import Step, StepMark
from polewright.words.numbers import angle_text, sigma_text

NAMES = {
    Stage.ORIENTATION: "Stand",
    Stage.CAPTURE: "Measure",
    Stage.ROUGH: "Rough",
    Stage.FINE: "Fine",
    Stage.PROOF: "Proof",
}
ORDER = tuple(NAMES)


def rail(state: NightState) -> tuple[Step, ...]:
    """The rail at the top of the window."""
    now = ORDER.index(state.stage)
    ended = state.aligned
    steps = []
    for index, stage in enumerate(ORDER):
        mark = StepMark.DONE if index < now or ended else StepMark.NOW if index == now else StepMark.AHEAD
        steps.append(Step(NAMES[stage], mark, _note(state, stage) if index <= now else ""))
    return tuple(steps)


def _note(state: NightState, stage: Stage) -> str:
    axis, offset = state.capture.axis, state.offset
    if stage is Stage.CAPTURE and axis is not None:
        (ee, _), (_, uu) = axis.covariance_rad2
        return sigma_text(math.sqrt(ee + uu))
    if stage is Stage.ROUGH and axis is not None and state.stage is not Stage.ROUGH and not state.proved:
        return f"from {angle_text(math.hypot(axis.east_rad, axis.up_rad))}"
    if stage is Stage.FINE and offset is not None:
        return angle_text(offset.total_rad, offset.sigma_rad)
    if stage is Stage.PROOF and state.aligned:
        return "confirmed" if state.proved else "accepted"
    return ""
