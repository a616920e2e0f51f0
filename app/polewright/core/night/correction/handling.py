"""Hands on the screws, as the readings show them: when a move begins, when it is over, and what it teaches.

A move goes from rest to rest. It is learned from when the person has said what was turned, or, unsaid, when the axis
moved as the screw that was asked for would move it. Motion that nobody asked for teaches nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.actions import Outcome, begin_following
from polewright.core.night.correction.outlook import (
    close_arcmin,
    gate_arcmin,
    locks_to_be_tried,
    next_turn,
    screw_coordinate,
)
from polewright.core.night.effects import Effect, Objection, Refused, SaveLocks, SaveScrew
from polewright.core.night.events import AxisFollowed, BaseLocked, BaseUnlocked, LessonAsked, ScrewTurned
from polewright.core.night.rest import SETTLE_S, Reading, add_reading, own_sigmas_rad, rest_offset
from polewright.core.night.states import AskedTurn, Handling, Lesson, Running, TurnReport
from polewright.core.offset import Offset
from polewright.core.screws.angles import Screw, ScrewAngles
from polewright.core.screws.learning import learn, sign_sure
from polewright.core.screws.lesson import lesson_over
from polewright.core.screws.memory import ScrewMove
from polewright.core.screws.plan import SIGN_KNOWN
from polewright.core.screws.sky_turn import screw_path, with_path
from polewright.core.screws.walk import MOVED_SIGMA, Walk, as_told, lead_after, walked

FALL_BACK = 3.0  # fine goes back to rough only beyond this many times the limit between them
KEPT_TRAIL = 160  # places drawn in the well; more lie on each other
STILL_READINGS, STILL_S = 3, 8.0  # so much rest after a reported turn means that nothing moved
AT_THE_LOCKS_S = 45.0  # after the last motion: the other lock, and round the mount to the key (chosen)
QUICK_S = 6.0  # nobody has read that the locks are to be tightened, and done it, so soon after a turn (chosen)
LATE_REPORT_S = 2.5  # a report so soon after a move was seen to end belongs to that move: nobody turns faster
# friction holds so much of a move back, which follows within a few times so long (chosen; the simulated mounts: up to
# 4 % and 4 s, of which two readings that agree have seen the most)
CREEP_SHARE, CREEP_S = 0.03, 20.0
# so far, or this share of what is left, before a motion shows a way: gusts and a turn begun within the exposure shake
# the first reading by tenths of an arcminute (simulated mounts in wind, tests/bench/hand_nights.py)
SENSE_ARCMIN, SENSE_SHARE = 0.5, 0.25
ROOM_SHARE = 0.5  # of the way that a gate stands short: so far from it is near enough (chosen)
OWN_DIRECTION = 0.35  # a screw moves its own coordinate; the other one by less than this share (base out of level)


def take_reading(state: Running, event: AxisFollowed) -> Outcome:
    """One more reading: at rest, or moving, or come to rest again."""
    reading = Reading(state.now_s, event.axis.east_rad, event.axis.up_rad, event.axis.covariance_rad2)
    before = state
    rest, moved = add_reading(state.rest, reading, state.shared)
    handling, locks = state.handling, state.locks
    if moved:
        if handling.opened_at is None:
            handling = _open(before)
            locks = replace(locks, ready=None) if _still_at_the_screw(before) else locks
        handling = replace(handling, touched_s=state.now_s)
    trail = (*state.trail, replace(reading, move=moved))[-KEPT_TRAIL:]
    state = replace(
        state,
        rest=rest,
        trail=trail,
        handling=handling,
        locks=locks,
        reading_warnings=event.axis.warnings,
        tracking=event.axis.tracking if event.axis.tracking != "unknown" else state.tracking,
    )
    return _settle(_walk_on(before, state) if state.walking else state)


def _walk_on(before: Running, state: Running) -> Running:
    """The turn in progress with this reading; it begins with the first motion after a turn was asked for."""
    handling, offset = state.handling, state.offset
    asked = handling.asked
    if handling.opened_at is None or offset is None or asked is None or state.locks.tight:
        return state if handling.walk is None else replace(state, handling=replace(handling, walk=None))
    here, sigma = screw_coordinate(state, asked.screw, offset.by_frames)
    noise = max(own_sigmas_rad(state.rest, state.shared)) * ARCMIN_PER_RAD
    walk = handling.walk or _walk_from(before, state, asked)
    walk = as_told(walk, state.now_s, handling.lead_s)  # while this frame was on its way
    walk = walked(walk, here - walk.gate_arcmin, sigma, noise, state.now_s)
    walk = as_told(walk, state.now_s, handling.lead_s)
    return replace(state, handling=replace(handling, walk=walk))


def _walk_from(before: Running, state: Running, asked: AskedTurn) -> Walk:
    opened = state.handling.opened_at
    assert opened is not None
    start, sigma = screw_coordinate(state, asked.screw, opened.by_frames)
    gate = gate_arcmin(state, asked.screw, start)
    start -= gate
    last = before.rest.last
    return Walk(
        asked.screw,
        asked.turns,
        sign_sure(state.memory(asked.screw)) >= SIGN_KNOWN,
        max(close_arcmin(state, asked.screw), ROOM_SHARE * abs(gate)),
        start,
        start,
        sigma,
        state.now_s - state.interval_s if last is None else last.at_s,
        state.interval_s,
        gate_arcmin=gate,
        creep_arcmin=max(_creep_arcmin(state, asked.screw), min(SENSE_ARCMIN, SENSE_SHARE * abs(start))),
    )


def _creep_arcmin(state: Running, screw: Screw) -> float:
    """How far the axis may still creep in a screw's coordinate after the move before, less as time goes on."""
    azimuth, altitude = state.handling.closed_arcmin
    moved = azimuth if screw is Screw.AZIMUTH else altitude
    return CREEP_SHARE * moved * math.exp(-max(state.now_s - state.handling.closed_s, 0.0) / CREEP_S)


