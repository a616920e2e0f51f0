"""No network, no unpickling, no way out of the program's folders; what comes from files is data and nothing else."""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import re
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from iso_time import utc_from_iso
from polewright.__main__ import main
from polewright.core.errors import FrameReadError, RecordingError
from polewright.core.model import Site, TargetPole, Utc
from polewright.core.night import events
from polewright.core.not_measurable import RecordedRefusal
from polewright.core.plain import to_plain
from polewright.core.unsolved import Unreadable
from polewright.services.clock import VirtualClock
from polewright.services.frame_reader import read_frame
from polewright.services.log_format import LoggedEvent
from polewright.services.night_export import export_csv
from polewright.services.night_folders import delete_night, kept_frame, own_night, recorded_nights
from polewright.services.profile_store import ProfileStore, file_stem
from polewright.services.profiles import RIGS, RigProfile
from polewright.services.recorder import NightRecorder
from polewright.ui.driving.recorded_frame import recorded_frame, recorded_picture
from small_layer import small_layer

REPOSITORY = Path(__file__).resolve().parents[2]
SOURCES = sorted((REPOSITORY / "app").rglob("*.py"))

# the source


@cache
def nodes() -> tuple[tuple[Path, ast.AST], ...]:
    """Every import and call of the program."""
    return tuple(
        (path.relative_to(REPOSITORY), node)
        for path in SOURCES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom | ast.Call)
    )


def test_no_module_can_unpickle_or_reach_a_network() -> None:
    banned = {
        "pickle", "cPickle", "dill", "joblib", "marshal", "shelve", "yaml", "urllib", "http", "ftplib", "smtplib",
        "requests", "httpx", "aiohttp", "socketserver", "xmlrpc", "webbrowser", "ssl", "PySide6.QtNetwork",
        "PySide6.QtWebSockets", "PySide6.QtWebEngineWidgets", "astropy.utils.data",
    }  # fmt: skip
    found = []
    for path, node in nodes():
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        found += [f"{path}: {name}" for name in names if name in banned or name.split(".")[0] in banned]
    assert not found


def test_nothing_is_run_that_came_from_a_file() -> None:
    """No eval, exec, compile, shell, or object arrays; only the look for a screen opens a (local) socket.

    A pair of sockets (the window's way to hear of signals) reaches nobody.
    """
    found = []
    for path, node in nodes():
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        keywords = {word.arg: ast.unparse(word.value) for word in node.keywords}
        if called in ("eval", "exec", "compile", "__import__", "os.system", "os.popen"):
            found.append(f"{path}: {called}")
        if keywords.get("shell") == "True" or keywords.get("allow_pickle", "False") != "False":
            found.append(f"{path}: {called} with {keywords}")
        if called.startswith("socket.") and called != "socket.socketpair" and "AF_UNIX" not in ast.unparse(node):
            found.append(f"{path}: {ast.unparse(node)}")
    assert not found


def test_only_names_of_our_own_modules_are_imported_by_name() -> None:
    calls = [
        (str(path), ast.unparse(node.args[0]))
        for path, node in nodes()
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module")
    ]
    assert calls and all(argument.strip("f").startswith(("'polewright.", '"polewright.')) for _, argument in calls)


# the running program

WATCHED = """
import os, sys
from pathlib import Path
home = Path(os.environ["POLEWRIGHT_HOME"]).resolve()
BANNED = ("socket.", "urllib.", "http.", "ftplib.", "smtplib.", "pickle.find_class", "os.system", "subprocess.Popen",
          "os.exec", "webbrowser.")
LOCAL = ("socket.gethostname",)

def watch(event, args):
    if event.startswith(BANNED) and event not in LOCAL:
        sys.stderr.write(f"FORBIDDEN {event} {args!r}\\n")
        os._exit(77)
    if event == "open" and isinstance(args[2], int) and args[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
        path = Path(os.fsdecode(args[0])).resolve() if not isinstance(args[0], int) else home
        if not path.is_relative_to(home) and str(path) != os.devnull:
            sys.stderr.write(f"WRITTEN {path}\\n")
            os._exit(78)

from polewright.__main__ import main
import _socket, socket  # loaded before, so that only their use counts
sys.dont_write_bytecode = True
sys.addaudithook(watch)
code = main(sys.argv[1:])
sys.stdout.flush()
os._exit(code)
"""


