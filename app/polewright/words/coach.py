"""What the coach says, from the one leading reason: the instruction (eight words at most), why, and what it gains.

Every sentence is calm, short, second person, verb first.
"""

from __future__ import annotations

import math
from typing import NamedTuple, assert_never

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.drift.reading import DriftReading
from polewright.core.drift.reasons import Guided, Held, NotTracking, Sign
from polewright.core.flexure_memory import LEAST_NIGHTS
from polewright.core.night import advice as it
from polewright.core.night.advice import Advice
from polewright.core.night.correction.coach import CREEP_ARCMIN, CREEP_TURNS
from polewright.core.night.states import Stage
from polewright.core.offset import Offset
from polewright.core.screws.angles import Screw
from polewright.core.screws.doable import SMALLEST_TURNS
from polewright.core.screws.lesson import MOST_TURNS
from polewright.core.screws.plan import TurnKind
from polewright.core.screws.walk import Cue
from polewright.words.axis import follow_words, refusal_words
from polewright.words.drift import comparison_words, drift_doubt_words, drift_refusal_words, guiding_words
from polewright.words.flexure import IF_USUAL
from polewright.words.frames import clouded_words, frame_gain, frame_headline, frame_words
from polewright.words.numbers import (
    angle_text,
    capital,
    clock_face_text,
    duration_text,
    is_zero,
    number_text,
    offset_words,
    sense_text,
    sigma_text,
    spread_text,
    total_text,
    turns_text,
)
from polewright.words.plan import sky_direction, sky_words
from polewright.words.screws import lock_words
from polewright.words.window import LOST_FOLDER

OVERHEAD_DEG, LEVEL_DEG = 88.0, 2.0
WORTH_SAYING = 0.75  # a turn that leaves more than this share of the error is not told as progress
WORTH_NAMING_ARCMIN = 5.0  # a component of the drift less sure than that is not told
TAKE_CARE = "The first place is measured. Rotate, then hands off; leave declination alone."
OTHER_WITNESS = "A second turn of the RA axis may prove more; so does a pier, or a larger tolerance."
OTHER_SKY = "Where more sky is free, begin this stage again: another declination shows it."
TEACHES = "Three proved nights with this rig teach what its tube does; then the same frames prove more."
TRIAL = "A trial: it shows what this screw does. Mark the head with a dot."
SEEK_TRIAL = "The first motion shows which way this screw goes."
SLACK = "The slack comes first: nothing moves for a while, then slowly."
SHORT = "The posts stand a little short: tightening the locks moves the axis, and the rest is turned the same way."
TO_THE_POSTS = "Watch the marker, not the screw: you will be told when to slow down and when to stop."
HOPELESS = "With so much scatter even hours would not be enough: expose longer, or wait for steadier air."
SETTLES = (
    "A tripod that is still settling moves the stars as a wrong axis does. On a pier, or after half an hour on"
    " firm ground, skip this."
)
LEFT_OUT = "The first place was measured before the telescope was pointed: it is left out. Leave declination alone."
NOTHING_THERE = "No stars there: turn back, something stands in the way. If you have not turned yet, wait: a cloud."
NUDGE_UNTOLD = "Was that your nudge in declination? Then nothing is lost. Say so only if it was."
BEHIND = "This computer is behind: at a first start it still learns the star patterns."
BLOCKED = "Or something stands in the way there: then turn back."
SECOND_SKY = "Another part of the sky shows whether the tube bends."
THIRD_SKY = "Two skies agree, but leave it open how the tube bends: a third decides."
LIKE_ALIGNED = "Is guiding off? A guided mount drifts like an aligned one, wherever its axis points."
FIRM_HELPS = 0.9  # of what a drift proves on soil: less is no news (chosen)
QUIET = "leave the mount alone: tracking on, guiding off in both axes."


class Told(NamedTuple):
    """One instruction, why, and what it will gain ("" where that goes without saying)."""

    instruction: str
    why: str = ""
    gain: str = ""