def settled(state: Running) -> bool:
    """Whether the axis has come to rest: two readings agree, or one that came well after the last touch."""
    readings = state.rest.readings
    if not readings:
        return False
    fresh = [r for r in readings if r.at_s >= state.handling.touched_s]
    return len(fresh) >= 2 or (bool(fresh) and fresh[-1].at_s - state.handling.touched_s >= SETTLE_S)


def near(state: Running) -> bool:
    """At rest, within reach of the fine correction."""
    offset = state.offset
    return offset is not None and settled(state) and offset.total_rad <= state.plan.fine_limit_rad


def far(state: Running) -> bool:
    """At rest, well outside the fine correction."""
    offset = state.offset
    return offset is not None and settled(state) and offset.total_rad > FALL_BACK * state.plan.fine_limit_rad


def has_offset(state: Running) -> bool:
    """The axis is known and can be proved."""
    return state.offset is not None


def restart_following(state: Running, event: object) -> Outcome:
    """Begins the correction anew from the same capture."""
    return begin_following(replace(state, locks=replace(state.locks, ready=None, before=None)), event)


def report_turn(state: Running, event: ScrewTurned) -> Outcome:
    """The person says what was turned; the frames will show what it did."""
    turns = event.turns
    if turns is None:
        asked = state.handling.asked
        if asked is None or asked.screw is not event.screw:
            return state, (Refused(Objection.NO_SUCH_TURN, event.screw),)
        turns = asked.turns
    state = replace(state, locks=replace(state.locks, tight=False, ready=None, before=None))
    late = state.now_s - state.handling.closed_s <= LATE_REPORT_S
    if state.handling.unconfirmed is event.screw and not state.handling.reports and late:
        return _confirm(state, event.screw, event.turns)
    handling = state.handling if state.handling.opened_at is not None else _open(state)
    report = TurnReport(event.screw, turns, state.now_s, event.turns is not None)
    handling = replace(handling, reports=(*handling.reports, report), touched_s=state.now_s, working=event.screw)
    return replace(state, handling=handling), ()


