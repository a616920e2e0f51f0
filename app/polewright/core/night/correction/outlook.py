"""Which screw next, which way and how far: the two-screw plan.

Roughly first: azimuth, then altitude, each to within some arcminutes. Then a screw that is to be turned and was near
from the start. Then the locks are tightened once to see what that does to the axis (unless the rig's profile knows).
Then finely: the screw in hand to the end, then the other one, so that what altitude and locks have shifted is taken
out together. Changing hands costs more than one more turn.

Decided 2026-11-30. The locks wait for both screws: tried before that, one lock told nothing. 21 proved nights of the
walking hand, star lists, seeds 501 and 502 (tests/bench/hand_nights.py; without windy 502, which another mend changed
as well): 5.0 goes and 3.0 minutes at the screws on average before, 4.5 and 2.8 after.

Decided 2026-11-25. Few goes at the screws. Near the aim a reversal costs two or three turns, because the slack must
be crossed by a hand that errs. A turn stops short by 1.3 sigmas of what it may go wrong by; both screws are brought
near before either is brought home; the locks are tightened once in between, so that their shift is known before it
matters. Going for the whole remaining distance needed as many turns and more goes (tests/bench/paper_nights.py). A
*go* is a hand on one screw in one direction, however often it stops to look; single turns are counted beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.states import Running
from polewright.core.offset import CLOSE_ENOUGH, Offset
from polewright.core.screws.angles import Screw, ScrewAngles, azimuth_screw_acts, screw_angles
from polewright.core.screws.learning import seen_sign
from polewright.core.screws.lesson import lesson_turns
from polewright.core.screws.memory import ScrewMemory
from polewright.core.screws.plan import SIGN_KNOWN, TRIAL_TURNS, TurnKind, TurnPlan, plan_turn

ROUGH_RAD = math.radians(7.0 / 60.0)  # each component: nearer is left to the fine correction
SPARED_SHARE = 0.25  # of the tolerance: locks that earlier nights know this well are not tried
UNKNOWN_NEAR_ARCMIN = 15.0  # a trial turn of an unknown screw may run past an aim nearer than this (chosen)
NEAR_ARCMIN, TOUCH_TURNS = 4.0, 1.0 / 40.0  # so near, a hand that knows no rate turns by touches
# where the eye leads, a screw stops this short of the aim before the locks have been tried: more than they shift the
# axis by (simulated mounts: 0.6' at most), so that what is left is turned the same way, with no slack to be crossed
SHORT_RAD = math.radians(2.0 / 60.0)
AZIMUTH_LATER = 0.2  # altitude goes first when the azimuth error on the sky is below this share of it


@dataclass(frozen=True)
class ScrewOutlook:
    """One screw: what is left against the aim, on the sky (+ east, + up), and the turn planned for it."""

    screw: Screw
    left_rad: float
    sigma_rad: float
    coordinate_arcmin: float  # the same in the screw's own coordinate
    plan: TurnPlan


def aimed_angles(state: Running, offset: Offset) -> ScrewAngles:
    """Screw coordinates of the axis against the aim (the pole, or beside it by the shift of the locks)."""
    here = state.angles(offset)
    if state.aim_rad == (0.0, 0.0):
        return here
    aim = screw_angles(*state.aim_rad, ((0.0, 0.0), (0.0, 0.0)), state.plan.pole_altitude_rad, state.plan.southern)
    return ScrewAngles(
        here.bearing_arcmin - aim.bearing_arcmin,
        here.height_arcmin - aim.height_arcmin,
        here.sigma_bearing_arcmin,
        here.sigma_height_arcmin,
    )


def screw_coordinate(state: Running, screw: Screw, offset: Offset) -> tuple[float, float]:
    """Where the axis is in the screw's own coordinate against the aim, and its sigma, arcmin."""
    angles = aimed_angles(state, offset)
    if screw is Screw.AZIMUTH:
        return angles.bearing_arcmin, angles.sigma_bearing_arcmin
    return angles.height_arcmin, angles.sigma_height_arcmin


