"""What lies in the frame folder, for whoever waits for a frame that does not come."""

from __future__ import annotations

from collections.abc import Sequence

from polewright.words.numbers import counted, duration_text
from polewright.words.said import Said

MOST_NAMED = 3
NO_FRAMES_YET = "no frames there yet: they are read as they arrive"
CHOOSE = "Ctrl+O chooses another folder."


def quiet_folder(
    name: str,
    frames: int,
    newest_ago_s: float | None,
    others: Sequence[tuple[str, int]] = (),
    below: Sequence[tuple[str, int]] = (),
    followed: Sequence[str] = (),
    left_out: int = 0,
) -> Said:
    """Nothing arrives: what lies in the folder, what lies below it, and what to do.

    `others`: endings and counts of files that are not read; `below`: other sub-folders that hold frames; `followed`:
    folders by date that are watched as well, of which `left_out` more are not.
    """
    parts = [f"No new frame in {name}: {lies_there(frames, newest_ago_s)}."]
    if others:
        parts.append(f"Files that are not read: {_kinds(others)}.")
    if below:
        parts.append(f"{frames_below_words(below)}.")
    if followed:
        parts.append(f"{followed_words(followed, left_out)}.")
    return Said(" ".join(parts), _cure(frames, others, below))


def lies_there(frames: int, newest_ago_s: float | None) -> str:
    """`no frames there`, `12 frames lie there, the newest 3 min old`."""
    if not frames or newest_ago_s is None:
        return "no frames there" if not frames else f"{counted(frames, 'frame')} there"
    age = "just now" if newest_ago_s < 1.0 else f"{duration_text(newest_ago_s)} ago"
    return f"{counted(frames, 'frame')} there, the newest came {age}"


def followed_words(followed: Sequence[str], left_out: int) -> str:
    """`Watched as well: 2026-11-20 and 2026-11-19, the newest of 31 by date`."""
    named = _listed(followed)
    older = f", the newest of {len(followed) + left_out} by date" if left_out else ""
    return f"Watched as well: {named}{older}"


def _kinds(others: Sequence[tuple[str, int]]) -> str:
    return _listed([f"{count} {ending or 'without ending'}" for ending, count in others])


def frames_below_words(below: Sequence[tuple[str, int]]) -> str:
    """`There are frames in the sub-folder sky`."""
    named = _listed([name for name, _ in below])
    return f"There are frames in the sub-folder{'s' if len(below) > 1 else ''} {named}"


def _listed(names: Sequence[str]) -> str:
    """`a, b and c`; of many the first three, and how many more."""
    shown = list(names[:MOST_NAMED])
    if len(names) > MOST_NAMED:
        shown.append(f"{len(names) - MOST_NAMED} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def _cure(frames: int, others: Sequence[tuple[str, int]], below: Sequence[tuple[str, int]]) -> str:
    if below:
        return f"Does the camera write to {below[0][0]}? {CHOOSE}"
    if others and not frames:
        return f"Set the camera to save FITS, TIFF, JPEG or its raw format. {CHOOSE}"
    return f"Check that the camera is taking frames, and where it saves them. {CHOOSE}"
