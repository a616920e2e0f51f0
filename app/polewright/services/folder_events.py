"""What a watched folder tells: frames that have arrived, the folder lost and back."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from polewright.services.folder_survey import FolderSurvey


@dataclass(frozen=True)
class FrameArrived:
    """A frame file that is finished (or was given up on: `complete` is False, reading will say what is wrong).

    `again`: a file of this name was known before and has new content. `mtime_ns` is for sorting only.
    """

    path: Path
    size_bytes: int
    mtime_ns: int
    again: bool = False
    complete: bool = True


@dataclass(frozen=True)
class FolderReady:
    """The first look is done: `frames_before` frames were there already and are left alone."""

    folder: Path
    frames_before: int


@dataclass(frozen=True)
class FolderLost:
    """The folder cannot be listed any more; what is known of it is kept."""

    folder: Path
    reason: str


@dataclass(frozen=True)
class FolderBack:
    """A lost folder can be listed again; what arrived meanwhile follows."""

    folder: Path


@dataclass(frozen=True)
class WatchFault:
    """Looking at the folder has raised what it should not (a bug); the next look is taken all the same."""

    folder: Path
    error: Exception


@dataclass(frozen=True)
class FolderSurveyed:
    """Nothing arrives: what lies in the folder."""

    survey: FolderSurvey


FolderEvent = FrameArrived | FolderReady | FolderLost | FolderBack | FolderSurveyed | WatchFault