def ask_lesson(state: Running, event: LessonAsked) -> Outcome:
    """A lesson on this screw begins; asked for while it goes on, it is over."""
    if state.lesson is not None and state.lesson.screw is event.screw:
        return replace(state, lesson=None), ()
    if lesson_over(state.memory(event.screw), state.rate(event.screw), 0):
        return state, (Refused(Objection.SCREW_KNOWN, event.screw),)
    return replace(state, lesson=Lesson(event.screw)), ()


def lock_base(state: Running, event: BaseLocked) -> Outcome:
    """Locks are tight: the next rest says what tightening did."""
    before = state.locks.ready or (state.offset if state.rest.readings else None)
    handling = replace(state.handling, touched_s=state.now_s, reports=(), opened_at=None)
    return replace(state, locks=replace(state.locks, tight=True, ready=None, before=before), handling=handling), ()


def unlock_base(state: Running, event: BaseUnlocked) -> Outcome:
    """Locks are loose. Where the eye leads, a motion before the screen asks for a turn is no answer to one."""
    asked = None if state.walking else state.handling.asked
    handling = replace(state.handling, touched_s=state.now_s, asked=asked)
    return replace(state, locks=replace(state.locks, tight=False, ready=None, before=None), handling=handling), ()


def remember_asked(state: Running) -> Running:
    """Keeps what the coach asks for now: it gives a meaning to "as told", to turns unsaid and to locks said late."""
    if state.handling.opened_at is not None or not settled(state):
        return state
    ready = state.lesson is None and (state.stop_here or locks_to_be_tried(state))
    asked_to_lock = ready and not state.locks.tight
    closed_s = state.handling.closed_s
    if asked_to_lock and (state.locks.ready is None or state.locks.ready_closed_s == closed_s):
        since_s = state.now_s if state.locks.ready is None else state.locks.ready_since_s
        locks = replace(state.locks, ready=state.offset, ready_closed_s=closed_s, ready_since_s=since_s)
        state = replace(state, locks=replace(locks, as_trial=not state.stop_here))
    if asked_to_lock and _still_at_the_screw(state):
        return state
    turn = None if asked_to_lock or at_the_locks(state) else next_turn(state)
    asked = AskedTurn(turn.screw, turn.plan.turns) if turn else None
    return state if asked == state.handling.asked else replace(state, handling=replace(state.handling, asked=asked))


def _still_at_the_screw(state: Running) -> bool:
    """Whether a motion now would be of the screw that was asked for before the locks were."""
    return state.walking and state.locks.ready is not None and state.now_s - state.locks.ready_since_s < QUICK_S


def at_the_locks(state: Running) -> bool:
    """Whether hands that were asked to tighten the locks move the axis, and have not said yet that they did."""
    locks, handling = state.locks, state.handling
    moved = handling.opened_at is not None or handling.closed_s > locks.ready_closed_s
    since_s = state.now_s - max(handling.touched_s, handling.closed_s)
    asked = state.walking and locks.ready is not None and not locks.tight
    return asked and moved and since_s < AT_THE_LOCKS_S


def _open(state: Running) -> Handling:
    """A move begins from the present rest."""
    rest = rest_offset(state.rest, state.shared) or state.offset
    return replace(
        state.handling, opened_at=rest, opened_sigmas_rad=own_sigmas_rad(state.rest, state.shared), unconfirmed=None
    )


