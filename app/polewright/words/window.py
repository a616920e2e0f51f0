"""What the window says by itself: about its settings, a night that is opened or taken up, work that failed."""

from __future__ import annotations

from polewright.words.numbers import angle_text, duration_text
from polewright.words.said import Said

PURPOSE = "Brings your mount's axis to the pole, from frames of any patch of sky."
FILL_IN = "Say where you are and what you look through."
FILL_IN_AGAIN = "Fill in the form again."
WHICH_NIGHT, WHICH_FOLDER = "Which night do you want to play?", "Which folder does the camera write to?"
NO_FIELD = "No field is watched yet."
BEST_POLE_IN_USE = "The pole that this plan would choose is the one you aim at."
NOTHING_TO_CONFIRM = "There is nothing to confirm just now."
CLOCKS_AGREE = "No frame tells that its clock is wrong: there is nothing to set."
PLAN_UNUSED = "Nothing is used until that is mended."
AT_WORK = "The hands are at work."
FIRST_STAGE, NO_CLICK = "This is the first stage.", "There is nothing to undo."
NOTHING_YET = "Nothing is measured yet."
BY_EYE = "by eye"
AXIS_COMES, AXIS_COMES_AFTER_TURN = (
    "The axis appears here once it is measured.",
    "The axis appears here after the turn.",
)
NUDGE_TOLD_FIRST = "Press Enter, then nudge."
OTHER_SIDE, SKIP_THE_REST = "D takes the other side of the meridian.", "H skips this."
NO_FREE_SKY = f"No free sky there? {OTHER_SIDE}"
LOST_FOLDER = Said(
    "The frame folder cannot be reached.",
    "Check the cable or the network; the night goes on by itself.",
)
AS_IT_WAS = "Everything else is as it was."
NOTHING_REMEMBERED = "The night runs all the same; nothing is remembered."
ANOTHER_NIGHT = "Or begin another night here."
ANOTHER_RECORDING = "Choose another recording."
NIGHT_UNHARMED, RECORD_UNHARMED = "The night is not affected.", "The recorded night itself is unharmed."
MAKE_ROOM_OR_LOSE = "Make room and wait a little, or close again to lose what waits."
MAKE_ROOM = "Make room on the disk, then start again."
AWAKE = "A mount is being aligned."
ONLY_TONIGHT = "It applies tonight; it will not be remembered."
QUESTION = "What would you turn now?"
HOW_TO_ANSWER = "Answer with a screw and an amount; then see what happened that night."


LEAVE_IT = Said(
    "Leave this night? It cannot be taken up again.",
    "Ctrl+W again leaves it; its record is kept. Escape stays with the night.",
)
MEND_IT = Said(
    "Change what is wrong, then go on.",
    "With another site or clock the axis is measured anew; another rig or folder changes no measurement.",
)
SITE_OF_FRAMES = Said(
    "The site is that of the newest frame.",
    "Check it, then go on: screws, locks and plan stay; the axis is measured anew.",
)
AS_BEFORE = Said("Nothing was changed.", "The night goes on as it was.")
SKY_MENDED = "The axis is measured anew, for the frames were placed by the old site or clock."
ALL_STAYS = "Everything measured tonight stays."


def mended(what: tuple[str, ...], sky: bool) -> Said:
    """What was changed in the middle of the night, what stays and what is measured again. `sky`: site or clock."""
    told = f"Changed: {', '.join(what)}."
    return Said(told, f"{SKY_MENDED} Screws, locks and plan stay. Ctrl+Z takes it back." if sky else ALL_STAYS)


CLOSE_IT = Said(
    "Close the window? Nothing watches the mount then.",
    "Close again to confirm: at the next start the night resumes where it was. Escape keeps it open.",
)


def last_reading(age: str) -> str:
    """The numbers on the screen are old."""
    return f"The last reading is {age}."


def plan_not_kept(reason: str) -> Said:
    """The plan of the last night with this rig makes no sense at this site."""
    return Said(
        f"The last plan with this rig cannot be used here: {reason[:1].lower()}{reason[1:]}",
        "Make another plan from the menu; until then the usual tolerance applies.",
    )


def resumed(night: str, later: str) -> Said:
    """A night that was left open is taken up."""
    return Said(
        f"The night {night} goes on, {later}.",
        "Everything measured is still there. Leave the night from the menu to begin another one.",
    )


def quiet_fault(where: str, kind: str) -> Said:
    """A fault of the program that the person can do nothing about."""
    return Said(f"A fault in the program while {where}: {kind}.", "The night goes on; the log has the details.")


LEFT_AS_IT_IS = "It was left as it is."


def night_gone(name: str) -> str:
    """The folder of the night that was open is not there any more."""
    return f"The night {name} that was open is no longer there."


def night_locked(name: str, why: str) -> str:
    """It cannot be opened."""
    return f"The night {name} cannot be opened: {why}."


def nothing_recorded(name: str) -> str:
    """It has no event."""
    return f"The night {name} that was open has recorded nothing."


def no_beginning(name: str) -> str:
    """Its first events are damaged."""
    return f"The record of the night {name} is damaged where it begins and cannot be resumed. {LEFT_AS_IT_IS}"


def night_over(name: str, left_s: float) -> str:
    """It was left open so long ago; negative: its last line is from the future."""
    when = f"{duration_text(left_s)} ago" if left_s > 0.0 else "at a time still to come"
    return f"The night {name} was never closed, and ended {when}: it is over."


def left_for(left_s: float) -> str:
    """How long a night that goes on was left; negative when the clock was set back meanwhile."""
    return f"{duration_text(left_s)} later" if left_s >= 0.0 else "the computer's clock set back meanwhile"


def open_elsewhere(night: str) -> str:
    """Two windows cannot write one record."""
    return f"The night {night} is open in another window: close it there first."


def written(names: str, folder: str) -> Said:
    """The pages of a night were written out."""
    return Said(f"Exported: {names}.", f"They are in {folder}.")


def settings_stay(path: str) -> str:
    """Settings that nobody can read, in a file that cannot be moved."""
    return f"The settings in {path} can neither be read nor moved out of the way: defaults are used."


def settings_set_aside(name: str, folder: str) -> str:
    """The same, moved away under another name."""
    return f"The settings could not be read, so defaults are used. The old file is now {name} in {folder}."


def aligned_words(night_s: float, moves: int, true_rad: float) -> tuple[str, str]:
    """How a rehearsal ended, and the same for two metres."""
    made = f"{moves} {'move' if moves == 1 else 'moves'}"
    return (
        f"Aligned in {duration_text(night_s)} with {made}.",
        f"{duration_text(night_s)}, {made}, {angle_text(true_rad)}.",
    )


def truth_words(true_rad: float, tolerance_rad: float) -> str:
    """What only the simulation knows."""
    verdict = "inside" if true_rad <= tolerance_rad else "outside"
    return f"In truth the axis is {angle_text(true_rad)} off: {verdict} the {angle_text(tolerance_rad)} needed."
