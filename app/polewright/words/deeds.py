"""What was done in a night, line by line: the deeds of the person, and where the axis was."""

from __future__ import annotations

import math
from typing import assert_never

from polewright.core.night import events as ev
from polewright.core.night.events import AnyEvent
from polewright.core.offset import Offset
from polewright.words.clock import clock_words, stepped_words
from polewright.words.numbers import offset_words, sense_text, turns_text
from polewright.words.said import Said


def axis_text(offset: Offset | None) -> str:
    """`12′ too far east (± 3″), 4.1′ too low (± 3″)`."""
    if offset is None:
        return "not measured yet"
    east, up = (math.sqrt(offset.covariance_rad2[i][i]) for i in (0, 1))
    return f"{offset_words(offset.east_rad, east)}, {offset_words(offset.up_rad, up, 'up')}"


def deed_text(event: AnyEvent) -> str:
    """What a person said or did, by a recorded event; empty for what was not theirs, or is told elsewhere."""
    match event:
        case ev.ScrewTurned():
            return f"{event.screw.value} turned {_turned(event.turns)}"
        case ev.NextAsked():
            return "goes on"
        case ev.BackAsked():
            return "goes back"
        case ev.RestartAsked():
            return "starts the stage again"
        case ev.PauseAsked():
            return "pauses"
        case ev.ResumeAsked():
            return "resumes"
        case ev.UndoAsked():
            return "undoes the last click"
        case ev.TripodBumped():
            return "says that the tripod was bumped"
        case ev.BaseLocked():
            return "tightens the locks"
        case ev.BaseUnlocked():
            return "loosens the locks"
        case ev.Accepted():
            return "accepts it as it is"
        case ev.DriftAsked():
            return "lets the stars drift"
        case ev.GuidingTold(off=off):
            return f"says that guiding is {'off' if off else 'on'}"
        case ev.DeclinationNudged():
            return "nudges the declination"
        case ev.LessonAsked():
            return "asks for a lesson on a screw, or has had enough of it"
        case ev.SkyMended(stepped_s=stepped_s) if stepped_s:
            return f"goes on with {stepped_words(stepped_s)}: measured anew"
        case ev.SkyMended():
            return f"mends site or clock{_ahead(event.clock_ahead_s)}: measured anew"
        case ev.RigMended():
            return f"goes on with the rig {event.rig}"
        case ev.LeadSwitched(told=told):
            return "wants turns as numbers" if told else "wants to be led by the marker"
        case ev.NightStarted() | ev.TargetChanged() | ev.ToleranceChanged() | ev.TrackingSwitched():
            return ""
        case ev.GuidingSwitched() | ev.ShiftPutAway() | ev.FolderLost() | ev.FolderBack() | ev.Ticked():
            return ""
        case ev.FrameSolved() | ev.FrameUnsolved() | ev.AxisMeasured() | ev.AxisRefused() | ev.AxisFollowed():
            return ""
        case ev.DriftMeasured() | ev.DriftRefused():
            return ""
        case _:
            assert_never(event)


def noted(event: AnyEvent) -> Said | None:
    """The answer to a key whose effect no picture shows; None where one does."""
    match event:
        case ev.TripodBumped():
            return Said("Noted: the tripod was bumped.", "What was measured is set aside. Ctrl+Z takes it back.")
        case ev.RestartAsked():
            return Said("This stage begins again.", "Ctrl+Z takes it back.")
        case ev.DriftAsked(side=side, stood=stood):
            rests = " The mount is taken to settle no more." if stood else ""
            return Said(f"The drift is watched {side} of the meridian.{rests}", "Ctrl+Z takes it back.")
        case _:
            return None


def _ahead(clock_ahead_s: float) -> str:
    return f" ({clock_words(clock_ahead_s)})" if clock_ahead_s else ""


def _turned(turns: float | None) -> str:
    return "as asked" if turns is None else f"{turns_text(turns, True)} {sense_text(turns)}"
