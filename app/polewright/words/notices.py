"""What happened around the night, and what to do: the panel of troubles and the program's log."""

from __future__ import annotations

from polewright.words.said import Said

CLOCK_CURE = (
    "Check the camera program's clock, its time zone and summer time, and this computer's. If this one is right,"
    " Ctrl+K puts the frames' times right."
)
STALLED = Said(
    "The frame folder has not answered for more than ten seconds.",
    "Check the cable or the network. Frames that arrive meanwhile are read as soon as it answers.",
)
RECORD_WAITS = "The night goes on; its record waits in memory."
MEASURED_ALL_THE_SAME = "The measurements are recorded all the same."
WATCHER_HANGS = "The frame folder does not answer; its watcher ends with the program."


def fault_words(where: str, error: Exception) -> Said:
    """A fault in this program, as a person should read it: one line; of a traceback, which the log has,
    the last."""
    told = [line.strip() for line in str(error).splitlines() if line.strip()]
    told = told if told and told[0].startswith("Traceback") else told[:1]
    return Said(
        f"A fault in the program while {where}: {type(error).__name__}: {told[-1] if told else ''}",
        "The night goes on and the fault is in its record. Please send it in with a bundle made by the doctor"
        " command.",
    )


def unrecorded(folder: str, problem: str, waiting: int) -> str:
    """The night's record cannot be written; so many events wait."""
    return (
        f"The night cannot be recorded in {folder}: {problem}. {waiting} events wait in memory. Make room or choose"
        " another folder; recording goes on by itself as soon as it can."
    )
