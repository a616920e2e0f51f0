"""Whose work lies in a frozen build, file by file, and where its licence text lies: used by polewright.spec.

Every shared library that the build takes along comes from a Python library (its RECORD names the file), from a
package of the system (dpkg names it), or from Python itself. `write_listing` makes the folder that ships as
`polewright/resources/licences`: the texts, `NOTICE.txt` for people and `shipped.json`, which smoke_test.py checks.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Iterable, Sequence
from importlib.metadata import Distribution
from pathlib import Path
from typing import Any

from polewright.core.credit import Library, licence_ids
from polewright.services.credits import plain_name, read_credits, required_distributions
from polewright.words.credits import credit_lines

Entry = tuple[str, str, str]  # name in the build, file it comes from, kind
DOCUMENTS = Path("/usr/share/doc")
PYTHON_TEXT = "Python-2.0.1.txt"


def write_listing(folder: Path, texts: Path, entries: Iterable[Entry], left_out: Sequence[str]) -> None:
    """Fill `folder` with a copy of `texts`, the system's own texts, the notice and the listing of `entries`."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(texts, folder)
    (folder / "system").mkdir()
    shipped = [d for d in required_distributions() if plain_name(d.metadata["Name"]) not in left_out]
    owners = {
        Path(str(file.locate())).resolve(): plain_name(d.metadata["Name"]) for d in shipped for file in d.files or ()
    }
    libraries = {library.name: library for library in read_credits().libraries if library.name not in left_out}
    files = {name: _origin(Path(source).resolve(), owners, libraries, folder) for name, source, _ in sorted(entries)}
    listing = {"files": files, "libraries": {d.metadata["Name"]: _texts_of(d) for d in shipped}}
    (folder / "shipped.json").write_text(json.dumps(listing, indent=1) + "\n", encoding="utf-8")
    (folder / "NOTICE.txt").write_text("\n".join(_notice(libraries.values(), files)) + "\n", encoding="utf-8")


def _origin(path: Path, owners: dict[Path, str], libraries: dict[str, Library], folder: Path) -> dict[str, Any]:
    """Who made a file, and the names of the texts, in `folder`, of the licences it is under."""
    if path in owners:
        library = libraries[owners[path]]
        expressions = [library.licence, *(part.licence for part in library.parts)]
        names = sorted({name for expression in expressions for name in licence_ids(expression)})
        return {"from": f"{library.name} {library.version}", "texts": [f"{name}.txt" for name in names]}
    if path.is_relative_to(Path(sys.base_prefix).resolve()):
        return {"from": f"Python {sys.version.split()[0]}", "texts": [PYTHON_TEXT]}
    package = _package_of(path)
    text = DOCUMENTS / package / "copyright"
    if not package or not text.exists():
        return {"from": f"unknown: {path}", "texts": []}
    shutil.copyfile(text, folder / "system" / f"{package}.txt")
    return {"from": f"package {package}", "texts": [f"system/{package}.txt"]}


def _package_of(path: Path) -> str:
    """The Debian package that a file belongs to, "" where there is none or no Debian."""
    if shutil.which("dpkg") is None:
        return ""
    for name in (str(path), str(path).removeprefix("/usr")):
        said = subprocess.run(["dpkg", "-S", name], capture_output=True, text=True, check=False).stdout
        if said:
            return said.split(":", 1)[0].split(",")[0]
    return ""


def _texts_of(found: Distribution) -> list[str]:
    """The licence files in a library's own dist-info."""
    words = ("licen", "copying", "notice", "authors")
    inside = [file for file in found.files or () if ".dist-info" in str(file)]
    return [str(file) for file in inside if any(word in file.name.lower() for word in words)]


def _notice(libraries: Iterable[Library], files: dict[str, Any]) -> list[str]:
    credits = read_credits()
    kept = {library.name for library in libraries}
    shown = type(credits)(credits.version, credits.data, tuple(lib for lib in credits.libraries if lib.name in kept))
    system = sorted({entry["from"] for entry in files.values() if entry["from"].startswith(("package", "Python"))})
    return [
        *credit_lines(shown), "",
        "The libraries under the LGPL lie beside the program as files of their own and may be exchanged.", "",
        "From Python and from the system this was built on; the texts lie in the folder system",
        *(f"  {name}" for name in system), "",
        "The starter of the frozen program is that of PyInstaller: GPL-2.0 with an exception that covers this use.",
    ]  # fmt: skip
