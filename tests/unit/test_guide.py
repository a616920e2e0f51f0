"""The user guide is followed literally: its commands are run, its transcripts compared, its quotations looked up."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest

from polewright.__main__ import main
from polewright.services.resources import find_resource
from polewright.simulate.scenarios import SCENARIOS

REPOSITORY = Path(__file__).resolve().parents[2]
GUIDE = REPOSITORY / "resources" / "guide"
PAGES = sorted(GUIDE.glob("*.md"))
BLOCK = re.compile(r"```sh\n(.*?)```(?:\n\n```text\n(.*?)```)?", re.DOTALL)
RUN = ("simulate", "locate", "measure", "follow", "tolerance", "drift")


def commands(page: Path) -> list[tuple[list[str], str]]:
    """Each command line of a page, in order, with what the page says it prints ("" where it says nothing)."""
    found = []
    for block, printed in BLOCK.findall(page.read_text(encoding="utf-8")):
        lines = block.strip().splitlines()
        found += [(shlex.split(line), printed if line == lines[-1] else "") for line in lines]
    return found


def test_the_guide_ships_with_the_program() -> None:
    assert find_resource("guide/index.md") is not None and len(PAGES) == 12


@pytest.mark.parametrize("name", ["practice.md", "accuracy.md", "drift.md"])
def test_the_transcripts_come_out_as_printed(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = 0
    for words, printed in commands(GUIDE / name):
        assert words[0] == "polewright"
        if words[1] not in RUN:
            continue
        capsys.readouterr()
        assert main(words[1:]) == 0, words
        said = capsys.readouterr().out
        assert said.startswith(printed), f"{' '.join(words)}\nnow prints:\n{said}"
        ran += 1
    assert ran >= 1


def test_the_practice_measures_what_the_page_says_is_true(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reader compares the measured axis with the printed truth: off by what the tube bends, no more."""
    monkeypatch.chdir(tmp_path)
    lines = [words for words, _ in commands(GUIDE / "practice.md") if words[1] in ("simulate", "measure")]
    assert [main(words[1:]) for words in lines[:1]] == [0]
    capsys.readouterr()
    assert main([*lines[1][1:], "--json"]) == 0
    axis = json.loads(capsys.readouterr().out)["axis"]
    page = (GUIDE / "practice.md").read_text(encoding="utf-8")
    west, high = re.findall(r"True axis after the capture: ([\d.]+)' too far west, ([\d.]+)' too high", page)[0]
    assert axis["east_arcmin"] == pytest.approx(-float(west), abs=0.15)
    assert axis["up_arcmin"] == pytest.approx(float(high), abs=0.15)


def test_every_other_command_exists_with_its_options(capsys: pytest.CaptureFixture[str]) -> None:
    from polewright.commands.line import COMMANDS

    text = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    named = re.findall(r"polewright ([a-z]+)((?: --[a-z-]+)*)", text)
    assert {command for command, _ in named} <= set(COMMANDS) | {"rehearse"}
    for page in PAGES:
        for words, _ in commands(page):
            capsys.readouterr()
            assert main([words[1], "--help"]) == 0
            told = capsys.readouterr().out
            for option in (word for word in words if word.startswith("--")):
                assert option in told, (page.name, words)


def test_links_and_pictures_are_there() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
            assert (GUIDE / target).is_file(), f"{page.name}: {target}"


def test_every_simulated_night_is_described() -> None:
    table = re.findall(r"^\| `([a-z-]+)` \|", (GUIDE / "practice.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert sorted(table) == sorted(SCENARIOS)


def test_every_message_is_one_the_program_can_say() -> None:
    """The first column of the tables quotes the program; `…` stands for what changes."""
    sources = "\n".join(path.read_text(encoding="utf-8") for path in (REPOSITORY / "app").rglob("*.py"))
    sources = re.sub(r'"\s*\n\s*f?"', "", sources)  # texts that go on in the next line of the source
    quoted = []
    for line in (GUIDE / "messages.md").read_text(encoding="utf-8").splitlines():
        if line.startswith(("| **", "| *")):
            quoted += re.findall(r"\*+([^*]+)\*+", line.split("|")[1])
    assert len(quoted) > 25
    for quote in quoted:
        for part in (piece.strip() for piece in quote.split("…")):
            assert not part or part in sources, f"{quote}: nothing in the program says '{part}'"


def test_the_cautions_that_belong_to_the_work_are_there() -> None:
    text = (GUIDE / "cautions.md").read_text(encoding="utf-8")
    for word in ("Sun", "clutch", "Counterweights", "never force", "Lock the base", "Cables", "tripod", "manual"):
        assert word in text
