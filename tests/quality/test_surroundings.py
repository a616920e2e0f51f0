"""The surroundings that `.ci/run` tries the suite in: each is met, and a commit chooses one."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(shutil.which("bash") is None, reason="a script of the shell")


def shown(number: int, here: Path, *, there: bool = True) -> list[str]:
    """What the script would do for a commit of this number, with the other Pythons there or missing."""
    for name in ("python3.12", "python3.13"):
        (here / name).write_text(f"#!/bin/sh\nexit {0 if there else 1}\n")
        (here / name).chmod(0o755)
    surroundings = {**os.environ, "PATH": f"{here}{os.pathsep}{os.environ['PATH']}"}
    script = ["bash", ".ci/run", "--show", str(number)]
    told = subprocess.run(script, cwd=PROJECT, env=surroundings, capture_output=True, encoding="utf-8", check=True)
    return told.stdout.splitlines()


@pytest.mark.parametrize("number", [0, 1, 2, 3, 7, 8])
def test_the_command_of_the_readme_is_run_as_it_stands_in_other_surroundings(number: int, tmp_path: Path) -> None:
    usual = next(line for line in (PROJECT / "README.md").read_text("utf-8").splitlines() if "pytest -q" in line)
    about, command = shown(number, tmp_path)
    assert command == f"+ {usual}"
    told = ("TZ=Asia/Kolkata", "LC_ALL=C", "LC_ALL=de_DE.UTF-8", "_ORDER=3", "", "", "", "Größe und Maß", "=Haswell")
    assert told[number] in about


@pytest.mark.parametrize(
    ("number", "told"), [(13, "+ python3.12 -m"), (23, "+ python3.13 -m"), (33, "pytest -q -n 0")]
)
def test_other_pythons_and_one_process(number: int, told: str, tmp_path: Path) -> None:
    assert told in shown(number, tmp_path)[-1]


def test_a_python_that_is_missing_is_told(tmp_path: Path) -> None:
    told = shown(4, tmp_path, there=False)
    assert told[0] == "python3.12 is not here: python3 takes its place" and told[-1].startswith("+ python3 -m")
