"""A power cut while a file is written, at every byte: profiles, layers of the star index, exports and atomic files.

The log has its own (tests/unit/test_night_record.py). What a cut leaves is either the old content or a part of the
new one; a part is told from the whole, set aside, and never taken for something else.
"""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path

import pytest

from polewright.services.atomic_file import write_atomically
from polewright.services.layer_file import LayerFileError, read_layer, write_layer
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, RigProfile
from small_layer import small_layer


def test_a_profile_cut_at_every_byte_is_set_aside_whole(tmp_path: Path) -> None:
    store = ProfileStore(tmp_path, RIGS)
    sound = store.add(RigProfile("Gannet Head", 240.0, 5.0)).path
    content = sound.read_bytes()
    assert len(content) > 100
    for length in range(len(content)):
        if content[:length].strip() == content.strip():
            continue  # nothing but the last line's end is missing
        sound.write_bytes(content[:length])
        loaded = store.load_all()
        assert loaded.profiles == () and len(loaded.messages) == 1, length
        (aside,) = (path for path in sound.parent.iterdir() if "damaged" in path.name)
        assert aside.read_bytes() == content[:length]
        aside.unlink()
    sound.write_bytes(content)
    assert [stored.profile.name for stored in store.load_all().profiles] == ["Gannet Head"]


def test_a_layer_of_the_index_cut_anywhere_is_no_layer(tmp_path: Path) -> None:
    stream, checksum = io.BytesIO(), "ab" * 32
    write_layer(stream, small_layer(), checksum)
    content, path = stream.getvalue(), tmp_path / "x.index"
    for length in [*range(0, len(content), 61), len(content) - 1]:
        path.write_bytes(content[:length])
        with pytest.raises(LayerFileError):
            read_layer(path, checksum)
    path.write_bytes(content)
    assert len(read_layer(path, checksum).star) == 60


@pytest.mark.parametrize("when", ["write", "fsync", "replace"])
@pytest.mark.parametrize("how", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()], ids=str)
def test_an_export_is_the_old_one_or_the_new_one(
    when: str, how: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exports, reports and profiles are all written this way; a failure at any step leaves the old file alone."""
    path = tmp_path / "night.csv"
    write_atomically(path, b"old")

    def fail(*_: object, **__: object) -> None:
        raise how

    if when == "write":
        real = os.fdopen

        def failing(handle: int, mode: str) -> object:
            file = real(handle, mode)
            monkeypatch.setattr(os, "fsync", fail)
            return file

        monkeypatch.setattr(os, "fdopen", failing)
    elif when == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    else:
        monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(type(how)):
        write_atomically(path, b"new")
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert [found.name for found in tmp_path.iterdir()] == ["night.csv"]
    write_atomically(path, b"new")
    assert path.read_bytes() == b"new"
