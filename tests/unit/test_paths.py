"""Where things are kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from polewright.services.paths import cache_folder, config_folder, data_folder


def test_one_home_holds_all(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("POLEWRIGHT_HOME", str(tmp_path))
    folders = {config_folder(), data_folder(), cache_folder()}
    assert len(folders) == 3 and all(folder.parent == tmp_path for folder in folders)


def test_otherwise_the_platform_decides(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("POLEWRIGHT_HOME", raising=False)
    assert all("polewright" in folder.parts for folder in (config_folder(), data_folder(), cache_folder()))
