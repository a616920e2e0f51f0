"""What is said about recorded nights in their list: their results in a line, and what is done with them."""

from __future__ import annotations

from polewright.core.offset import Offset
from polewright.words.numbers import counted, duration_text, total_text
from polewright.words.said import Said

NIGHTS, REPORT = "Earlier nights", "Report"
SAVING, EXPORTING, DELETING = "Saving the report", "Exporting the night", "Deleting the night"
NO_NIGHTS = Said(
    "No night is recorded here yet.", "A night is recorded from its first frame on. Rehearse one meanwhile (Ctrl+P)."
)
LOOKING = "Looking through the nights"
DAMAGED = "damaged record"


def result_text(proved: bool, accepted: bool) -> str:
    """How a night ended."""
    return "proved" if proved else "accepted" if accepted else "not finished"


def error_text(offset: Offset | None) -> str:
    """How far off the axis was."""
    return "not measured" if offset is None else total_text(offset.total_rad, offset.sigma_rad)


def minutes_text(minutes: float | None) -> str:
    """How long it took to align."""
    return "never aligned" if minutes is None else duration_text(minutes * 60.0)


def count_text(nights: int) -> str:
    """How many there are."""
    return counted(nights, "night")


def sure_to_delete(name: str) -> Said:
    """Asked once before a night goes."""
    return Said(
        f"Delete the night {name} for good?",
        "Its record, its report and the frames kept with it go; frames in the camera's folder stay."
        " Press Delete again to do it, Escape to keep it.",
    )


def deleted(name: str) -> Said:
    """It is gone."""
    return Said(f"The night {name} is deleted.", "Nothing else was touched.")


def lies_in(folder: str) -> Said:
    """Where the files of a night are."""
    return Said("The folder is shown outside this window.", f"It is {folder}")


def not_shown(folder: str) -> Said:
    """No program outside would show it."""
    return Said("Nothing on this computer shows folders.", f"It is {folder}")


def saved(names: str, folder: str) -> Said:
    """The report is on the disk."""
    return Said(f"Saved: {names}.", f"In {folder}")
