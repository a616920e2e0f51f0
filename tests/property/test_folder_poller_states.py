"""Any order of writing, renaming, deleting, looking, dropping the share: every content is reported, once, whole."""

from __future__ import annotations

import os
import random
import shutil
import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from polewright.services.folder_events import FolderBack, FolderEvent, FolderLost, FrameArrived
from polewright.services.folder_poller import FolderPoller, WatchSettings

NAMES = st.sampled_from(["a.fits", "b.fits", "c.fits"])
SETTINGS = WatchSettings(settle_s=1.0, closed_settle_s=0.2, give_up_s=1e9)


def frame_bytes(seed: int) -> bytes:
    """A FITS file of one of three lengths, made by hand because thousands are needed."""
    side = (30, 45, 60)[seed % 3]
    cards = ["SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    2"]
    cards += [f"NAXIS1  = {side:20d}", f"NAXIS2  = {side:20d}", f"SEED    = {seed:20d}", "END"]
    data = random.Random(seed).randbytes(side * side)
    return "".join(card.ljust(80) for card in cards).ljust(2880).encode() + data.ljust(-(-side * side // 2880) * 2880)


def image_length(blob: bytes) -> int:
    """Bytes of header and image, without the padding."""
    return 2880 + int(blob[3 * 80 + 10 : 3 * 80 + 30]) ** 2


def image_of(blob: bytes) -> bytes:
    """Header and image; nothing when they are not all there."""
    return blob[: image_length(blob)] if len(blob) >= 2880 and len(blob) >= image_length(blob) else b""


class WatchedFolder(RuleBasedStateMachine):
    """`whole` is what each name holds when it is finished; `seen` is every content reported."""

    def __init__(self) -> None:
        super().__init__()
        self.root = Path(tempfile.mkdtemp())
        self.folder, self.away = self.root / "frames", self.root / "away"
        self.folder.mkdir()
        self.poller = FolderPoller(self.folder, SETTINGS)
        self.now_s = 0.0
        self.stamp = 0
        self.whole: dict[str, bytes] = {}
        self.partial: dict[str, tuple[bytes, int]] = {}
        self.seen: list[bytes] = []
        self.lost = False
        self.poller.poll(self.now_s)

    def teardown(self) -> None:
        shutil.rmtree(self.root)

    def place(self) -> Path:
        return self.away if self.lost else self.folder

    def fresh(self) -> bytes:
        self.stamp += 1
        return frame_bytes(self.stamp)

    def touch(self, path: Path) -> None:
        """A modification time of its own for every change, as the passing of time gives it."""
        self.stamp += 1
        os.utime(path, ns=(self.stamp * 10**6, self.stamp * 10**6))

    @rule(name=NAMES)
    def write_at_once(self, name: str) -> None:
        self.partial.pop(name, None)
        self.whole[name] = self.fresh()
        (self.place() / name).write_bytes(self.whole[name])
        self.touch(self.place() / name)

    @rule(name=NAMES, length=st.integers(1, 3000))
    def write_a_piece(self, name: str, length: int) -> None:
        blob, done = self.partial.get(name, (b"", 0))
        if not blob:
            blob, done = self.fresh(), 0
            (self.place() / name).write_bytes(b"")
            self.whole.pop(name, None)
        with (self.place() / name).open("ab", buffering=0) as file:
            file.write(blob[done : done + length])
        self.touch(self.place() / name)
        if done + length >= len(blob):
            self.whole[name] = blob
            self.partial.pop(name, None)
        else:
            self.partial[name] = (blob, done + length)

    @rule(name=NAMES)
    def rename_into_place(self, name: str) -> None:
        part = self.place() / f"{name}.part"
        part.write_bytes(self.fresh())
        self.touch(part)
        self.whole[name] = part.read_bytes()
        self.partial.pop(name, None)
        part.replace(self.place() / name)

    @rule(name=NAMES)
    def delete(self, name: str) -> None:
        (self.place() / name).unlink(missing_ok=True)
        self.whole.pop(name, None)
        self.partial.pop(name, None)

    @rule()
    def drop_or_restore_the_share(self) -> None:
        (self.away if self.lost else self.folder).rename(self.folder if self.lost else self.away)
        self.lost = not self.lost

    @rule(after_s=st.sampled_from([0.0, 0.01, 0.3, 2.0]))
    def look(self, after_s: float) -> None:
        self.now_s += after_s
        self.take(self.poller.poll(self.now_s))

    @rule(name=NAMES, closed=st.booleans())
    def hint(self, name: str, closed: bool) -> None:
        if name not in self.partial:
            self.take(self.poller.look_at({str(self.folder / name): closed}, self.now_s))

    def take(self, events: list[FolderEvent]) -> None:
        for event in events:
            if isinstance(event, FrameArrived):
                content = event.path.read_bytes()
                seen = image_of(content)
                assert seen, "the image is whole"
                assert seen not in self.seen, "once"
                self.seen.append(seen)
            else:
                assert isinstance(event, (FolderLost, FolderBack))

    @invariant()
    def nothing_is_missed_in_the_end(self) -> None:
        if not self.lost and not self.partial:
            self.look(0.3)
            self.look(0.3)
            assert all(image_of(content) in self.seen for content in self.whole.values())


TestWatchedFolder = WatchedFolder.TestCase
TestWatchedFolder.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)
