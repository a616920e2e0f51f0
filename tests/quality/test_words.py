"""English lives in app/polewright/words. What other modules may say stands in the lists below, with the reason.

A sentence is a text with a space in it that ends like one, or holds the end of one and the beginning of the next.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

APP = Path(__file__).resolve().parents[2] / "app" / "polewright"
SENTENCE = re.compile(r"[\w{}%)″′°'\"’] [^\n]*[.?!]\s*$|[a-z}]\. [A-Z]", re.DOTALL)
MAY_SPEAK = {
    "words": "the room of words",
    "commands": "pages of the command line: option help and the lines around what words says",
    "services/report": "the page of the report, around what words says",
    "services/diagnostics.py": "the page of the doctor command",
    "services/support_bundle.py": "the page that goes with a bug report",
    "simulate/scenarios.py": "titles of the rehearsals, beside the numbers that they stand for",
    "services/credits.py": "references and licences, as their owners word them",
    "services/log_migration.py": "sentences of older versions, looked for and never said",
}
"""Whole rooms and files; everywhere else a sentence is a docstring, the message of an exception, or a mistake."""

RAISERS = re.compile(r".*(Error|_error|unreadable|_wrong|damaged)$", re.IGNORECASE)
"""Calls that make an exception: their message is for broken input, and says what is broken."""

CALLS_THAT_HELP = ("add_argument", "add_parser", "ArgumentParser", "warning", "error", "info", "debug", "compile")
"""Help of options, and lines of the program's log."""


def sources() -> list[Path]:
    return [path for path in sorted(APP.rglob("*.py")) if not _may_speak(path.relative_to(APP).as_posix())]


def _may_speak(name: str) -> bool:
    return any(name == part or name.startswith(f"{part}/") for part in MAY_SPEAK)


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Line and text of every sentence in the code of a module, docstrings and exceptions apart."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    apart = {id(node) for part in ast.walk(tree) if _stands_apart(part) for node in ast.walk(part)}
    for node in ast.walk(tree):
        text = _text(node)
        if id(node) not in apart and text is not None and SENTENCE.search(text):
            yield getattr(node, "lineno", 0), text


def _stands_apart(node: ast.AST) -> bool:
    if isinstance(node, ast.Raise | ast.Assert):
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True  # a docstring
    if not isinstance(node, ast.Call):
        return False
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    return name in CALLS_THAT_HELP or RAISERS.match(name) is not None


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(APP).as_posix())
def test_no_sentence_outside_the_room_of_words(path: Path) -> None:
    assert list(sentences(path)) == []


def test_every_exemption_is_needed() -> None:
    for part in MAY_SPEAK:
        files = [APP / part] if part.endswith(".py") else sorted((APP / part).rglob("*.py"))
        assert any(next(sentences(path), None) for path in files), f"{part} says nothing any more"


def test_the_check_sees_sentences(tmp_path: Path) -> None:
    module = tmp_path / "m.py"
    module.write_text(
        '"""A docstring is one."""\nX = f"{n} stars found, {m} needed."\nraise ValueError("It is broken.")\n'
    )
    assert list(sentences(module)) == [(2, "{} stars found, {} needed.")]