def say(advice: Advice) -> Told:
    """The one thing to do now, in words."""
    why = advice.reason
    match why:
        case it.Plainly():
            return _plainly(why)
        case it.FolderGone(reason):
            lost = reason or LOST_FOLDER.reason
            return Told(
                "Reconnect the frame folder.", f"{lost} Everything measured so far is kept.", LOST_FOLDER.cure
            )
        case it.NoFrames(since_s, usual_s):
            usual = f"They usually come every {number_text(usual_s)} s."
            return Told(f"No frame for {duration_text(since_s)}.", f"{usual} Check that the camera is still running.")
        case it.Clouds(since_s, turned):
            return Told(
                "Wait for the clouds to pass.", clouded_words(duration_text(since_s)), BLOCKED if turned else ""
            )
        case it.NothingThere(back):
            return Told(_back(back), NOTHING_THERE)
        case it.FramesFail(frame):
            return Told(frame_headline(frame), frame_words(frame).whole, frame_gain(frame))
        case it.NotUpYet(inclination_deg, southern):
            return _stand_up(inclination_deg, "south" if southern else "north")
        case it.TurnBegins() | it.DoesNotFit() | it.NotOneCapture() | it.NoRoom() | it.PlaceWanted():
            return _turning(why)
        case it.ElsewhereWanted() | it.ProofContradicts() | it.ProofLimited() | it.FloorReached():
            return _proving(why)
        case it.ScrewLeft():
            told = _begin_walk(why) if why.walking else _turn(why.screw, why.turns)
            return Told(told, _why_screw(why), _screw_gain(why))
        case it.LocksWanted() | it.LocksTrial() | it.LocksToLoosen():
            return _locks(why)
        case it.Settling() | it.WeakGeometry() | it.MoreFrames() | it.CaptureTooRough() | it.DriftTooRough():
            return _measuring(why)
        case it.Walking():
            return _walking(why)
        case it.Near() | it.Ended() | it.Quiet() | it.MountMoved():
            return _ending(why)
        case _:
            return _drift(why)


def _plainly(why: it.Plainly) -> Told:
    match why:
        case it.Plainly.SITE_UNKNOWN:
            return Told("Enter your site to begin.", "Latitude and longitude say where the pole is.")
        case it.Plainly.PAUSED:
            return Told("Resume when you are ready.", "Frames are set aside until then.")
        case it.Plainly.AXIS_UNKNOWN:
            return Told("Go back and measure again.", "The axis is not known.")
        case it.Plainly.FRAME_AWAITED:
            return Told("Hands off. Waiting for a frame.")
        case it.Plainly.ROTATING:
            return Told("Rotating. Stop near the post.", "Then hands off: the next frames show where it is.")
        case it.Plainly.MEASURING:
            return Told("Wait. Frames are still being measured.", BEHIND)
        case it.Plainly.NOT_TRACKING:
            return Told("Switch tracking on.", drift_refusal_words(NotTracking()).whole)
        case _:
            assert_never(why)


def _stand_up(inclination_deg: float, side: str) -> Told:
    if inclination_deg > OVERHEAD_DEG:
        sentence, why = "Set the axis upright.", "The pole is overhead: level the axis with a spirit level."
    elif inclination_deg < LEVEL_DEG:
        sentence = f"Lay the axis level, pointing {side}."
        why = "The pole lies on the horizon: this mount needs its lowest altitude setting."
    else:
        sentence = f"Point the axis {side}, inclined {inclination_deg:.0f}°."
        why = f"Within two degrees is enough. The pole is {inclination_deg:.1f}° high."
    return Told(sentence, f"{why} Then go on.")


# turning the RA axis