def close_arcmin(state: Running, screw: Screw) -> float:
    """What counts as there, in the screw's own coordinate."""
    return _coordinate_arcmin(state, screw, CLOSE_ENOUGH * state.plan.tolerance_rad)


def _coordinate_arcmin(state: Running, screw: Screw, on_sky_rad: float) -> float:
    """An angle on the sky in the screw's own coordinate."""
    return on_sky_rad * ARCMIN_PER_RAD / (state.plan.bearing_share if screw is Screw.AZIMUTH else 1.0)


def gate_arcmin(state: Running, screw: Screw, here_arcmin: float) -> float:
    """Where a turn led by the eye is to end, against the aim, in the screw's own coordinate: short of it before the
    locks have been tried, on the side where the axis is; half-way where little is left."""
    short = _coordinate_arcmin(state, screw, SHORT_RAD)
    short = min(short, 0.5 * abs(here_arcmin))
    far = abs(here_arcmin) > close_arcmin(state, screw)
    return math.copysign(short, here_arcmin) if far and locks_untried(state) else 0.0


def outlooks(state: Running) -> tuple[ScrewOutlook, ScrewOutlook] | None:
    """Azimuth and altitude as they stand; None while the axis is not known."""
    offset = state.offset
    if offset is None:
        return None
    angles = aimed_angles(state, offset)
    shrink, side = state.plan.bearing_share, state.plan.side
    azimuth = plan_turn(
        state.rate(Screw.AZIMUTH),
        angles.bearing_arcmin,
        close_arcmin(state, Screw.AZIMUTH),
        tried_turns=tried_turns(state.azimuth),
    )
    altitude = plan_turn(
        state.rate(Screw.ALTITUDE),
        angles.height_arcmin,
        close_arcmin(state, Screw.ALTITUDE),
        lift_last=True,
        tried_turns=tried_turns(state.altitude),
    )
    east = angles.bearing_arcmin * shrink * side / ARCMIN_PER_RAD
    bearing_sigma = angles.sigma_bearing_arcmin * shrink / ARCMIN_PER_RAD
    height, height_sigma = angles.height_arcmin / ARCMIN_PER_RAD, angles.sigma_height_arcmin / ARCMIN_PER_RAD
    if state.walking:
        azimuth = _by_eye(state, Screw.AZIMUTH, angles.bearing_arcmin, azimuth)
        altitude = _by_eye(state, Screw.ALTITUDE, angles.height_arcmin, altitude)
    return (
        ScrewOutlook(Screw.AZIMUTH, east, bearing_sigma, angles.bearing_arcmin, azimuth),
        ScrewOutlook(Screw.ALTITUDE, height, height_sigma, angles.height_arcmin, altitude),
    )


def _by_eye(state: Running, screw: Screw, coordinate_arcmin: float, plan: TurnPlan) -> TurnPlan:
    """A turn of a screw whose way was seen, while nobody knows what a turn is worth: the eye stops it."""
    sign = seen_sign(state.memory(screw))
    if plan.kind is not TurnKind.TRIAL or not sign:
        return plan
    size = TOUCH_TURNS if abs(coordinate_arcmin) < UNKNOWN_NEAR_ARCMIN else TRIAL_TURNS
    return TurnPlan(TurnKind.APPROACH, math.copysign(size, -coordinate_arcmin * sign), coordinate_arcmin, math.inf)


