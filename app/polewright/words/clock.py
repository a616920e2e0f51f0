"""The frames' clock beside true time: how far it is off, and what that means."""

from __future__ import annotations

from polewright.words.numbers import duration_text
from polewright.words.said import Said

DAY_S = 86400.0
CLOCK_UNSTATED = "the frames state no time; that of their files is used"


def apart_text(seconds: float) -> str:
    """`1 h`, `2 min 10 s`, `31 days`."""
    size = abs(seconds)
    return f"{size / DAY_S:.0f} days" if size > DAY_S else duration_text(size)


def clock_words(ahead_s: float) -> str:
    """`clock 1 h ahead`, `clock right`."""
    return f"clock {apart_text(ahead_s)} {'ahead' if ahead_s > 0.0 else 'behind'}" if ahead_s else "clock right"


def taken_off_words(ahead_s: float) -> str:
    """For the row of the clock, once an offset is set."""
    return f"{apart_text(ahead_s)} {'taken off' if ahead_s > 0.0 else 'added to'} the frames' times"


def set_label(ahead_s: float) -> str:
    """The button that believes this computer's clock."""
    return f"Put the frames' clock {apart_text(ahead_s)} {'back' if ahead_s > 0.0 else 'on'}"


def clock_set(ahead_s: float, measured: bool) -> Said:
    """Told once it is set. `measured`: something was measured by the other time, and holds no longer."""
    told = (
        f"From now on {taken_off_words(ahead_s)}."
        if ahead_s
        else "From now on the frames' times are taken as they are."
    )
    again = "The axis is measured again; screws, locks and plan stay." if measured else "Screws, locks and plan stay."
    return Said(told, f"{again} The rig remembers it. Ctrl+Z takes it back.")


def stepped_words(step_s: float) -> str:
    """`the clock set 1 h forwards`."""
    return f"the clock set {_by(step_s)}"


def clocks_stepped(step_s: float, measured_anew: bool) -> Said:
    """Told when the frames' times were set together with this computer's clock, in the middle of a night."""
    told = f"This computer's clock was set {_by(step_s)}, and the times of the frames with it."
    again = " The axis is measured again by the new time; screws, locks and plan stay." if measured_anew else ""
    return Said(told, f"Check that it is correct.{again}")


def _by(step_s: float) -> str:
    return f"{apart_text(step_s)} {'forwards' if step_s > 0.0 else 'back'}"