def _turning(why: it.Turning) -> Told:
    match why:
        case it.TurnBegins(_, sky):
            if sky is None:
                here = "The mount stays as it is; this is where the turn begins."
                return Told("Hands off. Waiting for a frame.", here)
            where = sky_direction(sky.first.azimuth_deg, sky.first.altitude_deg)
            return Told(f"Point {where}, then hands off.", sky_words(sky))
        case it.DoesNotFit(_, frame, places):
            what = (
                f"{places} places do not agree with each other: declination slips, or the tripod is giving way."
                if frame is None
                else f"Frame {frame} does not fit the others: declination slipped, or the tripod was moved."
            )
            return Told("Tighten the declination clutch, then start again.", what)
        case it.NotOneCapture(_, refusal):
            return Told("Begin this stage again.", refusal_words(refusal).whole)
        case it.NoRoom(Stage.PROOF):
            more = "The RA axis has no room to turn. Where more sky is free, point there and begin this stage again."
            return Told("Take it as it is: no free sky.", more)
        case it.NoRoom():
            return Told(
                "Point elsewhere, then start again.",
                "The RA axis has no room left: begin farther east of the meridian.",
            )
        case it.PlaceWanted():
            return Told(_rotate(why.west_deg), _why_turn(why), _turn_gain(why))
        case _:
            assert_never(why)


def _back(back: it.RotateAxis | it.Point) -> str:
    if isinstance(back, it.RotateAxis):
        return _rotate(back.west_deg)
    return f"Point {_place(back.hour_angle_h)}, declination {_signed(back.declination_deg)}."


def _rotate(west_deg: float) -> str:
    return f"Rotate the RA axis {abs(west_deg):.0f}° {'west' if west_deg > 0.0 else 'east'}."


def _why_turn(why: it.PlaceWanted) -> str:
    if why.sigma_rad is None:
        return TAKE_CARE if why.refusal is None else refusal_words(why.refusal).whole
    if why.left_out and why.places == 2:
        return LEFT_OUT
    known = f"Known to {sigma_text(why.sigma_rad)} so far;"
    if why.places < 3:
        return f"{known} a third place checks the other two. Leave declination alone."
    return f"{known} tonight's tolerance is {angle_text(why.tolerance_rad)}."


def _turn_gain(why: it.PlaceWanted) -> str:
    now, then = (None if s is None else spread_text(s) for s in (why.sigma_rad, why.sigma_after_rad))
    if now and then and now != then:
        return f"The uncertainty shrinks from {now} to {then}."
    return (
        "Another part of the sky proves more: move declination by 20°, then begin this stage again."
        if why.other_sky
        else ""
    )


# the proof by a second turn


def _proving(why: it.Proving) -> Told:
    match why:
        case it.ElsewhereWanted():
            return _elsewhere(why)
        case it.ProofContradicts():
            return _contradicts(why)
        case it.ProofLimited():
            return _limited(why)
        case it.FloorReached():
            return _floor(why)
        case _:
            assert_never(why)


def _floor(why: it.FloorReached) -> Told:
    floor, needed = angle_text(why.floor_rad), angle_text(why.tolerance_rad)
    instruction = "Take it as it is: the mount scatters." if why.proof else "Go on: more turning does not help."
    scatter = f"This mount allows {floor} tonight; {needed} is needed. Its turns scatter: wind, or a worn bearing."
    return Told(instruction, scatter, "Shelter it and balance it slightly east-heavy; or allow more tonight.")


def _elsewhere(why: it.ElsewhereWanted) -> Told:
    way = "toward the pole" if why.toward_pole_deg > 0.0 else "away from the pole"
    far = f"{abs(why.toward_pole_deg):.0f}°"
    to_do = f"move declination {far} {way}" if far != "0°" else "leave declination, rotate the RA axis alone"
    move = f"The camera is at {_signed(why.here_deg)}: {to_do}."
    return Told(
        f"Point {_place(why.hour_angle_h)}, declination {_signed(why.declination_deg)}.",
        f"{move} {THIRD_SKY if why.third else SECOND_SKY}",
        "If nothing else is free, go on here; the proof is weaker.",
    )


