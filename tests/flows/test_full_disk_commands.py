"""Each command that writes, where a file may have so many bytes and no more: a documented exit, no litter."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from night_kit import rehearsed

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX file size limit")
LIMITED = """
import resource, sys
most = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
from polewright.__main__ import main
sys.exit(main(sys.argv[2:]))
"""
LINES = {
    "simulate": ["simulate", "out"],
    "simulate-drift": ["simulate", "out", "--drift", "30", "--every", "10"],
    "rehearse": ["rehearse", "--hand", "told", "--keep", "out"],
    "rehearse-temporary": ["rehearse", "--hand", "told"],
    "report": ["report", "night", "--out", "out"],
    "doctor": ["doctor", "--out", "out.zip"],
}
# Python 3.11 would leave byte code cut short beside the source, and could not start the program again
NO_BYTE_CODE = {"PYTHONDONTWRITEBYTECODE": "1"}


@pytest.mark.parametrize("most", [0, 1000, 100_000])
@pytest.mark.parametrize("name", LINES)
def test_a_full_disk_ends_a_command_with_a_sentence(name: str, most: int, tmp_path: Path) -> None:
    if name == "report":
        (tmp_path / "night").mkdir()
        (tmp_path / "night/night.jsonl").write_bytes(rehearsed("calm", 3).blob)
    (tmp_path / "tmp").mkdir()
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(most), *LINES[name], "--json"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={
            **os.environ,
            **NO_BYTE_CODE,
            "POLEWRIGHT_HOME": str(tmp_path / "home"),
            "TMPDIR": str(tmp_path / "tmp"),
            "PULSE_RUNTIME_PATH": str(tmp_path / "pulse"),  # the sound client makes a folder
        },
        timeout=120,
        check=False,
    )
    assert done.returncode in (0, 2, 3, 4), done.stderr
    assert "Traceback" not in done.stderr
    last = json.loads(done.stdout if "\n}" in done.stdout else done.stdout.splitlines()[-1])
    if most == 0 or "rehearse" in name:
        assert done.returncode in (2, 4) and "error" in last
    left = [path for path in tmp_path.rglob("*") if path.suffix in (".part", ".tmp", ".partial")]
    assert not left and not list((tmp_path / "tmp").iterdir())
