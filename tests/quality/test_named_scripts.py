"""Whoever reads a measured figure can run what measured it: the scripts that pages and docstrings name exist."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PLACES = ("*.md", "resources/guide/*.md", "packaging/*.md", "app/**/*.py")
PAGES = [page for place in PLACES for page in ROOT.glob(place)]
SCRIPT = re.compile(r"tests/bench/\w+\.py")
SHARE = re.compile(r"\b\d+ of (?:the )?\d{2,}\b")


def test_every_script_that_is_named_exists() -> None:
    named = {(page.name, script) for page in PAGES for script in SCRIPT.findall(page.read_text("utf-8"))}
    assert len(named) > 10
    assert [pair for pair in sorted(named) if not (ROOT / pair[1]).is_file()] == []


def test_a_share_of_many_runs_in_the_page_on_accuracy_names_its_script() -> None:
    page = (ROOT / "resources/guide/accuracy.md").read_text("utf-8")
    told = [item for item in re.split(r"\n(?=\* |\n)", page) if SHARE.search(item)]
    assert len(told) > 2
    assert [item for item in told if "tests/bench/" not in item] == []