def _signed(degrees: float) -> str:
    return f"{degrees:+.0f}°".replace("-", "−")


def _contradicts(why: it.ProofContradicts) -> Told:
    apart = angle_text(why.apart_rad)
    now = f"Together they put the axis {_total(why.offset)} off."
    cause, cure = _cause(why)
    instruction = (
        "Tighten the declination clutch, then start again."
        if why.cause is it.Contradiction.CLUTCH
        else "Go on: the second turn disagrees."
    )
    return Told(instruction, f"The two turns differ by {apart}: {cause} {now}", cure)


def _cause(why: it.ProofContradicts) -> tuple[str, str]:
    """What is likely, and the cure."""
    size = angle_text(why.bend_rad)
    match why.cause:
        case it.Contradiction.SAG:
            cure = "Allowed for from now on. A stiffer clamp or ring cures it."
            return f"the camera probably sags by {size}.", cure
        case it.Contradiction.PULL:
            pulls = f"something pulls at the declination axis, by {size} in 57° of turn."
            return pulls, "Allowed for from now on. Free the cables, tighten plate and clamps."
        case it.Contradiction.FLOP:
            flop = "something tips over with the telescope: a mirror, or the tube in its rings."
            return flop, "Tighten it, or stay on the side of the meridian where you image."
        case it.Contradiction.TRIPOD:
            return (
                "the tripod is probably still settling.",
                "Give it ten minutes more, then correct and prove it again.",
            )
        case it.Contradiction.WOBBLE:
            wobble = "the RA axis probably wobbles in its bearing, or wind shakes it."
            return wobble, "Balance it slightly east-heavy and shelter it; or allow a larger tolerance."
        case it.Contradiction.CLUTCH:
            return "the declination clutch slips.", "Hold the telescope while you tighten it."
        case _:
            assert_never(why.cause)


def _limited(why: it.ProofLimited) -> Told:
    reach, needed = angle_text(why.reach_rad), angle_text(why.tolerance_rad)
    known = f"Both turns agree. Mount and air included, they prove {reach}; tonight needs {needed}."
    if why.one_sky:
        return Told(
            "Take it as it is: not checked elsewhere.",
            f"{known} In one part of the sky a bending tube does not show.",
            OTHER_SKY,
        )
    learns = "" if why.nights >= LEAST_NIGHTS else TEACHES
    bends = f"The bending of the tube adds {sigma_text(why.bending_rad)}."
    return Told(f"Take it as it is: {reach} proved.", f"{known} {bends}", learns)


# the screws and the locks


def _measuring(why: it.Settling | it.WeakGeometry | it.MoreFrames | it.CaptureTooRough | it.DriftTooRough) -> Told:
    match why:
        case it.Settling(left_s):
            sentence = f"Hands off. Settling, {left_s:.0f} s." if left_s else "Hands off. Waiting for a frame."
            return Told(sentence, "The axis is still moving, or has just been touched.")
        case it.WeakGeometry(west_deg, sigma_rad, doubt):
            warning = "" if doubt is None else follow_words(doubt)
            seen = f"A turn of the screws hardly shows here; near the meridian it does. {warning}".strip()
            return Told(_rotate(west_deg), seen, f"The uncertainty falls below {angle_text(sigma_rad)}.")
        case it.MoreFrames(sigma_rad, frames):
            more = f"about {frames} more frames make it sure."
            return Told("Hands off. Measuring.", f"Known to {sigma_text(sigma_rad)}; {more}")
        case it.CaptureTooRough(sigma_rad, tolerance_rad):
            return Told(
                "Go back and measure the axis again.",
                f"The capture is good to {sigma_text(sigma_rad)}: not enough for {angle_text(tolerance_rad)}.",
                "A wider turn of the RA axis makes it surer.",
            )
        case it.DriftTooRough(sigma_rad):
            left = f"The first drift is good to {sigma_text(sigma_rad)}; the tripod has settled since."
            return Told("Go on: watch the drift again.", left)
        case _:
            assert_never(why)


