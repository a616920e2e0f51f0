"""Odd numbers, paths and signals: a documented exit, a sentence, JSON where it was asked for, no traceback."""

from __future__ import annotations

import itertools
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from night_kit import rehearsed
from polewright.__main__ import main
from polewright.commands.options import BOUNDS
from polewright.commands.output import json_text
from polewright.simulate.fits_file import fits_bytes

ODD = ("0", "-1", "1e-320", "-1e-320", "1e308", "1e999", "inf", "-inf", "nan", "9" * 23, "", "٣", "x")
PLAN = ["tolerance", "--lat", "47", "--focal-length", "500", "--pixel-size", "4", "--sub", "60", "--dec", "10"]
WHERE = ["drift", "--where", "--lat", "47", "--lon", "11"]
LINES = {
    "tolerance": (PLAN, ("lat focal-length pixel-size binning sub dec ha-from hours guide-offset seeing blur error")),
    "simulate": (["simulate", "out"], "seed frames span adjust exposure lat lon elev drift every"),
    "locate": (["locate", "dark.fits"], "focal-length pixel-size utc-offset"),
    "measure": (["measure", "dark.fits"], "focal-length pixel-size utc-offset lat lon elev"),
    "follow": (["follow", "dark.fits"], "capture focal-length lat lon elev"),
    "drift": (WHERE, "certainty focal-length pixel-size utc-offset lat lon elev position-angle"),
    "replay": (["replay", "dark.fits"], "speed"),
    "window": (["window"], "seed"),
    "rehearse": (["rehearse"], "seed"),
}
MIGHT_WORK = {("simulate", option, odd) for option in ("lat", "lon", "elev", "adjust", "seed", "span") for odd in ODD}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("polewright.commands.window.open_window", lambda *_, **__: 0)
    monkeypatch.setattr("polewright.commands.rehearse.open_window", lambda *_, **__: 0)
    (tmp_path / "dark.fits").write_bytes(fits_bytes(np.full((64, 64), 100, np.uint16), {"EXPTIME": (1.0, "")}))
    return tmp_path


@pytest.mark.parametrize("command", LINES)
def test_odd_numbers_give_a_documented_exit(command: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line, options = LINES[command]
    for option, odd in itertools.product(options.split(), ODD):
        if (command, option, odd) in MIGHT_WORK and odd in ("0", "-1"):
            continue  # a sound night, and a long one
        asked = [*line, f"--{option}={odd}", *(["--json"] if command != "window" else [])]
        assert main(asked) in (0, 2, 3, 4), asked
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        for text in said.out.splitlines():
            json.loads(text, parse_constant=pytest.fail)


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ([*PLAN[:-2], "--object", ""], 2, "'' is not in the list"),
        (["simulate", "out", "--frames", "99999999999999999999999"], 2, "--frames must be between 1 and 10000"),
        (["simulate", "out", "--drift", "60", "--every", "inf"], 2, "--every must be between 0.1 and 7200 s"),
        (["rehearse", "--hand", "told", "--keep", "dark.fits/x"], 2, "cannot be created or read"),
        (["replay", "dark.fits"], 4, "contains no night"),
        (["report", "dark.fits"], 4, "contains no night"),
        (["tolerance"], 2, "the following arguments are required"),
        (["locate", "nowhere.fits"], 4, "does not exist"),
    ],
)
def test_refusals_come_as_json_too(
    line: list[str], code: int, words: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*line, "--json"]) == code
    said = capsys.readouterr()
    assert words in said.err
    facts = json.loads(said.out)
    assert facts["exit_code"] == code and words in facts["error"]
    assert main(line) == code and capsys.readouterr().out == ""


def test_a_target_at_the_pole_is_a_number_not_nan(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    blur = {}
    for target, dec in itertools.product(("true", "refracted"), ("90", "89.9999")):
        assert main([*PLAN[:-1], dec, "--target", target, "--json"]) in (0, 3)
        facts = json.loads(capsys.readouterr().out)
        assert None not in facts.values()
        blur[target, dec] = facts["blur_advised_px"]
    assert blur["true", "90"] == pytest.approx(blur["true", "89.9999"], rel=0.2)


def test_what_is_no_number_is_null() -> None:
    facts = {"a": float("nan"), "b": [1.5, (float("inf"),)], "c": {"d": float("-inf")}, "e": "nan"}
    assert json.loads(json_text(facts)) == {"a": None, "b": [1.5, [None]], "c": {"d": None}, "e": "nan"}


def test_a_rehearsal_is_never_kept_over_another(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "kept" / "night").mkdir(parents=True)
    assert main(["rehearse", "--hand", "told", "--keep", "kept"]) == 2
    assert "already contains a rehearsal" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["measure", "simulate", "tolerance"])
