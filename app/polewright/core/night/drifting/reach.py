"""The smallest tolerance that a drift can prove on this base with this tube, however long it is watched."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from polewright.core.drift.plan import field_rad
from polewright.core.drift.reading import Side, hidden_at_best
from polewright.core.night.drifting.places import position_for
from polewright.core.night.states import NightPlan, Running, Stage
from polewright.core.offset import PROVED, SURE_ENOUGH, WORTH_SHARE, Offset, covariance_of, floor_rad

INDEPENDENT = ((1.0, 1.0),)
# tube, air and tripod may have misled both alike: shares that make one are never too sure, whatever the correlation
CORRELATED = tuple((share, 1.0 - share) for share in (0.0, 0.25, 0.5, 0.75, 1.0))
SETTLED_S = 24.0 * 3600.0  # a base that has stood for so long only gives way as its ground does


def joined(before: Offset, second: Offset, correlated: bool) -> Offset:
    """What two witnesses that agree say together."""
    told = (_together(before, second, *shares) for shares in (CORRELATED if correlated else INDEPENDENT))
    return min(told, key=lambda both: both.sigma_rad)


def _together(before: Offset, second: Offset, *shares: float) -> Offset:
    """The weighted mean; `shares`: how much of its information each one brings."""
    witnesses = (before, second)
    information = [share * np.linalg.inv(np.array(o.covariance_rad2)) for share, o in zip(shares, witnesses)]
    covariance = np.asarray(np.linalg.inv(information[0] + information[1]), dtype=np.float64)
    mean = covariance @ sum(i @ np.array([o.east_rad, o.up_rad]) for i, o in zip(information, witnesses))
    return Offset(float(mean[0]), float(mean[1]), covariance_of(covariance), second.readings)


def least_rad(both: Offset, drift: Offset, by_drift: bool) -> float:
    """The smallest tolerance that they could prove with the axis in its middle; `by_drift`: both are drifts."""
    return max(floor_rad(both, SURE_ENOUGH if by_drift else PROVED), drift.sigma_rad / WORTH_SHARE)


def outset_reach_rad(state: Running, stood: bool) -> float | None:
    """The same before the first frame: by all that no frame of a drift shows; `stood`: on firm ground.

    None in records that know of the stars alone."""
    plan, watch = state.plan, state.drift
    if plan.flexure is None or watch is None:
        return None
    rested_s = math.inf if stood else SETTLED_S
    hidden = _hidden(plan.site, plan.air, plan.target, plan.flexure, rested_s, _fields(plan, watch.side))
    drift, by_drift, before = Offset(0.0, 0.0, hidden), _ends_by_drift(state), state.offset
    return least_rad(drift if by_drift or before is None else joined(before, drift, correlated=True), drift, by_drift)


def sought_rad(state: Running) -> float:
    """The tolerance that a drift is watched for: tonight's, or what it can prove where that is more. Beyond that,
    watching gains nothing."""
    watch = state.drift
    reach = None if watch is None else outset_reach_rad(state, watch.stood)
    return state.plan.tolerance_rad if reach is None else max(state.plan.tolerance_rad, reach)


def _ends_by_drift(state: Running) -> bool:
    """Whether a drift will have nothing but drifts beside it."""
    return state.stage is Stage.CAPTURE or state.capture.by_drift


def _fields(plan: NightPlan, side: Side) -> tuple[tuple[float, float], ...]:
    """Hour angle and declination toward the elevated pole, rad, of both fields."""
    places = [position_for(plan, side, component) for component in ("azimuth", "altitude")]
    return tuple(field_rad(p.hour_angle_h, p.declination_deg, plan.site) for p in places)


_hidden = lru_cache(maxsize=16)(hidden_at_best)
