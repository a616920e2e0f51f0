"""What is said about a mount that moved during the imaging run."""

from __future__ import annotations

from polewright.core.vigil.watch import SETTLED_RAD_H, Shift
from polewright.words.numbers import angle_text, duration_text

NO_STARS_SINCE, NO_FRAME_SINCE = "no stars since: clouds?", "no frame since: is the camera running?"


def shift_words(shift: Shift) -> str:
    """What happened, when, by how much, and what to do."""
    when = duration_text(shift.found_s - shift.onset_s)
    if shift.sudden:
        return f"{when} ago the mount was moved by at least {angle_text(shift.size_rad)}. Measure the axis again."
    if shift.rate_rad_h < SETTLED_RAD_H:
        return f"{when} ago the mount stopped sinking. Measure the axis again."
    return (
        f"For {when} the mount has been sinking by {angle_text(shift.rate_rad_h)} an hour. Check the tripod's feet"
        " and locks; measure the axis again."
    )
