"""The polling core of the folder watcher: looks when told, at a time it is given. No thread, no clock.

Times are monotonic seconds. Modification times are compared with themselves only, so that no clock, neither this
computer's nor the file server's, matters or may jump.
"""

from __future__ import annotations

import os
import stat
import struct
from collections import deque
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from pathlib import Path

from polewright.services.dated_folders import MOST_FOLLOWED, DatedFolders
from polewright.services.folder_events import FolderBack, FolderEvent, FolderLost, FolderReady, FrameArrived
from polewright.services.folder_survey import FolderSurvey, frames_below
from polewright.services.frame_completeness import Completeness, Inspect, Inspection, inspect_frame
from polewright.services.frame_reader.families import is_frame_name
from polewright.words.files import folder_lost

Signature = tuple[int, int]  # size in bytes, modification time in ns
_PACKED = struct.Struct("<qq")


@dataclass(frozen=True)
class WatchSettings:
    """`settle_s`: how long a file whose end cannot be recognised must stay unchanged; `closed_settle_s`: the same
    after its writer has closed it; `give_up_s`: how long one that looks unfinished is waited for. Every look checks
    at most `looked_back` of the older files for new content, in turn, beside the latest `latest`. So many folders by
    date below this one are followed at most (`followed`, 0 for none).
    """

    settle_s: float = 1.0
    closed_settle_s: float = 0.15
    give_up_s: float = 20.0
    poll_interval_s: float = 0.5
    followed: int = MOST_FOLLOWED
    include_existing: bool = False
    looked_back: int = 500
    latest: int = 64


@dataclass
class Pending:
    """A file that has not been reported: its signature, since when it is unchanged, what its bytes say.

    `over_itself`: a file of this name and length was known before.
    """

    signature: Signature
    since_s: float
    inspection: Inspection
    closed: bool
    over_itself: bool