def _settle(state: Running) -> Outcome:
    """Closes what has come to rest: a lock, a move."""
    if not settled(state):
        return state, ()
    state, measured = _measure_lock(state)
    handling = state.handling
    here = rest_offset(state.rest, state.shared)
    if handling.opened_at is None or here is None:
        return state, measured
    if _crept(state, handling.opened_at, here):
        return replace(state, handling=replace(handling, opened_at=None)), measured
    if _walk_goes_on(state, handling.opened_at, here):
        return replace(state, handling=replace(handling, reports=())), measured  # a pause
    if not _displaced(state, handling.opened_at, here):
        return _nothing_moved(state)
    return _close(state, handling.opened_at, here)


def _walk_goes_on(state: Running, opened: Offset, here: Offset) -> bool:
    """Whether a turn in progress has more to do, and nobody has told what was turned; an axis that went away and came
    back has shown a way that is not to be forgotten, not even for a number that belongs to no motion."""
    walk, reports = state.handling.walk, state.handling.reports
    if walk is None or walk.arrived or (reports and not _tells_nothing(state, walk)):
        return False
    if not walk.first and not _displaced(state, opened, here):
        return False
    start, end = state.angles(opened), state.angles(here)
    return _own_motion(state, walk.screw, start, end, walk.travelled_arcmin)  # not that of another screw


def _measure_lock(state: Running) -> Outcome:
    """What tightening the locks did, and where to aim before tightening them the next time."""
    before, here = state.locks.before, rest_offset(state.rest, state.shared)
    if not state.locks.tight or before is None or here is None:
        return state, ()
    shift = (here.east_rad - before.east_rad, here.up_rad - before.up_rad)
    sigmas = own_sigmas_rad(state.rest, state.shared)
    clear = math.hypot(shift[0] / sigmas[0], shift[1] / sigmas[1]) > 4.0
    aim = (-shift[0], -shift[1]) if clear else (0.0, 0.0)
    handling = replace(state.handling, opened_at=None, reports=(), unconfirmed=None)
    memory = state.locks.memory.with_shift(state.angles(before), state.angles(here))
    locks = replace(state.locks, before=None, shift_rad=shift, aim_rad=aim, memory=memory)
    return replace(state, locks=locks, handling=handling), (SaveLocks(memory),)


def _crept(state: Running, before: Offset, here: Offset) -> bool:
    """Whether only what friction held back has followed a turn led by the eye: that is no move of its own, and no
    hand on the locks."""
    handling = state.handling
    if not state.walking or handling.reports or handling.walk or state.now_s - handling.closed_s > QUICK_S:
        return False
    start, end = state.angles(before), state.angles(here)
    noise = MOVED_SIGMA * max(_difference_sigmas(state)) * ARCMIN_PER_RAD
    sideways, upward = abs(end.bearing_arcmin - start.bearing_arcmin), abs(end.height_arcmin - start.height_arcmin)
    sideways *= math.cos(state.plan.pole_altitude_rad)
    return (
        sideways <= _creep_arcmin(state, Screw.AZIMUTH) + noise
        and upward <= _creep_arcmin(state, Screw.ALTITUDE) + noise
    )


def _displaced(state: Running, before: Offset, here: Offset) -> bool:
    sigmas = _difference_sigmas(state)
    return math.hypot((here.east_rad - before.east_rad) / sigmas[0], (here.up_rad - before.up_rad) / sigmas[1]) > 5.0


def _difference_sigmas(state: Running) -> tuple[float, float]:
    """Sigma of the present rest minus the one before the move, east and up, rad."""
    now, before = own_sigmas_rad(state.rest, state.shared), state.handling.opened_sigmas_rad
    return math.hypot(now[0], before[0]), math.hypot(now[1], before[1])


def _nothing_moved(state: Running) -> Outcome:
    """At rest where it was: after a while a reported turn was lost in backlash, or the screw is not engaged."""
    since = [r for r in state.rest.readings if r.at_s >= state.handling.touched_s]
    if state.handling.reports and (
        len(since) < STILL_READINGS or since[-1].at_s - state.handling.touched_s < STILL_S
    ):
        return state, ()
    here, before = rest_offset(state.rest, state.shared), state.handling.opened_at
    assert here is not None and before is not None
    return _close(state, before, here)


