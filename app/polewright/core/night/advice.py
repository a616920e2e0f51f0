"""What the coach says, as values. One leading reason with its numbers decides, and all else follows from it.

Action and mood are functions of the reason (here), instruction, why and gain as well (words/coach.py): they cannot
contradict each other. `Advice.errand` stays equal as long as the same thing is asked for: whoever follows the advice
acts once per errand.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import assert_never

from polewright.core.axis_reasons import AxisRefusal, FollowDoubt, FramesApart
from polewright.core.drift.compare import Comparison
from polewright.core.drift.plan import DriftPosition
from polewright.core.drift.reading import DriftReading, Side
from polewright.core.drift.reasons import DriftDoubt, DriftRefusal, Sign
from polewright.core.night.states import Stage
from polewright.core.offset import Offset
from polewright.core.plan.sky_choice import SkyChoice
from polewright.core.screws.angles import Screw
from polewright.core.screws.plan import TurnKind
from polewright.core.screws.walk import Cue
from polewright.core.unsolved import FrameReason, FrameTrouble, exposure_factor, trouble_of
from polewright.core.vigil.watch import SETTLED_RAD_H, Shift

# what to do


class Contradiction(Enum):
    """What is likely to have come between two turns of the RA axis."""

    SAG = auto()  # the tube sinks
    PULL = auto()  # something tugs at the declination axis: cables, a plate
    FLOP = auto()  # something tips over when the telescope is turned over: a mirror, a tube in its rings
    TRIPOD = auto()  # the tripod settles
    WOBBLE = auto()  # the RA axis wobbles in its bearing
    CLUTCH = auto()  # the declination clutch slips


class Mood(Enum):
    """What kind of sentence it is."""

    DO = "do"  # something to do with the hands, now
    WAIT = "wait"  # hands off: something settles or is being measured
    GOOD = "good"  # reached
    TROUBLE = "trouble"  # something is in the way; the sentence names the cure


class Do(Enum):
    """What needs no number."""

    LOCK = auto()  # tighten the locks of the base
    UNLOCK = auto()  # loosen the locks of the base
    REFOCUS = auto()  # look after the focus
    TIGHTEN_CLUTCH = auto()  # tighten the declination clutch, then restart the stage
    GO_ON = auto()  # say that this stage is done
    START_AGAIN = auto()  # restart the stage
    ACCEPT = auto()  # say that the alignment is taken as it is
    GO_BACK = auto()  # go back one stage
    RESUME = auto()  # say that it goes on
    RESTORE_FOLDER = auto()  # bring the frame folder back
    ENTER_SITE = auto()  # say where the mount stands
    ANSWER = auto()  # say whether guiding is off
    NUDGE = auto()  # nudge the declination, and say so
    MEASURE_AGAIN = auto()  # the mount was moved meanwhile: say that it was bumped, and measure anew


@dataclass(frozen=True)
class Turn:
    """Turn a screw by `turns`, clockwise positive as seen by the hand."""

    screw: Screw
    turns: float


@dataclass(frozen=True)
class RotateAxis:
    """Rotate the RA axis; west is positive (the hour angle grows), in both hemispheres. Degrees."""

    west_deg: float


@dataclass(frozen=True)
class Point:
    """Point the telescope, tracking on: hour angle in hours, west positive, and declination in degrees."""

    hour_angle_h: float
    declination_deg: float


@dataclass(frozen=True)
class Wait:
    """Hands off for so long; None: until the next frame. `of_s`: how long the whole wait is; None: settling."""

    seconds: float | None = None
    of_s: float | None = None


@dataclass(frozen=True)
class SetUp:
    """Stand the mount up: true bearing of the upper end of the axis, and its inclination, degrees. Then Next."""

    bearing_deg: float
    inclination_deg: float


@dataclass(frozen=True)
class Expose:
    """Change the exposure by this factor."""

    factor: float


@dataclass(frozen=True)
class Done:
    """Nothing more to do. `proved`: by a second turn of the RA axis, or by drift."""

    proved: bool


Action = Do | Turn | RotateAxis | Point | Wait | SetUp | Expose | Done

# why: before any stage, and over every stage


class Plainly(Enum):
    """Reasons that need no number."""

    SITE_UNKNOWN = auto()  # nothing can begin before the site is known
    PAUSED = auto()  # the person wants no frames taken in for now
    AXIS_UNKNOWN = auto()  # there is no axis to bring anywhere
    FRAME_AWAITED = auto()  # the first frame to follow the axis by has not come
    NOT_TRACKING = auto()  # the stars run over the frames
    ROTATING = auto()  # the RA axis is being turned, as asked
    MEASURING = auto()  # frames have come, but they take long to measure


@dataclass(frozen=True)
class FolderGone:
    """The frame folder cannot be reached; what the watcher says about it."""

    reason: str


@dataclass(frozen=True)
class Clouds:
    """The stars were there before, and have been gone for so long; `turned`: since the telescope was turned away."""

    since_s: float
    turned: bool = False


@dataclass(frozen=True)
class NothingThere:
    """The stars are gone since the telescope was turned or pointed as asked: `back` leads to where they were."""

    back: RotateAxis | Point


@dataclass(frozen=True)
class FramesFail:
    """Frames cannot be used, for this reason."""

    why: FrameReason
    stage: Stage


# why: orientation


@dataclass(frozen=True)
class NotUpYet:
    """The mount is to be stood up so; within two degrees is enough."""

    inclination_deg: float
    southern: bool


# why: turning the RA axis, for the capture or for the proof


@dataclass(frozen=True)
class TurnBegins:
    """No frame yet. `sky`: where to begin, None where that is settled."""

    stage: Stage
    sky: SkyChoice | None


@dataclass(frozen=True)
class DoesNotFit:
    """A frame does not fit the others; None: of so many places no two agree."""

    stage: Stage
    frame: str | None
    places: int


@dataclass(frozen=True)
class NotOneCapture:
    """The frames of the turn do not belong together, whatever else is done."""

    stage: Stage
    why: FramesApart


@dataclass(frozen=True)
class NoRoom:
    """The RA axis has no room to turn."""

    stage: Stage


@dataclass(frozen=True)
class PlaceWanted:
    """Another place of the turn: so many there are, known to so much (None: no axis yet, `refusal` says why), which
    the step would bring to `sigma_after_rad`. `other_sky`: a proof by the sky of the capture shares its flexure.
    `left_out`: the first place was, as none of this turn."""

    stage: Stage
    west_deg: float
    places: int
    tolerance_rad: float
    sigma_rad: float | None = None
    sigma_after_rad: float | None = None
    refusal: AxisRefusal | None = None
    other_sky: bool = False
    left_out: bool = False


# why: the proof by a second turn


@dataclass(frozen=True)
class ElsewhereWanted:
    """The second turn is to begin at another place of the sky. `here_deg`: the declination of the camera now;
    `toward_pole_deg`: how far the declination axis is to be moved, toward the elevated pole positive. `third`: two
    skies agree, and leave it open how the tube bends."""

    hour_angle_h: float
    declination_deg: float
    here_deg: float
    toward_pole_deg: float
    third: bool = False


@dataclass(frozen=True)
class ProofContradicts:
    """The two turns differ by `apart_rad`, more than what usually bends. `bend_rad`: the sag, or the pull per radian,
    that explains it, where that is the cause; the correction goes on from `offset`."""

    cause: Contradiction
    apart_rad: float
    bend_rad: float
    offset: Offset
    tolerance_rad: float


@dataclass(frozen=True)
class ProofLimited:
    """The two turns agree, and neither screws nor more places make more of it: what is left uncertain, and by what.
    `one_sky`: the second turn saw the sky of the first, and a bending tube would not show. `reach_rad`: the smallest
    tolerance that the two could prove."""

    sigma_rad: float
    bending_rad: float
    reach_rad: float
    tolerance_rad: float
    one_sky: bool
    nights: int


@dataclass(frozen=True)
class FloorReached:
    """The turns of the RA axis scatter by more than tonight's tolerance bears: with the axis at its very best, this
    mount is sure of `floor_rad` (95 %), and more turning does not help. `proof`: known from contradictions."""

    floor_rad: float
    tolerance_rad: float
    proof: bool
    made: int = 0


# why: the screws. `made`: turns made before, so that each is asked for once


@dataclass(frozen=True)
class Settling:
    """The axis moves, or has just been touched: wait so long, 0 for the next frame."""

    left_s: float


@dataclass(frozen=True)
class Walking:
    """A turn in progress: the cue, and about how much is left, clockwise positive; `known`: that is more than the
    direction. `sure_way`: the direction is known, not only that it is the other one. `aimed`: beside the pole, as the
    locks will have it."""

    screw: Screw
    cue: Cue
    turns: float
    known: bool
    left_rad: float
    sigma_rad: float
    made: int
    sure_way: bool = False
    aimed: bool = False

    @property
    def way_told(self) -> bool:
        """Whether the direction is named; else it is set against the way in which the hand turned just now."""
        return self.sure_way or self.cue is Cue.SEEK


@dataclass(frozen=True)
class NoFrames:
    """No frame has come for so long, far longer than they usually take."""

    since_s: float
    usual_s: float


@dataclass(frozen=True)
class WeakGeometry:
    """Here the screws can hardly be seen. `doubt`: what the reading itself says."""

    west_deg: float
    sigma_rad: float
    doubt: FollowDoubt | None
    made: int


@dataclass(frozen=True)
class ScrewLeft:
    """A screw has something left to do. `kind` of turn; what is left of the error in its direction, and what the turn
    is expected to leave of that, None where nobody knows.

    `aimed`: beside the pole, by what the locks will do; `habit_rad`: because they usually do it. `lesson`: turns of a
    lesson made before, None outside one. `walking`: the eye will lead the hand; then `turns` is more than a direction
    only where it is `known`, and `seek`: nothing moves at once, or nobody knows which way; `short`: it is to end
    short of the aim.
    """

    screw: Screw
    turns: float
    kind: TurnKind
    left_rad: float
    sigma_rad: float
    share_left: float | None
    aimed: bool
    habit_rad: tuple[float, float] | None
    lesson: int | None
    made: int
    moves: int
    walking: bool = False
    known: bool = True
    seek: bool = False
    short: bool = False


@dataclass(frozen=True)
class LocksWanted:
    """The axis is where it is to be before the locks are tightened; `offset` None: nothing is left to turn."""

    offset: Offset | None
    tolerance_rad: float
    aimed: bool
    made: int


@dataclass(frozen=True)
class LocksTrial:
    """What tightening the locks does is not known."""

    made: int


@dataclass(frozen=True)
class LocksToLoosen:
    """Something is left to turn, and the locks are tight. `shift_rad`: what tightening did."""

    shift_rad: float | None
    offset: Offset
    tolerance_rad: float
    made: int


@dataclass(frozen=True)
class MoreFrames:
    """So many more frames make it sure."""

    sigma_rad: float
    frames: int
    made: int


@dataclass(frozen=True)
class CaptureTooRough:
    """What the capture leaves uncertain is too much, and no further frame mends it."""

    sigma_rad: float
    tolerance_rad: float
    made: int


@dataclass(frozen=True)
class DriftTooRough:
    """The same, known from a drift: another drift is the proof."""

    sigma_rad: float
    made: int


@dataclass(frozen=True)
class Near:
    """The axis is inside the tolerance, and that is sure, or `open` by what frames of this sky cannot show: time to
    prove it. `supposed`: that the tube bends as usual, which nothing has shown yet."""

    offset: Offset
    tolerance_rad: float
    open: bool = False
    supposed: bool = False


# why: the drift


@dataclass(frozen=True)
class TripodSettles:
    """For so long yet, of so long in all."""

    left_s: float
    whole_s: float


@dataclass(frozen=True)
class DriftDisturbed:
    """The mount was moved while it drifted: what the reading says. `nudge`: that may have been a nudge, untold."""

    doubt: DriftDoubt
    nudge: bool = False


@dataclass(frozen=True)
class ShortReach:
    """A drift can prove `reach_rad` here at best, more than tonight's `needed_rad`; `firm_rad` on firm ground, None
    where it stands on that."""

    reach_rad: float
    needed_rad: float
    firm_rad: float | None = None


@dataclass(frozen=True)
class GuidingAsked:
    """Is guiding off? `on`: the person has said that it is on. `short`: the answer leads to no proof tonight."""

    on: bool
    short: ShortReach | None = None


@dataclass(frozen=True)
class DriftGuided:
    """The frames show that something guides, whatever the person says; by this sign."""

    sign: Sign


@dataclass(frozen=True)
class NudgeWanted:
    """The drift tells all it can, and the declination may have been guided: known to `guided_rad` in all, to
    `free_rad` once a nudge has shown that it is free. `said`: it was nudged, and no frame shows it yet; `again`: nor
    ever will."""

    guided_rad: float
    free_rad: float
    said: bool
    again: bool = False


@dataclass(frozen=True)
class DriftUnsure:
    """The drift is complete, and neither confirms nor contradicts. `reach_rad`: the smallest tolerance that it could
    prove, tube and air included; watching again makes no more of it. None in records that know of the stars alone."""

    offset: Offset
    tolerance_rad: float = 0.0
    reach_rad: float | None = None


@dataclass(frozen=True)
class DriftTold:
    """The drift tells the axis. `told`: beside what was known before. `guided_too`: guiding would look like this."""

    offset: Offset
    told: Comparison | None
    proof: bool
    guided_too: bool


@dataclass(frozen=True)
class FieldWanted:
    """A field for this component; watching it takes about so long."""

    component: str
    side: Side
    place: DriftPosition
    seconds: float


@dataclass(frozen=True)
class DriftWatched:
    """So much longer of this field, of so long in all. `refusal`: why there is no reading yet."""

    left_s: float
    whole_s: float
    reading: DriftReading | None
    refusal: DriftRefusal | None


# why: the end, and the imaging run


@dataclass(frozen=True)
class Ended:
    """The alignment is proved, by drift or by a second turn; or accepted as it is."""

    proved: bool
    by_drift: bool
    offset: Offset | None
    tolerance_rad: float


@dataclass(frozen=True)
class Quiet:
    """The imaging run goes on; the mount was moved so many times before."""

    proved: bool
    moved: int


@dataclass(frozen=True)
class MountMoved:
    """The latest shift, so long ago. `left_rad`: what it leaves of the tolerance; `harmless`: all of what counts."""

    shift: Shift
    number: int
    ago_s: float
    tolerance_rad: float
    left_rad: float
    harmless: bool
    proved: bool


Turning = TurnBegins | DoesNotFit | NotOneCapture | NoRoom | PlaceWanted
Proving = ElsewhereWanted | ProofContradicts | ProofLimited | FloorReached
Locking = LocksWanted | LocksTrial | LocksToLoosen
Measuring = Settling | Walking | WeakGeometry | MoreFrames | CaptureTooRough | DriftTooRough
Doubting = GuidingAsked | DriftGuided | NudgeWanted
Drifting = TripodSettles | DriftDisturbed | DriftUnsure | DriftTold | FieldWanted | DriftWatched | Doubting
Ending = Near | Ended | Quiet | MountMoved
Overlying = NoFrames | FolderGone | Clouds | NothingThere | FramesFail
Reason = Plainly | Overlying | NotUpYet | Turning | Proving | ScrewLeft | Locking | Measuring | Drifting | Ending


@dataclass(frozen=True)
class Errand:
    """What is asked for, whatever the numbers are by now."""

    about: type
    which: tuple[object, ...] = ()


@dataclass(frozen=True)
class Advice:
    """The one thing to do now: its leading reason, and what follows from it."""

    reason: Reason

    @property
    def action(self) -> Action:
        """What to do."""
        return action_of(self.reason)

    @property
    def mood(self) -> Mood:
        """What kind of sentence it is."""
        return mood_of(self.reason)

    @property
    def errand(self) -> Errand:
        """Equal as long as the same thing is asked for."""
        return Errand(type(self.reason), _which(self.reason))


def action_of(reason: Reason) -> Action:
    """What is to be done about it."""
    match reason:
        case Plainly.SITE_UNKNOWN:
            return Do.ENTER_SITE
        case Plainly.PAUSED:
            return Do.RESUME
        case FolderGone():
            return Do.RESTORE_FOLDER
        case FramesFail(why):
            return frame_action(why)
        case NothingThere(back):
            return back
        case NotUpYet(inclination_deg, southern):
            return SetUp(180.0 if southern else 0.0, inclination_deg)
        case (
            Clouds()
            | TurnBegins()
            | Plainly.FRAME_AWAITED
            | MoreFrames()
            | Plainly.NOT_TRACKING
            | NoFrames()
            | Plainly.ROTATING
            | Plainly.MEASURING
        ):
            return Wait()
        case Settling(left_s):
            return Wait(left_s) if left_s else Wait(1.0)
        case TripodSettles(left_s, whole_s) | DriftWatched(left_s, whole_s):
            return Wait(left_s, whole_s)
        case PlaceWanted() | WeakGeometry():
            return RotateAxis(reason.west_deg)
        case DoesNotFit():
            return Do.TIGHTEN_CLUTCH
        case NotOneCapture():
            return Do.START_AGAIN
        case NoRoom(stage):
            return Do.ACCEPT if stage is Stage.PROOF else Do.START_AGAIN
        case Plainly.AXIS_UNKNOWN | CaptureTooRough():
            return Do.GO_BACK
        case ScrewLeft(screw, turns):
            return Turn(screw, turns)
        case Walking(screw, cue, turns):
            return Wait() if cue in (Cue.STOP, Cue.HANDS_OFF) else Turn(screw, turns)
        case LocksWanted() | LocksTrial():
            return Do.LOCK
        case LocksToLoosen():
            return Do.UNLOCK
        case Near() | DriftTooRough() | DriftTold():
            return Do.GO_ON
        case DriftUnsure(reach_rad=reach_rad):
            return Do.START_AGAIN if reach_rad is None else Do.ACCEPT
        case DriftDisturbed() | DriftGuided():
            return Do.START_AGAIN
        case GuidingAsked():
            return Do.ANSWER
        case NudgeWanted(said=said):
            return Wait() if said else Do.NUDGE
        case ElsewhereWanted(hour_angle_h, declination_deg):
            return Point(hour_angle_h, declination_deg)
        case ProofContradicts(cause):
            return Do.TIGHTEN_CLUTCH if cause is Contradiction.CLUTCH else Do.GO_ON
        case ProofLimited():
            return Do.ACCEPT
        case FloorReached(proof=proof):
            return Do.ACCEPT if proof else Do.GO_ON
        case FieldWanted():
            return Point(reason.place.hour_angle_h, reason.place.declination_deg)
        case Ended() | Quiet():
            return Done(reason.proved)
        case MountMoved():
            return Done(reason.proved) if reason.harmless else Do.MEASURE_AGAIN
        case _:
            assert_never(reason)


def frame_action(why: FrameReason) -> Action:
    """What is to be done about frames that cannot be used."""
    match trouble_of(why):
        case FrameTrouble.NOT_FOLLOWED:
            return Do.GO_BACK
        case FrameTrouble.OUT_OF_FOCUS:
            return Do.REFOCUS
        case FrameTrouble.NO_STARS | FrameTrouble.TOO_FEW_STARS | FrameTrouble.SATURATED:
            return Expose(exposure_factor(why))
        case (
            FrameTrouble.COVERED
            | FrameTrouble.TRAILED
            | FrameTrouble.NO_MATCH
            | FrameTrouble.NO_TIME
            | FrameTrouble.WRONG_SKY
            | FrameTrouble.UNREADABLE
        ):
            return Wait()
        case kind:
            assert_never(kind)


def mood_of(reason: Reason) -> Mood:
    """What kind of sentence goes with it."""
    match reason:
        case (
            Plainly.ROTATING
            | Plainly.MEASURING
            | Plainly.PAUSED
            | Clouds()
            | TurnBegins()
            | Plainly.FRAME_AWAITED
            | Settling()
            | MoreFrames()
        ):
            return Mood.WAIT
        case TripodSettles() | DriftWatched():
            return Mood.WAIT
        case Plainly.SITE_UNKNOWN | NotUpYet() | PlaceWanted() | WeakGeometry() | ScrewLeft():
            return Mood.DO
        case LocksWanted() | LocksTrial() | LocksToLoosen() | DriftTooRough() | DriftUnsure():
            return Mood.DO
        case DriftTold() | FieldWanted() | ElsewhereWanted():
            return Mood.DO
        case Walking(cue=cue):
            return Mood.WAIT if cue is Cue.HANDS_OFF else Mood.DO
        case Near() | Ended() | Quiet():
            return Mood.GOOD
        case NoFrames() | FolderGone() | FramesFail() | NothingThere() | DoesNotFit() | NotOneCapture() | NoRoom():
            return Mood.TROUBLE
        case Plainly.AXIS_UNKNOWN | CaptureTooRough() | ProofContradicts() | ProofLimited() | FloorReached():
            return Mood.TROUBLE
        case DriftDisturbed() | DriftGuided() | Plainly.NOT_TRACKING:
            return Mood.TROUBLE
        case GuidingAsked(on=on):
            return Mood.TROUBLE if on else Mood.DO
        case NudgeWanted(said=said):
            return Mood.WAIT if said else Mood.DO
        case MountMoved(harmless=harmless):
            return Mood.DO if harmless else Mood.TROUBLE
        case _:
            assert_never(reason)


def _which(reason: Reason) -> tuple[object, ...]:
    """Which one of its kind; most there is only one of at a time."""
    match reason:
        case Plainly():
            return (reason,)
        case FramesFail(why, stage):
            kind = trouble_of(why)
            return (kind, stage) if kind is FrameTrouble.NOT_FOLLOWED else (kind,)
        case TurnBegins(stage) | NotOneCapture(stage) | NoRoom(stage):
            return (stage,)
        case DoesNotFit(stage, frame):
            return stage, frame
        case PlaceWanted(stage, west_deg, places):
            return stage, places, west_deg > 0.0
        case Walking(screw, cue, turns):
            return screw, cue, turns > 0.0
        case ScrewLeft(screw=screw, lesson=lesson, made=made, moves=moves):
            return lesson is not None, screw, made, moves
        case WeakGeometry(made=made) | LocksWanted(made=made) | LocksTrial(made=made) | LocksToLoosen(made=made):
            return (made,)
        case MoreFrames(made=made) | CaptureTooRough(made=made) | DriftTooRough(made=made):
            return (made,)
        case FieldWanted(component, side):
            return component, side
        case DriftGuided(sign):
            return (sign,)
        case GuidingAsked(on=truth) | NudgeWanted(said=truth):
            return (truth,)
        case ElsewhereWanted(hour_angle_h, declination_deg):
            return hour_angle_h, declination_deg
        case ProofContradicts(cause):
            return (cause,)
        case FloorReached(proof=proof, made=made):
            return proof, made
        case Quiet(moved=number) | MountMoved(number=number):
            return (number,)
        case _:
            return ()


def is_settled(shift: Shift) -> bool:
    """Whether a mount that was sinking has stopped."""
    return not shift.sudden and shift.rate_rad_h < SETTLED_RAD_H