@pytest.fixture(scope="module")
def frame(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("frames")
    assert main(["simulate", str(folder), "--scenario", "calm", "--seed", "3", "--frames", "2", "--json"]) == 0
    return sorted(folder.glob("*.fits"))[0]


def test_a_frame_is_located_without_network_and_writing_only_at_home(frame: Path) -> None:
    """Python's audit hooks (PEP 578) end the process at the first socket, unpickled class, child or foreign file."""
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, "locate", str(frame), "--json"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["solved"] is True


def test_the_watch_itself_bites(tmp_path: Path) -> None:
    for line, code in (
        ("import socket; socket.socket(socket.AF_INET, socket.SOCK_STREAM).connect(('127.0.0.1', 9))", 77),
        ("import pickle; pickle.loads(pickle.dumps(os.path.join))", 77),
        (f"open({str(tmp_path / 'x')!r}, 'w')", 78),
    ):
        script = WATCHED.replace("code = main(sys.argv[1:])", f"code = 0\n{line}")
        done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
        assert done.returncode == code, (line, done.stderr)


# paths from logs and profiles


@pytest.fixture
def night(tmp_path: Path, frame: Path) -> Path:
    """A night received from somebody: one frame inside, one file beside it that is nobody's business."""
    folder = tmp_path / "received"
    (folder / "frames").mkdir(parents=True)
    (folder / "frames" / "a.fits").write_bytes(frame.read_bytes())
    (tmp_path / "secret.fits").write_bytes(frame.read_bytes())
    return folder


@pytest.mark.parametrize(
    "named",
    [
        "../secret.fits",
        "frames/../../secret.fits",
        "ABSOLUTE",
        "frames/link.fits",
        "linked/secret.fits",
        "/dev/zero",
        "//server/share/secret.fits",
        "..",
        "frames",
        "frames/a.fits\0",
        "x" * 5000,
    ],
)
def test_a_received_log_names_files_of_its_own_folder_only(named: str, night: Path, tmp_path: Path) -> None:
    if hasattr(os, "symlink") and os.name != "nt":
        (night / "frames" / "link.fits").symlink_to(tmp_path / "secret.fits")
        (night / "linked").symlink_to(tmp_path)
    named = str(tmp_path / "secret.fits") if named == "ABSOLUTE" else named
    assert kept_frame(night, named, tmp_path / "nights") is None
    assert recorded_picture("a", recorded_frame({"file": named}), night, tmp_path / "nights") is None


def test_frames_inside_the_night_are_found(night: Path, tmp_path: Path) -> None:
    assert kept_frame(night, "frames/a.fits", tmp_path / "nights") == night / "frames" / "a.fits"
    assert recorded_picture("a", recorded_frame({"file": "frames/a.fits"}), night, tmp_path / "nights") is not None


def test_a_night_of_our_own_may_name_where_the_camera_put_a_frame(tmp_path: Path, frame: Path) -> None:
    nights = tmp_path / "nights"
    (nights / "2026-03-01").mkdir(parents=True)
    assert kept_frame(nights / "2026-03-01", str(frame), nights) == frame
    assert kept_frame(nights / "2026-03-01", "../../x", nights) is None


def test_a_night_to_go_on_with_lies_among_our_own(tmp_path: Path) -> None:
    nights = tmp_path / "nights"
    (nights / "2026-03-01").mkdir(parents=True)
    assert own_night(nights, str(nights / "2026-03-01")) == nights / "2026-03-01"
    for elsewhere in ("", "/", str(tmp_path), str(nights), str(nights / ".." / "x"), str(nights / "a" / "b"), "a\0b"):
        assert own_night(nights, elsewhere) is None, elsewhere


@pytest.mark.parametrize("name", ["../../x", "/etc/passwd", "..", "C:\\x", "a/b", "nul", "con", "\u202e", "a\0b"])
def test_a_profile_never_leaves_its_folder(name: str, tmp_path: Path) -> None:
    stored = ProfileStore(tmp_path, RIGS).add(RigProfile(name))
    assert stored.path.parent == tmp_path / "rigs" and stored.path.name == f"{file_stem(name)}.json"
    assert {path.parent for path in tmp_path.rglob("*.json")} == {tmp_path / "rigs"}


# text from files


def test_names_of_files_cannot_steer_a_terminal(
    frame: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if os.name == "nt":
        pytest.skip("no such names there")
    hostile = tmp_path / "a\x1b[2J\x07\n.fits"
    hostile.write_bytes(frame.read_bytes())
    undecodable = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff\xfe.fits"))
    undecodable.write_bytes(b"x")
    assert main(["locate", str(hostile)]) == 0
    assert main(["locate", str(undecodable)]) == 4
    said = "".join(capsys.readouterr())
    assert "\x1b" not in said and "\x07" not in said and "a[2J.fits" in said


def test_header_values_are_data(tmp_path: Path, frame: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Format strings, paths, markup and control codes in a header change neither the answer nor the terminal."""
    from astropy.io import fits

    data, header = fits.getdata(frame, header=True)
    for key, value in {
        "OBJECT": "%s%n{0.__class__}../../etc",
        "TELESCOP": "<script>alert(1)</script>",
        "INSTRUME": "${HOME}`id`",
        "AIRMASS": "%(x)s",
        "SITELAT": "{site!r}",
        "FILENAME": "/etc/passwd",
    }.items():
        header[key] = value
    hostile = tmp_path / "hostile.fits"
    fits.writeto(hostile, data, header)
    assert main(["locate", str(hostile), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["solved"] is True
    assert not any("root:" in text or "Site(" in text for text in facts["warnings"])


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX devices and pipes")
def test_devices_and_pipes_are_no_frames(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.fits")
    for path in (Path("/dev/zero"), tmp_path / "pipe.fits"):
        with pytest.raises(FrameReadError, match="device or a pipe"):
            read_frame(path)


def test_a_report_shows_markup_from_a_record_as_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A hostile name, reason, file and folder in a record end up as text on the page and in its pictures."""
    hostile = "<script>alert(1)</script><img src=x onerror=alert(2)>{{7*7}}'\"</svg>"
    folder = tmp_path / "nights" / "a&<b onload=alert(3)>"
    night = NightRecorder(folder, VirtualClock(utc_from_iso("2026-03-01T20:00:00")))
    started = events.NightStarted(0.0, Site(52.3, 3.0, 84.0), TargetPole.REFRACTED, 0.914, 1.5e-4)
    for event in (
        started,
        events.NextAsked(10.0),
        *(events.FrameUnsolved(20.0 + 30.0 * i, f"{hostile}-{i}.fits", Unreadable(hostile)) for i in range(8)),
        events.AxisRefused(280.0, RecordedRefusal(hostile, hostile)),
        events.FolderLost(300.0, hostile),
    ):
        night.record("event", to_plain(event))
    night.record("fault", {"where": hostile, "error": hostile, "traceback": hostile})
    night.close()
    assert main(["report", str(folder), "--out", str(tmp_path / "out")]) == 0
    capsys.readouterr()
    pages = {
        path.name: path.read_text(encoding="utf-8") for path in (tmp_path / "out").iterdir() if path.suffix != ".png"
    }
    assert any(name.endswith(".html") for name in pages)
    assert any("&lt;script&gt;" in text or "onload=alert(3)&gt;" in text for text in pages.values()), "it is shown"
    for name, text in pages.items():
        if name.endswith((".html", ".svg")):
            found = re.search(r"<script|<img|<b onload|onerror=alert\(2\)>|>49<|(?:src|href)=\"(?:https?:)?//", text)
            assert found is None, f"{name}: {text[max(0, found.start() - 80) : found.end() + 80]}"


def test_a_table_holds_no_formula() -> None:
    """CSV injection: OWASP, "CSV Injection", characters that begin a formula in a spreadsheet."""
    data = {"name": "=cmd|' /C calc'!A0", "other": "@x", "east": -1.5, "odd": "\udcff", "+key": "plain"}
    events = [LoggedEvent(1, 0.0, Utc(2461101.5, 0.0), "frame", data)]
    text = export_csv(events, ["frame"])
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["name"] == "'=cmd|' /C calc'!A0" and row["other"] == "'@x" and row["east"] == "-1.5"
    assert row["'+key"] == "plain" and text.encode("utf-8")


def test_no_array_of_objects_can_come_out_of_a_layer_file(tmp_path: Path) -> None:
    """An array of dtype object would be pointers from a file."""
    from polewright.services.layer_file import DAMAGED, LayerFileError, read_layer, write_layer

    stream, path = io.BytesIO(), tmp_path / "x.index"
    write_layer(stream, small_layer(), "c")
    header = json.loads(stream.getvalue()[:4096])
    for entry in header["arrays"].values():
        entry["dtype"] = "|O"
    path.write_bytes(json.dumps(header).encode().ljust(4096) + stream.getvalue()[4096:])
    with pytest.raises(LayerFileError, match=DAMAGED):
        read_layer(path, "c")


def test_nobody_can_open_a_night_while_it_is_deleted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    night = tmp_path / "2026-03-01"
    night.mkdir()
    (night / "night.jsonl").write_text("log")
    seen: list[bool] = []

    def refuse(folder: Path) -> None:
        seen.append(night.exists() or recorded_nights(tmp_path) != [])
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patched:
        patched.setattr(shutil, "rmtree", refuse)
        with pytest.raises(RecordingError, match="cannot be deleted: Permission denied"):
            delete_night(night, tmp_path)
    assert seen == [False]
    assert recorded_nights(tmp_path) == [night], "what cannot be deleted stays where it was"
    delete_night(night, tmp_path)
    assert list(tmp_path.iterdir()) == []