def _total(offset: Offset) -> str:
    return total_text(offset.total_rad, offset.sigma_rad)


def _begin_walk(why: it.ScrewLeft) -> str:
    """The fraction comes second; below a twelfth, or where nobody knows what a turn is worth, there is none."""
    if why.known and abs(why.turns) >= CREEP_TURNS:
        return f"Turn {why.screw.value} {sense_text(why.turns)}, about {turns_text(why.turns)}."
    if why.seek:
        return _seek(why)
    if why.known or abs(why.left_rad) * ARCMIN_PER_RAD < CREEP_ARCMIN:
        return _creep(why.screw, sense_text(why.turns))
    return f"Turn {why.screw.value} {sense_text(why.turns)} toward the posts."


def _seek(why: it.ScrewLeft | it.Walking) -> str:
    """With little left, slowly: the end of the slack comes unseen."""
    verb = "Ease" if abs(why.left_rad) * ARCMIN_PER_RAD < CREEP_ARCMIN else "Turn"
    return f"{verb} {why.screw.value} {sense_text(why.turns)} until the marker moves."


def _creep(screw: Screw, way: str) -> str:
    return f"Ease {screw.value} {way} to the posts."


def way_text(why: it.Walking) -> str:
    """`clockwise`; where the direction is not named, `the same way` or `the other way`."""
    if why.way_told:
        return sense_text(why.turns)
    return "the other way" if why.cue is Cue.OTHER_WAY else "the same way"


def _walking(why: it.Walking) -> Told:
    """A turn in progress: the cue, then where the axis is."""
    where = offset_words(why.left_rad, why.sigma_rad, "east" if why.screw is Screw.AZIMUTH else "up", False)
    if is_zero(angle_text(why.left_rad, why.sigma_rad)):
        where = "The axis stands at its aim." if why.aimed else f"The axis is {where}."
    else:
        where = f"The axis is about {where}{' for its aim' if why.aimed else ''}."
    left = f", about {turns_text(why.turns)} left" if why.known and why.sure_way else ""
    on = way_text(why)
    match why.cue:
        case Cue.KEEP_TURNING:
            return Told(f"Keep turning {on}{left}.", where)
        case Cue.SLOWER:
            return Told("Slower.", f"{where} The posts are near.")
        case Cue.STOP | Cue.HANDS_OFF:
            return Told("Stop.", where)
        case Cue.OTHER_WAY:
            way = f"The other way: {on}." if why.sure_way else "The other way."
            return Told(way, f"{where} It is moving away from the posts.")
        case Cue.SEEK:
            return Told(_seek(why), f"{where} {SLACK}")
        case Cue.CREEP:
            return Told(_creep(why.screw, on), f"{where} A touch, then look: stop between the posts.")
        case _:
            assert_never(why.cue)


def _turn(screw: Screw, turns: float) -> str:
    if abs(turns) < SMALLEST_TURNS:
        return f"Nudge {screw.value} {sense_text(turns)}, a touch."
    return f"Turn {screw.value} {turns_text(turns)} {sense_text(turns)}."


def _why_screw(why: it.ScrewLeft) -> str:
    """Where the axis is; then why the size is not that of the numbers beside it; then what the turn is for."""
    where = offset_words(why.left_rad, why.sigma_rad, "east" if why.screw is Screw.AZIMUTH else "up", False)
    allowed = " for its aim, which allows for the locks" if why.aimed else ""
    habit = "" if why.habit_rad is None else lock_words(why.habit_rad)
    parts = (f"The axis is {where}{allowed}.", habit, _purpose(why), SHORT if why.short else "")
    return " ".join(part for part in parts if part)


