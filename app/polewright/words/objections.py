"""Why a click or an event changes nothing, and what to do instead."""

from __future__ import annotations

from typing import assert_never

from polewright.core.night.effects import Objection, Refused
from polewright.words.said import Said


def refused_words(refused: Refused) -> Said:
    """Reason and cure."""
    which = f"{refused.screw.value} " if refused.screw is not None else ""
    match refused.objection:
        case Objection.PAUSED:
            return Said("Paused: this frame is put aside.", "Resume to go on.")
        case Objection.AS_IT_WAS:
            return Said("Nothing changes: it is so already.", "Nothing to do.")
        case Objection.NO_CLICK:
            return Said("There is no click to take back.", "Nothing to do.")
        case Objection.SCREWS_LATER:
            return Said("The screws come later.", "Stand the mount up first, then go on.")
        case Objection.SCREWS_REST_WHILE_MEASURED:
            return Said("The screws rest while the axis is measured.", "If one was turned, restart this stage.")
        case Objection.SCREWS_REST_WHILE_PROVED:
            return Said("The screws rest during the proof.", "Go back to the fine correction to turn them.")
        case Objection.NO_SUCH_TURN:
            return Said(f"No turn of the {which}screw was asked for.", "Say how far you turned it.")
        case Objection.SCREW_KNOWN:
            return Said(f"The {which}screw is known well enough.", "Go on with what is asked for.")
        case Objection.SITE_UNKNOWN:
            return Said("The site is not known yet.", "Enter latitude and longitude first.")
        case Objection.BEGUN_ALREADY:
            return Said("The night has begun already.", "Change target or tolerance instead.")
        case Objection.FIRST_STAGE:
            return Said("This is the first stage.", "Go on when you are ready.")
        case Objection.NOT_MEASURED:
            return Said("The axis is not measured yet.", "Rotate the RA axis and take frames at three places.")
        case Objection.AXIS_UNKNOWN:
            return Said("The axis is not known.", "Go back and take the capture again.")
        case Objection.NOT_PROVED:
            return Said("The proof is not complete.", "Rotate the RA axis as asked, or accept the alignment.")
        case Objection.NOTHING_MEASURED:
            return Said("Nothing is measured yet.", "Go on when you are ready.")
        case Objection.NOTHING_TO_ACCEPT:
            return Said("There is nothing to accept yet.", "Bring the axis to the pole first.")
        case Objection.NOTHING_WATCHED:
            return Said("Nothing is being watched.", "The watch begins once the alignment is proved or accepted.")
        case Objection.NOT_YET_WATCHED:
            return Said("No frame of the imaging run has come yet.", "Say so once the first one is here.")
        case Objection.DRIFT_ELSEWHERE:
            return Said("The drift is watched to measure or to prove.", "Go on to that stage, or back to it.")
        case Objection.DRIFT_SET_ASIDE:
            return Said("This drift belongs to frames that were set aside.", "Nothing to do.")
        case Objection.AXIS_SET_ASIDE:
            return Said("This axis belongs to frames that were set aside.", "Nothing to do.")
        case Objection.OTHER_STAGE:
            return Said("This belongs to another stage.", "Nothing to do.")
        case Objection.NIGHT_OVER:
            return Said("The night is over.", "Go back to make it finer.")
        case _:
            assert_never(refused.objection)