def test_a_misspelt_option_is_told_with_the_usage_of_its_command(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    valid = {"measure": ["a.fits"], "simulate": ["out"], "tolerance": PLAN[1:]}[command]
    assert main([command, *valid, "--focal-lenght", "240"]) == 2
    said = capsys.readouterr().err
    assert f"usage: polewright {command} " in said and "--focal-lenght" in said and "COMMAND" not in said


def test_a_missing_frame_here_is_told_without_the_dot_of_its_folder(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["locate", "nowhere.fits"]) == 4
    assert "nowhere.fits does not exist.\n" in capsys.readouterr().err
    assert main(["locate", "there/nowhere.fits"]) == 4
    assert "does not exist in there.\n" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["report", "replay"])
def test_the_folder_of_a_kept_rehearsal_is_taken_for_its_night(
    command: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = here / "kept"
    (kept / "night").mkdir(parents=True)
    (kept / "night" / "night.jsonl").write_bytes(rehearsed("calm", 3).blob)
    for folder in ("kept", "kept/night", "kept/night/night.jsonl"):
        assert main([command, folder, "--json"]) == 0, capsys.readouterr().err
    if command == "report":
        assert (kept / "night" / "report" / "reticle.png").exists() and not (kept / "report").exists()


def test_every_bound_names_an_option_and_a_range() -> None:
    assert all(low < high for low, high, _ in BOUNDS.values())


# being told to stop

SIGNALS = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
posix = pytest.mark.skipif(os.name == "nt", reason="signals are delivered otherwise there")


def heed_signals() -> None:
    """In the child: the signals as a terminal leaves them, whatever the test run itself was told to ignore (a shell
    starts what runs in the background with SIGINT ignored, nohup with SIGHUP)."""
    for name in SIGNALS:
        signal.signal(getattr(signal, name), signal.SIG_DFL)


def wait_until_it_listens(pid: int) -> None:
    """A busy machine needs longer to start Python than the test waits; before that no program hears a signal."""
    status = Path(f"/proc/{pid}/status")
    for _ in range(600):
        caught = re.search(r"SigCgt:\s*([0-9a-f]+)", status.read_text()) if status.exists() else None
        if caught is None or int(caught[1], 16) >> (signal.SIGTERM - 1) & 1:
            return
        time.sleep(0.05)


def stopped(arguments: list[str], name: str, after_s: float, home: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "POLEWRIGHT_HOME": str(home), "TMPDIR": str(home)}
    process = subprocess.Popen(
        [sys.executable, "-m", "polewright", *arguments], env=environment, cwd=home,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=heed_signals if os.name == "posix" else None,
    )  # fmt: skip
    time.sleep(after_s)
    wait_until_it_listens(process.pid)
    process.send_signal(getattr(signal, name))
    out, err = process.communicate(timeout=60)
    return subprocess.CompletedProcess(arguments, process.returncode, out, err)


@posix
@pytest.mark.parametrize("name", SIGNALS)
@pytest.mark.parametrize("after_s", [0.4, 3.0])
def test_the_window_closes_when_told_to(name: str, after_s: float, tmp_path: Path) -> None:
    done = stopped(["window"], name, after_s, tmp_path)
    assert done.returncode == 128 + getattr(signal, name)
    assert "Traceback" not in done.stderr and "Fatal" not in done.stderr


@posix
@pytest.mark.parametrize("name", SIGNALS)
def test_a_command_stops_with_json_and_leaves_nothing_behind(name: str, tmp_path: Path) -> None:
    done = stopped(["rehearse", "--hand", "told", "--json"], name, 6.0, tmp_path)
    assert done.returncode == 128 + getattr(signal, name)
    assert "Traceback" not in done.stderr
    assert json.loads(done.stdout.splitlines()[-1]) == {"error": "Stopped.", "exit_code": done.returncode}
    assert not list(tmp_path.glob("polewright-rehearsal-*"))


@posix
def test_a_rehearsal_in_the_window_leaves_no_folder_behind(tmp_path: Path) -> None:
    done = stopped(["window", "--rehearse"], "SIGTERM", 5.0, tmp_path)
    assert done.returncode == 128 + signal.SIGTERM and "Traceback" not in done.stderr
    assert not list(tmp_path.glob("polewright-rehearsal-*"))