def _close(state: Running, before: Offset, here: Offset) -> Outcome:
    """The move is over: learn from it and count it."""
    start, end = state.angles(before), state.angles(here)
    reports, walk = state.handling.reports, state.handling.walk
    sums = {} if _told_both_ways(reports, walk) else _reported(state.handling)
    sure = bool(sums)
    if not sums:
        sums = _unsaid(state, start, end) if walk is None else _seen(state, walk, start, end)
    effects: list[Effect] = []
    for screw, turns in sums.items():
        read_off = sure and all(report.read_off for report in reports if report.screw is screw)
        guessed = walk is not None and not sure
        state, effect = _learn(state, screw, ScrewMove(turns, 0.0, 0.0, 0.0, sure, read_off, guessed), start, end)
        effects.append(effect)
    state = _lesson_on(state, sums)
    handling = _count(state.handling, sums)
    if sure and len(sums) == 1:
        handling = _with_path(handling, next(iter(sums)), before, here, max(_difference_sigmas(state)))
    if sums:
        handling = replace(handling, unconfirmed=None if sure or walk is not None else next(iter(sums)))
        state = replace(state, locks=replace(state.locks, ready=None))
    return replace(
        state,
        handling=replace(
            _led(handling),
            opened_at=None,
            reports=(),
            asked=None,
            closed_s=state.now_s,
            closed_arcmin=(
                abs(end.bearing_arcmin - start.bearing_arcmin),
                abs(end.height_arcmin - start.height_arcmin),
            ),
        ),
    ), tuple(effects)


def _led(handling: Handling) -> Handling:
    """The turn in progress is over: what it ran on beyond the stop counts for the next."""
    if handling.walk is None:
        return handling
    return replace(handling, walk=None, lead_s=lead_after(handling.lead_s, handling.walk))


def _seen(state: Running, walk: Walk, start: ScrewAngles, end: ScrewAngles) -> dict[Screw, float]:
    """The direction of a turn that nobody told. The first motion shows it: later ones only answer what was said."""
    if not walk.first or not _own_motion(state, walk.screw, start, end):
        return {}
    moved = _coordinate(walk.screw, end) - _coordinate(walk.screw, start)
    net = -math.copysign(1.0, moved * walk.side)
    return {walk.screw: walk.asked * walk.first * net}


def _tells_nothing(state: Running, walk: Walk) -> bool:
    """Whether a number that was told teaches less than the walk itself: neither a rate nor a way."""
    return _told_both_ways(state.handling.reports, walk) and sign_sure(state.memory(walk.screw)) < SIGN_KNOWN


def _told_both_ways(reports: Sequence[TurnReport], walk: Walk | None) -> bool:
    """Whether the axis had gone both ways when it was told how far: then no number belongs to the motion seen."""
    return walk is not None and walk.doubted_s > 0.0 and any(report.at_s > walk.doubted_s for report in reports)


def _coordinate(screw: Screw, angles: ScrewAngles) -> float:
    return angles.bearing_arcmin if screw is Screw.AZIMUTH else angles.height_arcmin


def _lesson_on(state: Running, sums: dict[Screw, float]) -> Running:
    """Counts a turn of the lesson, and ends it once it has taught enough."""
    lesson = state.lesson
    if lesson is None or lesson.screw not in sums:
        return state
    memory = state.memory(lesson.screw)
    made = lesson.made + (0 if learn(memory.without_last()) is None else 1)  # the trial comes before the lesson
    over = lesson_over(memory, state.rate(lesson.screw), made)
    return replace(state, lesson=None if over else replace(lesson, made=made))


def _with_path(handling: Handling, screw: Screw, before: Offset, here: Offset, sigma_rad: float) -> Handling:
    """Remembers which way a reported turn of one screw moved the axis."""
    moved = (here.east_rad - before.east_rad, here.up_rad - before.up_rad)
    path = screw_path(screw is Screw.AZIMUTH, *moved, sigma_rad)
    return handling if path is None else replace(handling, paths=with_path(handling.paths, path))


