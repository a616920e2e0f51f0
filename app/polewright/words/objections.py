"""Why a click or an event changes nothing, and what to do instead."""

from __future__ import annotations

from collections.abc import Mapping

from polewright.core.night.effects import Objection, Refused
from polewright.words.said import Said

WORDS: Mapping[Objection, tuple[str, str]] = {
    Objection.PAUSED: ("Paused: this frame is set aside.", "Resume to go on."),
    Objection.AS_IT_WAS: ("Nothing changes: that was so already.", "Nothing to do."),
    Objection.NO_CLICK: ("There is nothing to undo.", "Nothing to do."),
    Objection.SCREWS_LATER: ("The screws come later.", "Set the mount up first, then go on."),
    Objection.SCREWS_REST_WHILE_MEASURED: (
        "Leave the screws alone while the axis is measured.",
        "If one was turned, begin this stage again.",
    ),
    Objection.SCREWS_REST_WHILE_PROVED: (
        "Leave the screws alone during the proof.",
        "Go back to the fine correction to turn them.",
    ),
    Objection.NO_SUCH_TURN: ("No turn of the {screw} screw was asked for.", "Say how far you turned it."),
    Objection.SCREW_KNOWN: ("The {screw} screw is known well enough.", "Go on with what is asked for."),
    Objection.SITE_UNKNOWN: ("The site is not known yet.", "Enter latitude and longitude first."),
    Objection.BEGUN_ALREADY: ("The night has begun already.", "Change target or tolerance instead."),
    Objection.FIRST_STAGE: ("This is the first stage.", "Go on when you are ready."),
    Objection.NOT_MEASURED: ("The axis is not measured yet.", "Rotate the RA axis and take frames at three places."),
    Objection.AXIS_UNKNOWN: ("The axis is not known.", "Go back and take the capture again."),
    Objection.NOT_PROVED: ("The proof is not complete.", "Rotate the RA axis as asked, or accept the alignment."),
    Objection.NOTHING_MEASURED: ("Nothing is measured yet.", "Go on when you are ready."),
    Objection.NOTHING_TO_ACCEPT: ("There is nothing to accept yet.", "Bring the axis to the pole first."),
    Objection.NOTHING_WATCHED: (
        "Nothing is being watched.",
        "The watch begins once the alignment is proved or accepted.",
    ),
    Objection.NOT_YET_WATCHED: ("No frame of the imaging run has come yet.", "Say so once the first one is here."),
    Objection.DRIFT_ELSEWHERE: (
        "The drift is watched to measure or to prove.",
        "Go on to that stage, or back to it.",
    ),
    Objection.DRIFT_SET_ASIDE: ("This drift belongs to frames that were set aside.", "Nothing to do."),
    Objection.AXIS_SET_ASIDE: ("This axis belongs to frames that were set aside.", "Nothing to do."),
    Objection.OTHER_STAGE: ("This belongs to another stage.", "Nothing to do."),
    Objection.NIGHT_OVER: ("The night is over.", "Go back to align more closely."),
}
assert set(WORDS) == set(Objection), "every objection has its words"


def refused_words(refused: Refused) -> Said:
    """Reason and cure."""
    reason, cure = WORDS[refused.objection]
    return Said(reason.format(screw=refused.screw.value if refused.screw is not None else ""), cure)
