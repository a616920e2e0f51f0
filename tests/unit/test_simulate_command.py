"""`polewright simulate`: the files, the truth beside them, and what it says when asked for nonsense."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from polewright.__main__ import main
from polewright.core.angles import ARCMIN_PER_RAD, separation_rad
from polewright.simulate.sequence import TRUTH_NAME


def test_a_sequence_with_the_truth_beside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "night"
    exact = ["--scenario", "perfect-calm", "--seed", "7"]
    assert main(["simulate", str(folder), *exact, "--frames", "3", "--span", "60", "--adjust", "4"]) == 0
    assert "7 frames and truth.json written" in capsys.readouterr().out
    truth = json.loads((folder / TRUTH_NAME).read_text(encoding="utf-8"))
    names = [f["file"] for f in truth["frames"]]
    assert sorted(p.name for p in folder.iterdir()) == sorted([*names, TRUTH_NAME])
    assert [f["stage"] for f in truth["frames"]] == ["capture"] * 3 + ["adjust"] * 4
    offsets = [f["axis"]["from_refracted_pole"]["total_arcmin"] for f in truth["frames"]]
    assert max(offsets[:3]) - min(offsets[:3]) < 0.01
    assert offsets[-1] < 0.75 * offsets[0]
    assert all(len(f["stars"]) > 20 for f in truth["frames"])
    attitudes = [np.array(f["attitude_optical_axis_to_observed_enu"]) for f in truth["frames"][:3]]
    axis = np.array(truth["frames"][0]["axis"]["enu"])
    # nothing but the RA axis turned: it stays where it is in the camera
    seen = [a.T @ axis for a in attitudes]
    assert separation_rad(seen[0], seen[2]) * ARCMIN_PER_RAD < 0.01


def test_json_prints_the_truth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = [
        "simulate",
        str(tmp_path),
        "--scenario",
        "southern-sky",
        "--lat",
        "-12.5",
        "--frames",
        "2",
        "--no-tracking",
        "--json",
    ]
    assert main(arguments) == 0
    truth = json.loads(capsys.readouterr().out)
    assert truth["site"]["lat_deg"] == -12.5
    assert [f["tracking"] for f in truth["frames"]] == [False, False]


@pytest.mark.parametrize(
    ("extra", "sentence"),
    [
        (["--scenario", "picnic"], "Choose one of: calm, first-night"),
        (["--frames", "0"], "--frames must be between 1"),
        (["--span", "400"], "between -160 and 160 degrees"),
        (["--exposure", "0"], "between 0.001 and 600"),
        (["--seed", "-3"], "--seed must be between 0"),
        (["--lat", "95"], "latitude must be between"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], extra: list[str], sentence: str
) -> None:
    assert main(["simulate", str(tmp_path / "n"), *extra]) == 2
    assert sentence in capsys.readouterr().err
    assert not (tmp_path / "n").exists()


def test_a_folder_that_cannot_be_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert main(["simulate", str(tmp_path / "file")]) == 2
    assert "cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize("there", ["truth.json", "light-0007.fits", "light-0007.cr2"])
def test_frames_of_two_mounts_are_never_mixed(tmp_path: Path, capsys: pytest.CaptureFixture[str], there: str) -> None:
    (tmp_path / there).write_bytes(b"another mount")
    (tmp_path / "notes.txt").write_bytes(b"no matter")
    assert main(["simulate", str(tmp_path), "--frames", "1"]) == 2
    assert "already contains frames" in capsys.readouterr().err
    assert len(list(tmp_path.iterdir())) == 2