def _reported(handling: Handling) -> dict[Screw, float]:
    sums: dict[Screw, float] = {}
    for report in handling.reports:
        sums[report.screw] = sums.get(report.screw, 0.0) + report.turns
    return {screw: turns for screw, turns in sums.items() if turns}


def _unsaid(state: Running, start: ScrewAngles, end: ScrewAngles) -> dict[Screw, float]:
    """The turn that was asked for, if the axis moved as that screw moves it."""
    asked = state.handling.asked
    if asked is None or not asked.turns or state.locks.tight:
        return {}
    return {asked.screw: asked.turns} if _own_motion(state, asked.screw, start, end) else {}


def _own_motion(
    state: Running, screw: Screw, start: ScrewAngles, end: ScrewAngles, travelled_arcmin: float = 0.0
) -> bool:
    """Whether the axis moved as this screw moves it; `travelled_arcmin`: so far it has been away on the way, which
    another screw brings about by going farther itself."""
    shrink = math.cos(state.plan.pole_altitude_rad)
    sideways = abs(end.bearing_arcmin - start.bearing_arcmin) * shrink
    upward = abs(end.height_arcmin - start.height_arcmin)
    own, other = (sideways, upward) if screw is Screw.AZIMUTH else (upward, sideways)
    travelled_arcmin *= shrink if screw is Screw.AZIMUTH else 1.0
    return other <= max(OWN_DIRECTION * own, travelled_arcmin)


def _learn(
    state: Running, screw: Screw, said: ScrewMove, start: ScrewAngles, end: ScrewAngles
) -> tuple[Running, Effect]:
    """Adds the move from `start` to `end` that `said` tells the turn of to the memory."""
    sigmas = _difference_sigmas(state)
    if screw is Screw.AZIMUTH:
        sigma = sigmas[0] * ARCMIN_PER_RAD / state.plan.bearing_share
        before, after = start.bearing_arcmin, end.bearing_arcmin
        move = replace(said, before_arcmin=before, after_arcmin=after, sigma_arcmin=sigma)
        memory = state.azimuth.with_move(move)
        return replace(state, azimuth=memory), SaveScrew(screw, memory)
    before, after = start.height_arcmin, end.height_arcmin
    move = replace(said, before_arcmin=before, after_arcmin=after, sigma_arcmin=sigmas[1] * ARCMIN_PER_RAD)
    memory = state.altitude.with_move(move)
    return replace(state, altitude=memory), SaveScrew(screw, memory)


def _count(handling: Handling, sums: dict[Screw, float]) -> Handling:
    """Counts turns, and goes: turns of one screw in one direction, one after the other, are one go."""
    for screw, turns in sums.items():
        direction = math.copysign(1.0, turns)
        same = handling.last_turned is screw and handling.direction == direction
        handling = replace(
            handling,
            working=screw,
            last_turned=screw,
            direction=direction,
            turns_made=handling.turns_made + 1,
            goes=handling.goes + (0 if same else 1),
        )
    return handling


def _confirm(state: Running, screw: Screw, turns: float | None) -> Outcome:
    """A late report: the turn was seen already and taken as advised; now it has a number."""
    memory = state.memory(screw)
    last = memory.moves[-1] if memory.moves else None
    handling = replace(state.handling, unconfirmed=None)
    if last is None or last.sure:
        return replace(state, handling=handling), ()
    said = replace(last, turns=last.turns if turns is None else turns, sure=True, read_off=turns is not None)
    better = memory.without_last().with_move(said)
    state = replace(state, handling=handling)
    state = replace(state, azimuth=better) if screw is Screw.AZIMUTH else replace(state, altitude=better)
    return state, (SaveScrew(screw, better),)
