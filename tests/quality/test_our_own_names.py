"""Names and numbers that belong to others stay out of the tree: in code, tests, texts and file names.

The list speaks in general terms and is written so that it does not find itself. Licence texts are left out.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
TOP = ("app", "resources", "tests", "packaging", ".ci")
TEXTS = (".py", ".md", ".txt", ".toml", ".html", ".json", ".svg", ".spec", ".desktop", ".csv", "")
FORBIDDEN = {
    "the word for a pilot that flies by itself": r"(?i)auto[ _-]?pilot",
    "pixel counts of makers' sensors": r"\b(?:1936 ?[x×,] ?(?:1096|1216)|6248 ?[x×,] ?4176|3096 ?[x×,] ?2080)\b",
    "the same, one to a line": r"(?:width|height)_px(?:: int)? ?= ?(?:1936|1216|1096|6248|4176|3096|2080)\b",
    "pixel sizes of makers' sensors": r"(?<![\d.])(?:5\.86|3\.76|2\.9|3\.75|2\.4) ?(?:um\b|µm)",
    "the same, as an argument": r"pixel_(?:um|size|size_um)(?:: float)? ?[=:] ?\"?(?:5\.86|3\.76|2\.9|3\.75|2\.4)\b",
    "model numbers of cameras": r"\bnumber=(?:174|29)\b",
    "an image type as one program spells it": r"(?i)\blight [f]rame[\"']",
    "the code of a station": r"(?<![A-Za-z])U[K]\d{3}",
    "a person's folder": r"/home/(?!observer\b)[a-z]\w+|(?:/|\\\\)Users(?:/|\\\\)\w+",
    "a folder of the machine this was written on": r"(?<![\w.])/wor[k]/",
    "a package registry's host": r"py[p]i\.org|python[h]osted|npm[j]s\.|proxy\.gola[n]g",
}


def files() -> list[Path]:
    """Every text file of the project, licence texts left out."""
    found = [path for path in REPOSITORY.iterdir() if path.is_file()]
    for top in TOP:
        found += [path for path in (REPOSITORY / top).rglob("*") if path.is_file()]
    ours = [path for path in found if path.suffix in TEXTS and "__pycache__" not in path.parts]
    return [path for path in ours if not (path.suffix == ".txt" and "licences" in path.parts) and path.name != ".git"]


@pytest.mark.parametrize("what", FORBIDDEN)
def test_nothing_of_others_is_named(what: str) -> None:
    pattern = re.compile(FORBIDDEN[what])
    bad = []
    for path in files():
        inside = path.relative_to(REPOSITORY).as_posix()
        text = path.read_text(encoding="utf-8", errors="ignore")
        if path != Path(__file__):
            bad += [f"{inside}: {match[0]}" for match in pattern.finditer(f"{inside}\n{text}")]
    assert not bad, f"{what}:\n" + "\n".join(bad)


def test_the_list_finds_what_it_forbids() -> None:
    samples = (
        "auto" + "pilot", "1936 x " + "1096", "width_px=19" + "36", "3.7" + "6 um", "pixel_um=5." + "86",
        "number=1" + "74", '"Light F' + 'rame"', "FF_U" + "K001", "/home/so" + "mebody", "/wor" + "k/main",
        "py" + "pi.org",
    )  # fmt: skip
    for pattern, sample in zip(FORBIDDEN.values(), samples, strict=True):
        assert re.search(pattern, sample), sample
    assert len(files()) > 400


def test_invented_places_have_one_decimal() -> None:
    """One decimal is checked here; that they lie at sea, far from any town, is seen on a map when one is added."""
    from polewright.simulate.scenarios import SCENARIOS

    for scenario in SCENARIOS.values():
        for degrees in (scenario.site.lat_deg, scenario.site.lon_deg):
            assert round(degrees, 1) == degrees, scenario.name
