"""The static checks are tests: layers, style, formatting, types."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
TOOLS = {
    "import contracts": [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
    "ruff check": [sys.executable, "-m", "ruff", "check", "--no-cache", "app", "tests", "packaging"],
    "ruff format": [sys.executable, "-m", "ruff", "format", "--check", "--no-cache", "app", "tests", "packaging"],
    "mypy strict": [sys.executable, "-m", "mypy", "--no-error-summary", "app", "tests"],
}


@pytest.mark.parametrize("name", TOOLS)
def test_static_check(name: str) -> None:
    done = subprocess.run(TOOLS[name], cwd=REPOSITORY, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{name}:\n{done.stdout}\n{done.stderr}"


@pytest.mark.skipif(shutil.which("desktop-file-validate") is None, reason="desktop-file-utils is not installed")
def test_the_desktop_entry_is_valid() -> None:
    command = ["desktop-file-validate", str(REPOSITORY / "packaging" / "polewright.desktop")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0 and not done.stdout, done.stdout
