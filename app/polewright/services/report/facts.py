"""What happened in a night, gathered from its log by going through the same steps as the night did."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from polewright.core.errors import RecordingError
from polewright.core.flexure import Flexure
from polewright.core.flexure_memory import NightBend
from polewright.core.model import Camera, Site, TargetPole, Utc
from polewright.core.night.advise import spoiled_by_a_rotation
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import (
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    BaseLocked,
    FrameSolved,
    FrameUnsolved,
    NightStarted,
    RigMended,
    ScrewTurned,
    TripodBumped,
)
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import NightState, Running, Stage, Waiting
from polewright.core.night.table import step
from polewright.core.night.witness import told_offset, tonights_bend, witnessed_offset
from polewright.core.offset import Offset, probability_inside
from polewright.core.plan.tonight import Planned
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewMove, ScrewRate
from polewright.services.log_format import LoggedEvent
from polewright.services.night_log import NightLog
from polewright.services.program_log import LOG
from polewright.words.frames import frame_words

EVENT_KIND = "event"
DRIFT_KIND, VIGIL_KIND = "drift_proof", "vigil_shift"
GAP_FRAMES = 2  # so many unusable frames in a row make a gap


@dataclass(frozen=True)
class Reading:
    """One word on the axis: when, from what ("capture", "frame", "proof"), offset and sigmas, the frame behind it."""

    t_s: float
    utc: Utc
    source: str
    stage: str
    offset: Offset
    frame: PlacedFrame | None = None


@dataclass(frozen=True)
class Deed:
    """Something a hand did, as reported: a turn of a screw, or anything else to the mount (None)."""

    t_s: float
    screw: Screw | None = None
    turns: float | None = None


@dataclass(frozen=True)
class Gap:
    """A time without usable frames, and why."""

    from_s: float
    to_s: float
    frames: int
    reason: str


@dataclass(frozen=True)
class StageSpan:
    """How long a stage lasted."""

    name: str
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Proven:
    """The alignment was proved at this moment, and how far off it was."""

    utc: Utc
    offset: Offset


@dataclass
class NightFacts:
    """Everything the report tells.

    `aligned_s`: when the alignment was proved or accepted, None if it never was. `by_drift`: the drift of the stars
    was watched last, and not a second turn of the RA axis. `proven`: the latest proof, `moved`: when the mount was
    moved after it, first; `measured_since`: whether the axis was measured after that.
    """

    name: str = ""
    rig: str = ""
    started: Utc | None = None
    site: Site | None = None
    clock_ahead_s: float = 0.0  # taken off the frames' times, by the last word
    target: TargetPole | None = None
    tolerance_rad: float = 0.0
    imaging: Planned | None = None
    readings: list[Reading] = field(default_factory=list)
    deeds: list[Deed] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    stages: list[StageSpan] = field(default_factory=list)
    frames_solved: int = 0
    frames_unsolved: int = 0
    camera: Camera | None = None
    moves: dict[str, tuple[ScrewMove, ...]] = field(default_factory=dict)
    rates: dict[str, ScrewRate | None] = field(default_factory=dict)
    final: Offset | None = None
    proved: bool = False
    by_drift: bool = False
    accepted: bool = False
    aligned_s: float | None = None
    proven: Proven | None = None
    moved: Utc | None = None
    measured_since: bool = False
    ended_s: float = 0.0
    lock_shift_rad: tuple[float, float] | None = None
    flexure: Flexure | None = None
    bend: NightBend | None = None
    drift: list[dict[str, object]] = field(default_factory=list)
    shifts: list[dict[str, object]] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    @property
    def inside(self) -> float | None:
        """Probability that the final error is inside the tolerance."""
        return probability_inside(self.final, self.tolerance_rad) if self.final and self.tolerance_rad else None

    @property
    def first(self) -> Reading | None:
        """The first measurement of the axis."""
        return next((r for r in self.readings if r.source == "capture"), None)


def gather(log: NightLog, name: str) -> NightFacts:
    """The facts of a log; what cannot be understood is named in `problems` and left out. RecordingError if nothing is
    left: a log without a beginning."""
    facts = NightFacts(name=name, problems=list(log.problems))
    state: NightState = Waiting()
    bad: list[tuple[float, FrameUnsolved]] = []
    for line in log.events:
        facts.ended_s = max(facts.ended_s, line.t_s)
        if line.kind in (DRIFT_KIND, VIGIL_KIND):
            (facts.drift if line.kind == DRIFT_KIND else facts.shifts).append({"t_s": line.t_s, **line.data})
            if line.kind == VIGIL_KIND:
                _note_move(facts, line.utc)
        if line.kind != EVENT_KIND:
            continue
        try:
            event = event_from_plain(line.data)
        except RecordingError as error:
            facts.problems.append(f"Line {line.seq}: {error}")
            continue
        before = state
        try:
            if not (_watched(before) and isinstance(event, FrameSolved)):  # the log has the shifts: no need
                state, _ = step(state, event)  # to look for them again
        except Exception as error:  # numbers that cannot stand beside each other: the record is at fault
            LOG.warning("line %d of %s cannot be taken", line.seq, name, exc_info=error)
            facts.problems.append(f"Line {line.seq}: it does not fit the lines before it.")
            continue
        _note(facts, before, state, line, event)
        if not (isinstance(event, FrameUnsolved) and isinstance(state, Running) and spoiled_by_a_rotation(state)):
            bad = _note_gap(facts, bad, line.t_s, event)
    _close_gap(facts, bad)
    if facts.started is None or isinstance(state, Waiting):
        raise RecordingError(f"The night {name} never began: there is nothing to report.")
    _finish(facts, state)
    return facts


def _note(facts: NightFacts, before: NightState, state: NightState, line: LoggedEvent, event: AnyEvent) -> None:
    stage = state.stage.value
    if isinstance(event, NightStarted) and facts.started is None:
        facts.started, facts.site, facts.target = line.utc, event.site, event.target
        facts.rig, facts.flexure = event.rig, event.flexure  # expected; the plan holds what tonight taught by the end
    elif isinstance(event, RigMended):
        facts.rig, facts.flexure = event.rig, event.flexure
    if state.plan is not None:
        facts.site, facts.clock_ahead_s = state.plan.site, state.plan.clock_ahead_s
        facts.tolerance_rad, facts.target = state.plan.tolerance_rad, state.plan.target
        facts.imaging = state.plan.imaging
    if not facts.stages or facts.stages[-1].name != stage:
        facts.stages.append(StageSpan(stage, line.t_s, line.t_s))
    facts.stages[-1] = StageSpan(stage, facts.stages[-1].from_s, line.t_s)
    if isinstance(event, FrameSolved):
        facts.frames_solved += 1
        if not _watched(state):  # the imaging run may have another camera
            facts.camera = event.frame.camera
    elif isinstance(event, FrameUnsolved):
        facts.frames_unsolved += 1
    elif isinstance(event, AxisMeasured):
        axis = event.axis
        offset = Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2, len(axis.frames))
        source = "proof" if before.stage.value == "proof" else "capture"
        facts.readings.append(Reading(line.t_s, line.utc, source, before.stage.value, offset, state.last_frame))
    elif isinstance(event, AxisFollowed):
        followed = event.axis
        offset = Offset(followed.east_rad, followed.up_rad, followed.covariance_rad2)
        frame = state.last_frame if state.last_frame and state.last_frame.name == event.frame else None
        facts.readings.append(Reading(line.t_s, line.utc, "frame", stage, offset, frame))
    elif isinstance(event, ScrewTurned):
        asked = before.handling.asked if isinstance(before, Running) else None
        turns = event.turns if event.turns is not None else (asked.turns if asked else None)
        facts.deeds.append(Deed(line.t_s, event.screw, turns))
    elif isinstance(event, BaseLocked | TripodBumped):
        facts.deeds.append(Deed(line.t_s))
    _note_proof(facts, before, state, line, event)
    if not state.aligned:
        facts.aligned_s = None
    elif facts.aligned_s is None:
        facts.aligned_s = line.t_s


def _note_proof(facts: NightFacts, before: NightState, state: NightState, line: LoggedEvent, event: AnyEvent) -> None:
    """A proof, what ended it, what it told of the bending, and whether the axis was measured since."""
    if isinstance(event, AxisMeasured) and isinstance(before, Running) and before.stage is Stage.PROOF:
        told = tonights_bend(replace(before, proof=replace(before.proof, axis=event.axis)))
        facts.bend = facts.bend if told is None else told
    if isinstance(event, TripodBumped):
        _note_move(facts, line.utc)
    elif isinstance(event, AxisMeasured | AxisFollowed) and facts.moved is not None:
        facts.measured_since = True
    if isinstance(state, Running) and state.proved and not (isinstance(before, Running) and before.proved):
        offset = told_offset(state)
        facts.proven = None if offset is None else Proven(line.utc, offset)
        facts.moved, facts.measured_since = None, False


def _note_move(facts: NightFacts, utc: Utc) -> None:
    if facts.proven is not None and facts.moved is None:
        facts.moved = utc


def _watched(state: NightState) -> bool:
    return isinstance(state, Running) and state.watching is not None


def _note_gap(
    facts: NightFacts, bad: list[tuple[float, FrameUnsolved]], t_s: float, event: AnyEvent
) -> list[tuple[float, FrameUnsolved]]:
    if isinstance(event, FrameUnsolved):
        return [*bad, (t_s, event)]
    if isinstance(event, FrameSolved):
        _close_gap(facts, bad, t_s)
        return []
    return bad


def _close_gap(facts: NightFacts, bad: list[tuple[float, FrameUnsolved]], until_s: float | None = None) -> None:
    if len(bad) >= GAP_FRAMES:
        end = until_s if until_s is not None else bad[-1][0]
        facts.gaps.append(Gap(bad[0][0], end, len(bad), frame_words(bad[-1][1].why).reason))


def _finish(facts: NightFacts, state: Running) -> None:
    facts.proved, facts.accepted = state.proved, state.accepted
    facts.by_drift = state.drift is not None
    facts.final = told_offset(state) if state.proved else witnessed_offset(state) or state.offset
    facts.lock_shift_rad = state.locks.shift_rad
    for screw in Screw:
        facts.moves[screw.value] = state.memory(screw).moves
        facts.rates[screw.value] = state.rate(screw)
