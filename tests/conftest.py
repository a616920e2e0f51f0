"""Shared by every test: Qt without a screen, no network, and the folder of real frames where there is one."""

from __future__ import annotations

import gc
import os
import random
import shutil
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("OMP_NUM_THREADS", "1")

# Tests start the program often. Where its surroundings forbid byte code each start compiles it anew, a third of the
# processor time; an installed program has its byte code. Only faults put in on purpose, in a home that is kept, must
# leave none behind.
if "POLEWRIGHT_TESTS_HOME" not in os.environ and os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):
    sys.dont_write_bytecode = False

# A busy machine is no failure, and two runs of one commit try the same; `--hypothesis-profile=explore` tries others.
settings.register_profile("polewright", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, print_blob=True)
settings.load_profile("polewright")

REPOSITORY = Path(__file__).resolve().parents[1]

# One home of its own for the whole run, shared by parallel workers so that an index of the sky is built once;
# nothing of the person's own settings, nights and caches is read or written.
_RUN = os.environ.get("PYTEST_XDIST_TESTRUNUID", str(os.getpid()))
_GIVEN = os.environ.get("POLEWRIGHT_TESTS_HOME")  # by whoever makes many runs after one another, and keeps it
HOME = Path(_GIVEN or Path(tempfile.gettempdir()) / f"polewright-tests-{_RUN}")
os.environ["POLEWRIGHT_HOME"] = str(HOME)


def pytest_unconfigure(config: pytest.Config) -> None:
    """The run that made the home removes it; parallel workers leave it to their parent."""
    if not hasattr(config, "workerinput") and _GIVEN is None:
        for folder in Path(tempfile.gettempdir()).glob(f"polewright-tests-{_uid(config)}"):
            shutil.rmtree(folder, ignore_errors=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """`POLEWRIGHT_TESTS_ORDER=7 pytest ...`: the files in an order that the number gives, and the tests in each."""
    seed = os.environ.get("POLEWRIGHT_TESTS_ORDER")
    if seed is not None:
        files = sorted({item.path for item in items})
        random.Random(seed).shuffle(files)
        place = {path: number for number, path in enumerate(files)}
        random.Random(seed).shuffle(items)
        items.sort(key=lambda item: place[item.path])


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """What lives at the end of a file (modules, tests, kept nights) is looked through by no later collection.

    Each window test collects its garbage, which else takes 0.1 to 0.2 s in a process that holds much.
    """
    if nextitem is None or nextitem.path != item.path:
        gc.collect()
        gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Neighbouring tests stay in one process, which makes what they share once; whoever is done first takes over half
    of what the other has left."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getoption("dist") == "load" else None


def _uid(config: pytest.Config) -> str:
    session = config.pluginmanager.getplugin("dsession")
    return str(getattr(getattr(session, "nodemanager", None), "testrunuid", _RUN)) if session else _RUN


@pytest.fixture(scope="session")
def shared_frames() -> Path:
    """Real frames kept beside the repository (POLEWRIGHT_FRAMES or ../shared/frames); skipped where absent."""
    folder = Path(os.environ.get("POLEWRIGHT_FRAMES", REPOSITORY.parent / "shared" / "frames"))
    if not folder.is_dir():
        pytest.skip(f"no real frames here: {folder} does not exist")
    return folder


@pytest.fixture(autouse=True)
def one_application(request: pytest.FixtureRequest) -> None:
    """The application of the window tests, before a picture drawn without a window makes a lesser one.

    Tests of pure code start none: they import nothing of the window.
    """
    if "polewright.ui" in sys.modules:
        request.getfixturevalue("qapp")


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The program needs no network: any attempt to open an internet socket fails the test."""
    real_connect = socket.socket.connect

    def connect(self: socket.socket, address: object) -> None:
        if self.family in (socket.AF_INET, socket.AF_INET6):
            raise AssertionError(f"a test tried to reach the network: {address!r}")
        real_connect(self, address)  # type: ignore[arg-type]

    monkeypatch.setattr(socket.socket, "connect", connect)
    yield


@pytest.fixture
def let_go() -> Iterator[Callable[[Any], Any]]:
    """For objects of Qt that a test makes: handed in, they are deleted with it, in its own thread.

    Left to the garbage collector they may be collected in the thread of a watcher that a later test has started, with
    their timers: the process dies there (return code 139), in another test each time.
    """
    made: list[Any] = []

    def keep(one: Any) -> Any:
        made.append(one)
        return one

    yield keep
    if made:
        import shiboken6

        for one in made:
            if shiboken6.isValid(one):
                shiboken6.delete(one)