def _purpose(why: it.ScrewLeft) -> str:
    match why.kind:
        case TurnKind.LESSON:
            return _lesson(why.turns, why.lesson or 0)
        case TurnKind.TRIAL:
            return SEEK_TRIAL if why.walking and not why.known else TRIAL
        case _ if why.walking and why.seek:
            return SLACK
        case _ if why.walking and not why.known:
            return TO_THE_POSTS
        case TurnKind.RECHECK:
            return "The last turns do not agree about the direction; this one decides."
        case TurnKind.APPROACH:
            return _face(why.turns) or "Go part of the way; the next frame shows the rest."
        case TurnKind.FINISH | TurnKind.TOUCH | TurnKind.NONE:
            return _face(why.turns)
        case _:
            assert_never(why.kind)


def _face(turns: float) -> str:
    face = clock_face_text(turns)
    return f"That is {face}." if face else ""


def _lesson(turns: float, made: int) -> str:
    count = f"To learn this screw, {made + 1} of at most {MOST_TURNS}:"
    if abs(turns) >= 1.0:
        return f"{count} count whole turns, stop at the dot, say what you read off."
    return f"{count} this one takes up the slack. Say what you read off."


def _screw_gain(why: it.ScrewLeft) -> str:
    if why.share_left is None:
        return ""
    if why.share_left > WORTH_SAYING:
        return "Most of it takes up the slack of this screw."
    left_rad = why.share_left * abs(why.left_rad)
    return f"Leaves about {angle_text(left_rad, left_rad)} of {angle_text(why.left_rad, why.sigma_rad)}."


def _locks(why: it.Locking) -> Told:
    may_move = "Tightening may move the axis; the next frames show it."
    match why:
        case it.LocksTrial():
            on_many = "On many mounts that moves the axis. What it does is allowed for from now on."
            return Told("Tighten the base locks once, as a trial.", on_many)
        case it.LocksWanted(offset, tolerance_rad, aimed):
            here = "" if offset is None else f"{capital(_total(offset))} off, needed {angle_text(tolerance_rad)}. "
            reason = "Aimed beside the pole, to allow for the locks. " if aimed else here
            return Told("Tighten the base locks evenly.", f"{reason}{may_move}")
        case it.LocksToLoosen(shift_rad, offset, tolerance_rad):
            moved = f"Tightening moved the axis by {angle_text(shift_rad)}. " if shift_rad is not None else ""
            return Told(
                "Loosen the base locks a little.",
                f"{moved}{capital(_total(offset))} off, {_short_of(offset, tolerance_rad)}.",
                "The next aim allows for the shift." if shift_rad is not None else "",
            )
        case _:
            assert_never(why)


def _short_of(offset: Offset, tolerance_rad: float) -> str:
    """What is wanting: another place, or more certainty."""
    needed = angle_text(tolerance_rad)
    return f"needed {needed}" if offset.total_rad > tolerance_rad else f"not surely within {needed}"


# the drift


def _drift(why: it.Drifting) -> Told:
    match why:
        case it.TripodSettles(left_s):
            return Told(f"Hands off. Tripod settling, {duration_text(left_s)}.", SETTLES)
        case it.DriftDisturbed(doubt, nudge):
            return Told("Begin the drift again.", drift_doubt_words(doubt), NUDGE_UNTOLD if nudge else "")
        case it.GuidingAsked(on, short):
            asked = "Switch guiding off, in both axes." if on else "Say whether guiding is off in both axes."
            gain = "Frames count from your answer on; they are believed over it."
            return Told(asked, LIKE_ALIGNED, gain if short is None else _short(short))
        case it.DriftGuided(sign):
            return _guided(sign)
        case it.NudgeWanted():
            return _nudge(why)
        case it.DriftUnsure():
            return _drift_unsure(why)
        case it.DriftTold():
            return _drift_told(why)
        case it.FieldWanted():
            return _field(why)
        case it.DriftWatched():
            return _watched(why)
        case _:
            assert_never(why)


