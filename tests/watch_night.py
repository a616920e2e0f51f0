"""A night that is aligned and then images: its events, with a mount that may be moved. For unit and screen tests."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import TargetPole
from polewright.core.night.effects import Effect
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisMeasured,
    FrameSolved,
    NextAsked,
    NightStarted,
)
from polewright.core.night.measured import MeasuredAxis, PlacedFrame
from polewright.core.night.states import NightState, Waiting
from polewright.core.night.table import step
from polewright.core.sky.places import offset_from_pole, true_pole_enu
from vigil_nights import SITE, Motion, Run, frames, setup_of, still

FIELD = ((-2.0, 35.0, 1.0),)
TOLERANCE_RAD = 60.0 / ARCSEC_PER_RAD
BEGINS_S = 600.0


def aligned_events(seed: int = 1, tolerance_rad: float = TOLERANCE_RAD) -> list[AnyEvent]:
    """From the first event to an alignment that is accepted; the axis is known to 5"."""
    setup, _ = setup_of(Run(), np.random.default_rng(seed))
    east, up = offset_from_pole(np.array(setup.axis_enu), true_pole_enu(SITE), SITE)
    sigma = setup.axis_sigma_rad / math.sqrt(2.0)
    names = ("turn-0", "turn-1", "turn-2")
    turn = []
    for hour in (-4.0, -1.5, 1.0):
        placed = next(frames(Run(fields=((hour, 35.0, 0.1),)), np.array(setup.axis_enu), np.random.default_rng(7)))[0]
        turn.append(PlacedFrame.of(placed))
    axis = MeasuredAxis(east, up, ((sigma**2, 0.0), (0.0, sigma**2)), frames=names)
    return [
        NightStarted(0.0, SITE, TargetPole.TRUE, math.radians(SITE.lat_deg), tolerance_rad),
        NextAsked(1.0),
        *(
            FrameSolved(10.0 * (i + 1), PlacedFrame(name, f.utc_mid, *_rest(f)))
            for i, (name, f) in enumerate(zip(names, turn))
        ),
        AxisMeasured(31.0, axis),
        NextAsked(40.0),
        Accepted(50.0),
        Accepted(60.0),
    ]


def _rest(f: PlacedFrame) -> tuple:  # type: ignore[type-arg]
    return f.camera_to_enu, f.covariance_rad2, f.camera, f.stars_matched, f.rms_arcsec, f.centre


def imaging_events(run: Run, base: Motion = still, seed: int = 1) -> Iterator[FrameSolved]:
    """The frames of the imaging run as events; times of the night from 600 s on."""
    rng = np.random.default_rng(seed)
    _, axis = setup_of(Run(), rng)
    for frame, at_s in frames(run, axis, rng, base):
        placed = PlacedFrame.of(frame)
        utc = placed.utc_mid.plus_seconds(at_s)
        yield FrameSolved(BEGINS_S + at_s, PlacedFrame(f"{placed.name}-{at_s:.0f}", utc, *_rest(placed)))


def run_through(events: Sequence[AnyEvent], state: NightState | None = None) -> tuple[NightState, list[Effect]]:
    """The state at the end, and all effects."""
    state = state or Waiting()
    effects: list[Effect] = []
    for event in events:
        state, more = step(state, event)
        effects += more
    return state, effects
