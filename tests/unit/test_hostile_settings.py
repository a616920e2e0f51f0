"""Nothing that lies where settings, profiles, records or logs belong keeps the window from opening, or waits."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from polewright.core.errors import PolewrightError, RecordingError
from polewright.core.model import Site
from polewright.services.clock import SystemClock
from polewright.services.frame_completeness import INCOMPLETE, inspect_frame
from polewright.services.layer_file import LayerFileError, map_layer
from polewright.services.measuring import Optics
from polewright.services.night_log import read_night, read_opening
from polewright.services.program_log import log_tail, log_to
from polewright.services.recorder import NightRecorder
from polewright.ui.driving.remembered import Remembered, recall
from polewright.ui.driving.rig import Chosen, rig_and_site

PATIENCE_S = 10.0
pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes and devices are no files there")


def pipe(path: Path) -> None:
    os.mkfifo(path)


def endless(path: Path) -> None:
    path.symlink_to("/dev/zero")


def loop(path: Path) -> None:
    path.symlink_to(path)


def folder(path: Path) -> None:
    path.mkdir()


def nested(path: Path) -> None:
    path.write_bytes(b'{"settings":' * 100_000)


def lists(path: Path) -> None:
    path.write_bytes(b"[" * 100_000)


def huge(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(1 << 33)


def numbers(path: Path) -> None:
    path.write_bytes(b'{"settings": {"brightness": 1' + b"0" * 5000 + b'}, "form": {}}')


HOSTILE = [pipe, endless, loop, folder, nested, lists, huge, numbers]


def soon(work: Callable[[], Any]) -> Any:
    """What `work` returns or raises; failure when it takes long."""
    outcome: list[Any] = []

    def run() -> None:
        try:
            outcome.append(work())
        except Exception as error:
            outcome.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(PATIENCE_S)
    assert not thread.is_alive(), "it waits"
    return outcome[0]


@pytest.mark.parametrize("hostile", HOSTILE)
def test_settings_of_any_kind_are_set_aside_with_a_word(tmp_path: Path, hostile: Callable[[Path], None]) -> None:
    hostile(tmp_path / "window.json")
    found = soon(lambda: recall(tmp_path))
    assert isinstance(found, Remembered) and found.settings == Remembered().settings
    assert "window.json.damaged-1" in found.problem
    assert not os.path.lexists(tmp_path / "window.json")


@pytest.mark.parametrize("hostile", HOSTILE)
@pytest.mark.parametrize("kind", ["rigs", "sites"])
def test_profiles_of_any_kind_cost_only_the_memory(
    tmp_path: Path, hostile: Callable[[Path], None], kind: str
) -> None:
    (tmp_path / kind).mkdir()
    hostile(tmp_path / kind / "evil.json")
    found = soon(lambda: rig_and_site(tmp_path, Chosen(Site(47.0, 11.0), Optics(180.0, 3.75))))
    assert found.problem == "" and found.stored is not None


@pytest.mark.parametrize("hostile", [pipe, endless, loop, folder, nested])
def test_a_log_of_any_kind_is_no_night_and_waits_for_nobody(tmp_path: Path, hostile: Callable[[Path], None]) -> None:
    hostile(tmp_path / "night.jsonl")
    for read in (read_night, lambda path: read_opening(path, ("event",), 1000)):
        found = soon(partial(read, tmp_path))
        assert isinstance(found, RecordingError) or found.events == ()
    found = soon(lambda: NightRecorder(tmp_path, SystemClock()).close())
    assert found is False or hostile is nested


@pytest.mark.parametrize("hostile", [pipe, endless, folder])
def test_the_log_of_the_program_waits_for_nobody(tmp_path: Path, hostile: Callable[[Path], None]) -> None:
    hostile(tmp_path / "polewright.log")
    assert soon(lambda: log_to(tmp_path)) is None
    assert soon(lambda: log_tail(tmp_path)) == ""


@pytest.mark.parametrize("hostile", [pipe, endless, nested])
def test_the_cache_waits_for_nobody(tmp_path: Path, hostile: Callable[[Path], None]) -> None:
    hostile(tmp_path / "layer")
    assert isinstance(soon(lambda: map_layer(tmp_path / "layer", "x")), LayerFileError)


@pytest.mark.parametrize("hostile", [pipe, loop, folder])
def test_a_frame_of_any_kind_is_looked_at_without_waiting(tmp_path: Path, hostile: Callable[[Path], None]) -> None:
    hostile(tmp_path / "a.fits")
    assert soon(lambda: inspect_frame(tmp_path / "a.fits", 10)) == INCOMPLETE


def test_a_turn_file_that_is_a_pipe_is_refused(tmp_path: Path) -> None:
    from polewright.commands.drift import read_turn

    for hostile in (pipe, nested):
        path = tmp_path / hostile.__name__
        hostile(path)
        assert isinstance(soon(partial(read_turn, path)), PolewrightError)
