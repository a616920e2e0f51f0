"""The pages of the user guide, and the place in them that tells of something. The window looks up what it says, as a
reader would: a sentence of the program that the guide quotes leads to the page that quotes it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from polewright.services.resources import find_resource

INDEX, MESSAGES = "index.md", "messages.md"
LEAST_WORDS = 3  # fewer words in a row are found anywhere
ENDS = ".,:;"
MARKS = re.compile(r"[*`_]")


@dataclass(frozen=True)
class Place:
    """A page of the guide and words in it, "" for its beginning."""

    page: str
    words: str = ""


@cache
def guide_pages() -> dict[str, str]:
    """Every page as Markdown, by its file name; empty where the guide is missing."""
    folder = find_resource("guide")
    pages = sorted(folder.glob("*.md")) if folder is not None else []
    return {page.name: page.read_text(encoding="utf-8") for page in pages}


def guide_picture(name: str) -> bytes | None:
    """A picture that a page shows, None where it is missing or lies elsewhere."""
    folder = find_resource("guide")
    if folder is None or not (folder / name).resolve().is_relative_to((folder / "pictures").resolve()):
        return None
    return (folder / name).read_bytes() if (folder / name).is_file() else None


def place_of(sentences: tuple[str, ...], otherwise: str = INDEX) -> Place:
    """Where the guide tells of the first of these sentences that it knows; the beginning of `otherwise` if none."""
    for sentence in sentences:
        for sought in _beginnings(sentence.split()):
            for name in (MESSAGES, *guide_pages()):
                if sought in _plain(name):
                    return Place(name, sought)
    return Place(otherwise)


def _beginnings(words: list[str]) -> Iterator[str]:
    """The sentence, then ever shorter beginnings of it; the shortest as the guide writes them, with an ellipsis."""
    yield " ".join(words).rstrip(ENDS)
    for count in range(len(words) - 1, 0, -1):
        begun = " ".join(words[:count]).rstrip(ENDS)
        yield begun if count >= LEAST_WORDS else f"{begun} …"


@cache
def _plain(name: str) -> str:
    """The text of a page without marks of emphasis, its lines joined."""
    return " ".join(MARKS.sub("", guide_pages().get(name, "")).split())