def _short(why: it.ShortReach) -> str:
    """What this drift cannot do, told before anybody waits for it."""
    bears = f"At best a drift proves {angle_text(why.reach_rad)} here; tonight needs {angle_text(why.needed_rad)}."
    if why.firm_rad is None or why.firm_rad > FIRM_HELPS * why.reach_rad:
        return f"{bears} Turn the RA axis instead, or take it as it is then."
    return f"{bears} After half an hour on firm ground (H), {angle_text(why.firm_rad)}."


def _guided(sign: Sign) -> Told:
    gain = "A drive without periodic error looks like this too: then turn the RA axis, or take it as it is."
    smooth = sign in (Sign.STILL, Sign.UNTOLD)
    reason = drift_doubt_words(Held()) if sign is Sign.STILL else guiding_words(Guided(sign)).reason
    return Told("Switch guiding off, then begin again.", reason, gain if smooth else "")


def _nudge(why: it.NudgeWanted) -> Told:
    open_words = f"The declination stands still: guided, the axis is known to {angle_text(why.guided_rad)} only."
    free = f"If it stays there, to {angle_text(why.free_rad)}."
    if why.said:
        return Told("Hands off once the declination is nudged.", f"No frame shows the nudge yet. {open_words}", free)
    how = "With the hand controller; leave it there."
    if why.again:
        how = "No frame shows the last one: longer, backlash takes up the first part."
    return Told("Nudge the declination by about 1′.", f"{open_words} {how}", free)


def _drift_unsure(why: it.DriftUnsure) -> Told:
    here = f"By this drift the axis is {_total(why.offset)} off"
    if why.reach_rad is None:
        unsure = f"{here}, {sigma_text(why.offset.sigma_rad)}: not sure enough."
        settles = "A tripod that is still settling moves the stars as well."
        return Told("Watch the drift once more.", f"{unsure} {settles}", "It settles while you watch.")
    reach, needed = angle_text(why.reach_rad), angle_text(why.tolerance_rad)
    bears = f"Tube, air and tripod included, a drift proves {reach} at best; tonight needs {needed}."
    agrees = f"{here}, {sigma_text(why.offset.sigma_rad)}, which agrees with what was measured but proves nothing."
    return Told("Take it as it is: nothing contradicts.", f"{agrees} {bears}", OTHER_WITNESS)


def _drift_told(why: it.DriftTold) -> Told:
    sentence = f"By drift {_total(why.offset)} off: go on." if why.proof else "Go on: the axis is known."
    reason = "Both components are known." if why.told is None else comparison_words(why.told, None)
    guided = " Declination guiding left on would look like this too." if why.guided_too else ""
    return Told(sentence, f"{reason}{guided}", "The correction goes on from the drift.")


def _field(why: it.FieldWanted) -> Told:
    place, air = why.place, abs(why.place.refraction_arcmin)
    airy = f" Refraction alone looks like {air:.1f}′ there; it is allowed for." if air >= 0.1 else ""
    return Told(
        f"Point {_place(place.hour_angle_h)}, declination {place.declination_deg:+.0f}°.",
        f"This field shows the {why.component} error; {place.altitude_deg:.0f}° high. Then {QUIET}{airy}",
        f"Watching takes about {duration_text(why.seconds)}.",
    )


def _place(hour_angle_h: float) -> str:
    """`to the meridian`, `5 h east of meridian`: short, for a sentence of eight words."""
    if abs(hour_angle_h) < 0.05:
        return "to the meridian"
    return f"{number_text(abs(hour_angle_h))} h {'west' if hour_angle_h > 0.0 else 'east'} of meridian"


def _watched(why: it.DriftWatched) -> Told:
    sentence, reading = f"Hands off, guiding off: {duration_text(why.left_s)}.", why.reading
    if reading is None:
        refusal = why.refusal
        first = "The first frames show how much they scatter."
        reason = first if refusal is None else drift_refusal_words(refusal).whole
        return Told(sentence, f"{reason} {capital(QUIET)}")
    hopeless = () if math.isfinite(reading.here_s + reading.there_s) else (HOPELESS,)
    told = " ".join((_so_far(reading), *hopeless, *map(drift_doubt_words, reading.warnings)))
    return Told(sentence, told, f"Then a field for the {reading.component}." if reading.component else "")