class FolderPoller:
    """Remembers every frame file of one folder and reports each content once."""

    def __init__(self, folder: Path, settings: WatchSettings | None = None, inspect: Inspect = inspect_frame) -> None:
        self._folder = folder
        self._settings = settings or WatchSettings()
        self._inspect = inspect
        self._known: dict[str, bytes] = {}  # signature and fingerprint, packed: a night is 30,000 files
        self._pending: dict[str, Pending] = {}
        self._latest: deque[str] = deque(maxlen=self._settings.latest)
        self._walked = DatedFolders(folder, self._settings.followed)
        self._ready = False
        self._lost = False
        self._device: int | None = None
        self._turn = 0

    def poll(self, now_s: float) -> list[FolderEvent]:
        """Look at the whole folder."""
        try:
            before = set(self._walked.left_out)
            names = dict(self._walked.walk(self._is_frame))
            self._check_device(bool(names))
        except OSError as error:
            return self._lose(error)
        events: list[FolderEvent] = []
        if self._lost:
            self._lost = False
            events.append(FolderBack(self._folder))
        if not self._ready:
            self._take_baseline(names)
            events.append(FolderReady(self._folder, len(self._known)))
        self._take_old_ones(names, before.intersection(self._walked.followed))
        for gone in [name for name in self._pending if name not in names]:
            del self._pending[gone]
        events.extend(self._consider([(name, names[name]) for name in self._due(names)], now_s, {}))
        return events

    def look_at(self, hints: Mapping[str, bool], now_s: float) -> list[FolderEvent]:
        """Look at single files: path -> whether its writer has just closed it or renamed it into place."""
        if not self._ready or self._lost:
            return []
        names: dict[str, str] = {}
        closed: dict[str, bool] = {}
        for path, is_closed in hints.items():
            name = os.path.relpath(path, self._folder)
            folder = os.path.dirname(name)  # noqa: PTH120 - as in the names of the walk
            if (not folder or folder in self._walked.followed) and is_frame_name(Path(path).name):
                names[name], closed[name] = path, is_closed
        names.update({name: str(self._folder / name) for name in self._pending})
        return [*self._consider(names.items(), now_s, closed)]

    @property
    def followed(self) -> tuple[Path, ...]:
        """The folders by date below this one whose frames are reported as well, the newest first."""
        return tuple(self._folder / name for name in self._walked.followed)

    def survey(self) -> FolderSurvey:
        """What lies in the folder, as of the latest look; other sub-folders are looked into for frames."""
        modified = [self._known_signature(name)[1] for name in self._known]
        modified += [pending.signature[1] for pending in self._pending.values()]
        return FolderSurvey(
            self._folder,
            len(self._known.keys() | self._pending.keys()),
            max(modified, default=0) / 1e9 or None,
            tuple(sorted(self._walked.others.items(), key=lambda kind: (-kind[1], kind[0]))),
            tuple(self._walked.followed),
            len(self._walked.left_out),
            frames_below(self._folder, self._walked.passed),
        )

    def next_look_s(self) -> float | None:
        """When the next pending file may be ready; None when there is none."""
        return min((p.since_s + self._patience_s(p) for p in self._pending.values()), default=None)

    def _is_frame(self, name: str, last: str) -> bool:
        return name in self._known or is_frame_name(last)

    def _check_device(self, any_frames: bool) -> None:
        """A share that drops may leave its empty mount point behind: another device, and all frames gone."""
        device = self._folder.stat().st_dev
        if self._known and not any_frames and self._device is not None and device != self._device:
            raise OSError("another, empty disk is in its place")
        self._device = device

    def _lose(self, error: OSError) -> list[FolderEvent]:
        if isinstance(error, FileNotFoundError) and self._folder.parent.is_dir():
            self._ready = True  # it is yet to be made: what it will hold is all new
        if self._lost:
            return []
        self._lost = True
        return [FolderLost(self._folder, folder_lost(self._folder.name, error.strerror or str(error)))]

    def _take_baseline(self, names: Mapping[str, str]) -> None:
        self._ready = True
        if self._settings.include_existing:
            return
        self._leave_alone(names)
        newest = sorted(self._known, key=lambda name: self._known_signature(name)[1])
        self._latest.extend(newest[-self._settings.latest :])

    def _leave_alone(self, names: Mapping[str, str]) -> None:
        for name, path in names.items():
            signature = _signature(path)
            if signature is not None:
                self._known[name] = _PACKED.pack(*signature)

    def _take_old_ones(self, names: Mapping[str, str], folders: Set[str]) -> None:
        """What lies in a folder that was left out before, and is followed now that a newer one has gone, is old."""
        if folders:
            old = {n: path for n, path in names.items() if os.path.dirname(n) in folders}  # noqa: PTH120
            self._leave_alone(old)

    def _due(self, names: Mapping[str, str]) -> list[str]:
        """The names to look at now: the unknown, the latest, and a part of the others in turn."""
        if len(names) <= self._settings.looked_back:
            return list(names)
        due = {name for name in names if name not in self._known}
        due.update(name for name in self._latest if name in names)
        part = list(names)[self._turn : self._turn + self._settings.looked_back]
        due.update(part)
        self._turn = self._turn + len(part) if len(part) == self._settings.looked_back else 0
        return list(due)

    def _consider(
        self, names: Iterable[tuple[str, str]], now_s: float, closed: Mapping[str, bool]
    ) -> list[FrameArrived]:
        """The frames among (name, path) that are due, oldest first."""
        arrived: list[FrameArrived] = []
        for name, path in names:
            signature = _signature(path)
            if signature is None:
                self._pending.pop(name, None)
                continue
            frame = self._weigh(name, path, signature, now_s, closed.get(name, False))
            if frame is not None:
                arrived.append(frame)
        return sorted(arrived, key=lambda frame: (frame.mtime_ns, frame.path))

    def _weigh(self, name: str, path: str, signature: Signature, now_s: float, closed: bool) -> FrameArrived | None:
        """The report of one file if it is due."""
        if self._known_signature(name) == signature:
            self._pending.pop(name, None)
            return None
        pending = self._pending.get(name)
        if pending is None or pending.signature != signature:
            over_itself = self._known_signature(name)[0] == signature[0]
            pending = Pending(signature, now_s, self._inspect(Path(path), signature[0]), closed, over_itself)
            self._pending[name] = pending
        pending.closed = pending.closed or closed
        if now_s - pending.since_s < self._patience_s(pending):
            return None
        return self._report(name, path, pending)

    def _report(self, name: str, path: str, pending: Pending) -> FrameArrived | None:
        del self._pending[name]
        again = name in self._known
        fingerprint, known = pending.inspection.fingerprint, self._known.get(name, b"")[_PACKED.size :]
        same_image = fingerprint is not None and known == fingerprint
        self._known[name] = _PACKED.pack(*pending.signature) + (known if fingerprint is None else fingerprint)
        if same_image:  # only touched, or something was appended after the image
            return None
        if name in self._latest:
            self._latest.remove(name)
        self._latest.append(name)
        complete = pending.inspection.verdict is not Completeness.INCOMPLETE
        return FrameArrived(Path(path), pending.signature[0], pending.signature[1], again, complete)

    def _known_signature(self, name: str) -> Signature:
        """What was seen of a file; a size of -1 for one never seen."""
        packed = self._known.get(name)
        if packed is None:
            return -1, 0
        size, modified = _PACKED.unpack_from(packed)
        return int(size), int(modified)

    def _patience_s(self, pending: Pending) -> float:
        """How long `pending` must stay unchanged: not at all when it is complete.

        A file written over in place has its full length all the time and may be half old, half new: it must have been
        closed, or be quiet for a moment.
        """
        verdict = pending.inspection.verdict
        if verdict is Completeness.INCOMPLETE:
            return self._settings.give_up_s
        if verdict is Completeness.COMPLETE:
            return self._settings.closed_settle_s if pending.over_itself and not pending.closed else 0.0
        return self._settings.closed_settle_s if pending.closed else self._settings.settle_s


def _signature(path: str) -> Signature | None:
    """Size and modification time; None when the file is gone, out of reach, or no ordinary file."""
    try:
        status = os.stat(path)  # noqa: PTH116 - thousands of them: a Path each would cost more than the call
    except OSError:
        return None
    return (status.st_size, status.st_mtime_ns) if stat.S_ISREG(status.st_mode) else None
