"""Judges the orders of a rehearsed night by the truth: whether any sends the hand away from the aim."""

from __future__ import annotations

import math

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.night.advice import LocksWanted, Reason, ScrewLeft, Walking
from polewright.core.night.states import Running, Stage
from polewright.core.screws.angles import Screw
from polewright.core.screws.learning import sign_sure
from polewright.core.screws.plan import SIGN_KNOWN, TurnKind
from polewright.core.screws.walk import Cue, Walk
from polewright.practice.world import RehearsalWorld, TrueOffset
from polewright.runtime.engine import NightEngine

SURE_SIGMAS, SLACK_ARCMIN = 4.0, 0.5  # less than this on the wrong side is nobody's fault


class Judge:
    """Attributes: `contrary_orders`; `overshoot_arcsec`, one a turn of the fine correction; `screw_minutes`;
    `claimed`, the truth when the program said that the axis is proved, None before: a tripod may be kicked later."""

    def __init__(self, world: RehearsalWorld, engine: NightEngine) -> None:
        self._world = world
        self._order: tuple[Screw, float] | None = None
        self._walk: Walk | None = None
        self._furthest = 0.0
        self._first_s = self._last_s = math.nan
        self.contrary_orders = 0
        self.overshoot_arcsec: list[float] = []
        self.claimed: TrueOffset | None = None
        engine.listen(self._look)

    @property
    def screw_minutes(self) -> float:
        """From the first instruction at a screw to the last time the locks were asked for."""
        return (self._last_s - self._first_s) / 60.0

    def _look(self, engine: NightEngine) -> None:
        state, why = engine.state, engine.advice.reason
        if not isinstance(state, Running):
            return
        self._time(why, engine.now_s())
        if not state.proved:
            self.claimed = None
        elif self.claimed is None:
            self.claimed = self._world.true_offset(state.plan.target)
        self._order_given(state, why)
        self._overshoot(state)

    def _time(self, why: Reason, now_s: float) -> None:
        if isinstance(why, ScrewLeft) and math.isnan(self._first_s):
            self._first_s = now_s
        if isinstance(why, LocksWanted):
            self._last_s = now_s

    def _order_given(self, state: Running, why: Reason) -> None:
        """A new order is held against the truth; the same one again is not."""
        order = _ordered(state, why)
        if order is None or order == self._order:
            self._order = order if order is not None or state.handling.walk is None else self._order
            return
        flips = self._order is not None and self._order[0] is order[0] and state.handling.walk is not None
        self._order = order
        self.contrary_orders += self._contrary(state, *order) or (flips and not self._crossed(state))

    def _contrary(self, state: Running, screw: Screw, way: float) -> bool:
        mount = self._world.rig.mount
        rates = mount.turn_worth_arcmin(self._world.rig.seconds(self._world.now()))
        left, sigma = self._left_arcmin(state, screw)
        rate = rates[0 if screw is Screw.AZIMUTH else 1]
        return abs(left) > SURE_SIGMAS * sigma + SLACK_ARCMIN and way * rate * left > 0.0

    def _crossed(self, state: Running) -> bool:
        return state.handling.walk is not None and state.handling.walk.crossed

    def _left_arcmin(self, state: Running, screw: Screw) -> tuple[float, float]:
        """What is truly left of the screw's coordinate against the aim, to first order; the program's sigma."""
        truth = self._world.true_offset(state.plan.target)
        east, up = state.aim_rad
        offset = state.offset
        covariance = offset.covariance_rad2 if offset is not None else ((0.0, 0.0), (0.0, 0.0))
        if screw is Screw.ALTITUDE:
            return truth.up_arcmin - up * ARCMIN_PER_RAD, math.sqrt(covariance[1][1]) * ARCMIN_PER_RAD
        shrink = state.plan.bearing_share
        left = state.plan.side * (truth.east_arcmin - east * ARCMIN_PER_RAD) / shrink
        return left, math.sqrt(covariance[0][0]) * ARCMIN_PER_RAD / shrink

    def _overshoot(self, state: Running) -> None:
        """The furthest beyond the aim while a turn is in progress, of those that came to it."""
        walk = state.handling.walk
        if walk is not None:
            left, _ = self._left_arcmin(state, walk.screw)
            self._furthest = max(self._furthest if self._walk is not None else 0.0, -walk.side * left)
        elif self._walk is not None and self._walk.arrived and state.stage is Stage.FINE:
            scale = math.cos(state.plan.pole_altitude_rad) if self._walk.screw is Screw.AZIMUTH else 1.0
            self.overshoot_arcsec.append(round(self._furthest * scale / ARCMIN_PER_RAD * ARCSEC_PER_RAD, 2))
        self._walk = walk


def _unsure(state: Running, why: ScrewLeft) -> bool:
    """Whether the order leaves open which way the marker will go: "until it moves", by one look so far."""
    return why.seek and sign_sure(state.memory(why.screw)) < SIGN_KNOWN


def _ordered(state: Running, why: Reason) -> tuple[Screw, float] | None:
    """The screw and the way of an order; None where there is none, or nobody can know the way yet."""
    if isinstance(why, ScrewLeft):
        known = why.kind in (TurnKind.APPROACH, TurnKind.FINISH, TurnKind.TOUCH) and not _unsure(state, why)
        past = why.kind is TurnKind.APPROACH and why.screw is Screw.ALTITUDE and state.lesson is not None
        return (why.screw, math.copysign(1.0, why.turns)) if known and not past else None
    if isinstance(why, Walking) and why.cue not in (Cue.STOP, Cue.SLOWER) and why.sure_way:
        return why.screw, math.copysign(1.0, why.turns)
    return None