def next_turn(state: Running) -> ScrewOutlook | None:
    """The screw to turn now and how; None when neither has anything left to do, or nothing is known."""
    both = outlooks(state)
    if both is None:
        return None
    azimuth, altitude = both
    if state.lesson is not None:
        return _lesson_turn(state, azimuth if state.lesson.screw is Screw.AZIMUTH else altitude)
    if state.stop_here:
        return None
    open_ones = _beyond(state, both, CLOSE_ENOUGH * state.plan.tolerance_rad)
    rough = _beyond(state, both, ROUGH_RAD)
    open_ones = rough or _unset(state, open_ones) or open_ones
    if not open_ones:
        return None
    if len(open_ones) == 1:
        return open_ones[0]
    in_hand = {Screw.AZIMUTH: azimuth, Screw.ALTITUDE: altitude, None: None}[state.handling.working]
    if state.walking and not rough and _between_turns(state) and not _needed(state, in_hand):
        return max(open_ones, key=lambda o: abs(o.left_rad))  # without it the other may be near enough
    if in_hand is not None:
        return in_hand
    return azimuth if abs(azimuth.left_rad) >= AZIMUTH_LATER * abs(altitude.left_rad) else altitude


def _needed(state: Running, outlook: ScrewOutlook | None) -> bool:
    """Whether the axis cannot be near enough without this screw."""
    return outlook is not None and abs(outlook.left_rad) > state.plan.tolerance_rad


def _between_turns(state: Running) -> bool:
    """Whether no turn is in progress: then a change of hands breaks nothing off."""
    return state.handling.opened_at is None


def _lesson_turn(state: Running, outlook: ScrewOutlook) -> ScrewOutlook:
    """The next turn of the lesson; the trial of the screw first, where nothing is known of it."""
    assert state.lesson is not None
    rate = state.rate(outlook.screw)
    if rate is None or rate.sign_sure < SIGN_KNOWN:
        return outlook
    here = outlook.coordinate_arcmin
    turns = lesson_turns(state.memory(outlook.screw), rate, state.lesson.made, here)
    return replace(outlook, plan=TurnPlan(TurnKind.LESSON, turns, here + turns * rate.at(here), math.inf))


def locks_to_be_tried(state: Running) -> bool:
    """Whether to tighten the locks once before the fine correction: both screws are near, the shift is unknown."""
    both = outlooks(state)
    if both is None or not locks_untried(state):
        return False
    open_ones = _beyond(state, both, CLOSE_ENOUGH * state.plan.tolerance_rad)
    return state.handling.turns_made > 0 and not _beyond(state, open_ones, ROUGH_RAD) and not _unset(state, open_ones)


def locks_untried(state: Running) -> bool:
    """Whether nobody knows, and it matters, what tightening the locks will do to the axis."""
    if state.locks.tight or state.locks.shift_rad is not None or state.lesson:
        return False
    fine = CLOSE_ENOUGH * state.plan.tolerance_rad < ROUGH_RAD
    return fine and not state.locks.memory.known_to(SPARED_SHARE * state.plan.tolerance_rad)


def _unset(state: Running, open_ones: Sequence[ScrewOutlook]) -> list[ScrewOutlook]:
    """Before the trial of the locks: the screws that are to be turned and were not yet. A lock shifts the axis where
    its screw has been turned since it was tightened (common practice, no source): theirs would show nothing."""
    return [o for o in open_ones if not state.memory(o.screw).moves] if locks_untried(state) else []


def _beyond(state: Running, both: Sequence[ScrewOutlook], limit_rad: float) -> list[ScrewOutlook]:
    """The screws with more than this left that can do something about it."""
    acts = azimuth_screw_acts(state.plan.pole_altitude_rad)
    left = [o for o in both if abs(o.left_rad) > limit_rad and o.plan.kind is not TurnKind.NONE]
    return [o for o in left if acts or o.screw is Screw.ALTITUDE]


def tried_turns(memory: ScrewMemory) -> float:
    """Turns made one way at the end of the memory without any motion that could be seen; 0 once something moved."""
    total = 0.0
    for move in reversed(memory.moves):
        if abs(move.moved_arcmin) > 5.0 * move.sigma_arcmin or move.turns * total < 0.0:
            break
        total += move.turns
    return total
