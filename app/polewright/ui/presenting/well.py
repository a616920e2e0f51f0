"""The well: axis, ellipse, trail, and the way the marker takes under the advised turn, with the gate at its end."""

from __future__ import annotations

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.advice import Advice, Turn
from polewright.core.night.correction.outlook import ScrewOutlook, outlooks
from polewright.core.night.states import NightState, Stage
from polewright.core.night.witness import witnessed_offset
from polewright.core.offset import Covariance, Offset
from polewright.core.screws.angles import Screw, ScrewAngles, offset_from_angles
from polewright.core.screws.plan import TurnKind
from polewright.ui.presenting.extras import Extras
from polewright.ui.view_model import Point, Reticle, TrailPoint
from polewright.words.numbers import duration_text, turns_text
from polewright.words.plan import tolerance_words

PATH_POINTS = 24
EMPTY = {
    Stage.ORIENTATION: "The axis appears here once it is measured.",
    Stage.CAPTURE: "The axis appears here after the turn.",
}


def shown_offset(state: NightState) -> Offset | None:
    """Where the axis is, by all that is known: the second turn or the drift counts once it has confirmed it."""
    if state.stage is Stage.PROOF and state.proved:
        return witnessed_offset(state) or state.offset
    return state.offset


def well(state: NightState, advice: Advice, extras: Extras) -> Reticle:
    """The reticle of a state."""
    plan = state.plan
    if plan is None:
        return Reticle(2.0, "", empty_text=EMPTY[Stage.ORIENTATION])
    offset = shown_offset(state)
    path, path_text = _path(state, advice)
    return Reticle(
        tolerance_arcmin=plan.tolerance_rad * ARCMIN_PER_RAD,
        tolerance_text=tolerance_words(plan.origin, plan.tolerance_rad),
        axis=None if offset is None else _point(offset.east_rad, offset.up_rad),
        covariance_arcmin2=((0.0, 0.0), (0.0, 0.0)) if offset is None else _arcmin2(offset.covariance_rad2),
        trail=_trail(state),
        path=path,
        path_text=path_text,
        southern=plan.southern,
        reading_id=state.frames_used,
        stale_text="" if offset is None else stale_text(state, extras),
        empty_text="" if offset is not None else EMPTY.get(state.stage, EMPTY[Stage.CAPTURE]),
        unsure=offset is not None and _wide_rad(offset.covariance_rad2) > plan.tolerance_rad,
    )


def stale_text(state: NightState, extras: Extras) -> str:
    """How old the last reading is, once it is older than twice the usual interval."""
    if state.last_frame_s is None or state.aligned:
        return ""
    age_s = extras.now_s - state.last_frame_s
    return f"{duration_text(age_s)} old" if age_s > extras.stale_after_s else ""


def _trail(state: NightState) -> tuple[TrailPoint, ...]:
    return tuple(TrailPoint(r.east_rad * ARCMIN_PER_RAD, r.up_rad * ARCMIN_PER_RAD, r.move) for r in state.trail)


def _path(state: NightState, advice: Advice) -> tuple[tuple[Point, ...], str]:
    """The curve the marker will follow under the advised turn; nothing while its effect is not known."""
    both = outlooks(state) if isinstance(advice.action, Turn) else None
    if both is None or not isinstance(advice.action, Turn):
        return (), ""
    turn = advice.action
    outlook = next(o for o in both if o.screw is turn.screw)
    text = f"{turn.screw.value}, {turns_text(turn.turns)}"
    still = outlook.plan.expected_arcmin == outlook.coordinate_arcmin  # all of the turn takes up slack
    if still or outlook.plan.kind in (TurnKind.TRIAL, TurnKind.RECHECK, TurnKind.NONE):
        return (), text
    return predicted_path(state, outlook), text


def predicted_path(state: NightState, outlook: ScrewOutlook) -> tuple[Point, ...]:
    """Exact on the sphere: one screw coordinate runs from here to where the turn is expected to end."""
    offset, plan = state.offset, state.plan
    assert offset is not None and plan is not None
    here = state.angles(offset)
    reach = outlook.plan.expected_arcmin - outlook.coordinate_arcmin
    points = []
    for share in np.linspace(0.0, 1.0, PATH_POINTS):
        step = float(share) * reach
        bearing = here.bearing_arcmin + (step if outlook.screw is Screw.AZIMUTH else 0.0)
        height = here.height_arcmin + (step if outlook.screw is Screw.ALTITUDE else 0.0)
        points.append(
            _point(*offset_from_angles(ScrewAngles(bearing, height), plan.pole_altitude_rad, plan.southern))
        )
    return tuple(points)


def _point(east_rad: float, up_rad: float) -> Point:
    return Point(east_rad * ARCMIN_PER_RAD, up_rad * ARCMIN_PER_RAD)


def _arcmin2(covariance_rad2: Covariance) -> tuple[tuple[float, float], tuple[float, float]]:
    (ee, eu), (ue, uu) = covariance_rad2
    k = ARCMIN_PER_RAD**2
    return (ee * k, eu * k), (ue * k, uu * k)


def _wide_rad(covariance_rad2: Covariance) -> float:
    """The longer half axis of the one-sigma ellipse."""
    return float(np.sqrt(max(np.linalg.eigvalsh(np.array(covariance_rad2))[-1], 0.0)))
