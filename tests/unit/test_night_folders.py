"""The folders of nights: what is left of deleted ones goes and nothing else, and no record names files of others."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from polewright.services.night_folders import kept_frame, sweep_deleted
from polewright.services.night_log import LOG_NAME


def night(folder: Path) -> Path:
    (folder / "frames").mkdir(parents=True)
    (folder / LOG_NAME).write_text("{}\n")
    (folder / "frames" / "a.fits").write_bytes(b"a")
    return folder


@pytest.mark.skipif(sys.platform == "win32", reason="links want rights there")
def test_only_what_is_left_of_deleted_nights_is_swept_away(tmp_path: Path) -> None:
    nights, elsewhere = tmp_path / "nights", night(tmp_path / "elsewhere")
    left = night(nights / ".2026-03-01.deleted-1")
    link, file = nights / ".2026-03-02.deleted-1", nights / ".2026-03-03.deleted-1"
    link.symlink_to(elsewhere, target_is_directory=True)
    file.write_text("not a night")
    kept = [night(nights / name) for name in ("2026-03-01", ".hidden", "2026-03-04.deleted-1")]
    sweep_deleted(nights)
    assert not left.exists()
    assert all((folder / "frames" / "a.fits").is_file() for folder in (*kept, elsewhere, link))
    assert file.read_text() == "not a night"
    sweep_deleted(tmp_path / "nowhere")


def test_a_record_names_frames_of_its_own_and_only_one_of_ours_others(tmp_path: Path) -> None:
    """A record that somebody sent may not make the window show any file of this computer."""
    ours, sent = night(tmp_path / "nights" / "2026-03-01"), night(tmp_path / "mail" / "night")
    camera = tmp_path / "camera" / "b.fits"
    camera.parent.mkdir()
    camera.write_bytes(b"b")
    for folder, other in ((ours, camera), (sent, None)):
        assert kept_frame(folder, "frames/a.fits", tmp_path / "nights") == folder / "frames" / "a.fits"
        assert kept_frame(folder, str(camera), tmp_path / "nights") == other
        assert kept_frame(folder, "../../camera/b.fits", tmp_path / "nights") is None
        assert kept_frame(folder, "frames/gone.fits", tmp_path / "nights") is None
        assert kept_frame(folder, "frames", tmp_path / "nights") is None