def _so_far(reading: DriftReading) -> str:
    """What is known, component by component."""
    (ee, _), (_, uu) = reading.covariance_rad2
    parts = []
    for value, variance, side in ((reading.east_rad, ee, "east"), (reading.up_rad, uu, "up")):
        sigma = math.sqrt(max(variance, 0.0))
        if sigma * ARCMIN_PER_RAD < WORTH_NAMING_ARCMIN:
            words = offset_words(value, sigma, "east" if side == "east" else "up", with_sigma=False)
            parts.append(f"{words}, {sigma_text(sigma)}")
    return f"So far: {'; '.join(parts)}." if parts else "The drift is not clear yet."


# the end


def _ending(why: it.Ending) -> Told:
    match why:
        case it.Near(offset, tolerance_rad, open=True):
            left = f"Needed {angle_text(tolerance_rad)}; {sigma_text(offset.sigma_rad)} with air and mount."
            return Told(
                f"As good as this sky shows: {_total(offset)}.", f"{left} Go on: another part of the sky shows more."
            )
        case it.Near(offset, tolerance_rad):
            usual = f", {IF_USUAL}" if why.supposed else ""
            needed = f"Needed {angle_text(tolerance_rad)}{usual}. Go on to prove it by a second turn."
            return Told(f"Good enough for tonight: {_total(offset)}.", needed)
        case it.Ended():
            return _ended(why)
        case it.Quiet(proved, moved):
            times = f"Shifts so far: {moved}."
            aligned = f"The alignment is {'proved' if proved else 'accepted'}."
            return Told("Watching. Keep imaging.", f"{aligned} {times if moved else 'Nothing has moved since.'}")
        case it.MountMoved():
            return _moved(why)
        case _:
            assert_never(why)


def _ended(why: it.Ended) -> Told:
    needed = angle_text(why.tolerance_rad)
    now = "unknown" if why.offset is None else _total(why.offset)
    if not why.proved:
        return Told(f"Accepted as it is: {now}.", f"Needed {needed}. No second turn has confirmed it.")
    witness = "The drift of the stars" if why.by_drift else "A second turn of the RA axis"
    return Told(
        f"Good enough for tonight: {now}, needed {needed}.", f"{witness} confirms it. Leave the mount alone now."
    )


def _moved(why: it.MountMoved) -> Told:
    shift, ago, needed = why.shift, duration_text(why.ago_s), angle_text(why.tolerance_rad)
    if it.is_settled(shift):
        return Told("The mount has settled. Measure again.", f"It stopped sinking {ago} ago.")
    if not shift.sudden:
        sinks = f"By {angle_text(shift.rate_rad_h)} an hour for {ago}: {_lasts(why, needed)} Check its feet first."
        return Told("The mount is sinking. Measure again.", sinks)
    size = angle_text(shift.size_rad)
    if why.harmless:
        image_on = f"{ago} ago. Tonight needs {needed}: keep imaging, but look at the frame of that moment."
        return Told(f"Moved by {size}. Still good enough.", image_on)
    at_least = f"{ago} ago, by at least {size}; tonight needs {needed}. Check feet and locks first."
    return Told("The mount was moved. Measure again.", at_least)


def _lasts(why: it.MountMoved, needed: str) -> str:
    """How long the tolerance lasts at this rate."""
    if why.left_rad <= 0.0:
        return f"more than tonight's {needed}."
    hours = why.left_rad / max(why.shift.rate_rad_h, 1e-12)
    return f"tonight's {needed} will last another {duration_text(math.floor(min(hours, 24.0) * 3600.0))}."
