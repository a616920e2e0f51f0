"""Over all recorded nights: what a screen tells twice, it tells in the same figures."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import pytest

import recorded_nights as kept
from polewright.core.night.states import Running
from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.history import NightHistory
from polewright.ui.presenting.night import present
from polewright.ui.view_model import Fact, View

ANGLE = r"(?:about )?\d[\d.]*(?:°|′|″)"
AXIS_IS = re.compile(rf"The axis is (?P<size>{ANGLE}) (?P<side>too far east|too far west|too high|too low)\.")
TOTAL = re.compile(rf"(?:Good enough for tonight: |^)(?P<size>{ANGLE})(?:, needed|\.$| off, needed)")
KNOWN = re.compile(r"Known to (?P<size>± [\d.]+.) so far")
SO_FAR = re.compile(rf"(?P<size>{ANGLE}) (?P<side>too far east|too far west|too high|too low), (?P<sigma>± [\d.]+.)")

LED = ("halting", "walking")
WAYS = (  # a direction comes before the way that it is set against
    "clockwise", "anticlockwise", "the same way", "the other way",
)  # fmt: skip


def views(name: str) -> Iterator[View]:
    """The screen after each event of a recorded night."""
    night, history = Course(), NightHistory()
    for _, event in recorded_events(kept.read_log(name)):
        night.take(event)
        history.take(night.state)
        if isinstance(night.state, Running):
            yield present(night.state, night.advice, Extras(night.state.now_s, history=history))


def contradictions(view: View, led: bool = False) -> Iterator[str]:
    """Every figure of the sentence, the rail or the reading mode that the numbers give otherwise."""
    said, rows = view.instruction, {fact.label: fact for fact in view.numbers}
    for found in AXIS_IS.finditer(said.reason):
        row = rows["azimuth" if "far" in found["side"] else "altitude"]
        sizes = [row.value, *_on_the_sky(row)]
        if led:  # while the eye leads, the sentence says "about" of what the table tells at rest
            sizes += [f"about {size}" for size in sizes] + [size.removeprefix("about ") for size in sizes]
        if found["size"] not in sizes or found["side"] not in row.words:
            yield f"{found[0]} but {row}"
    total = view.total
    if total is not None and "total" in rows and rows["total"] != total:
        yield f"reading mode {total} but {rows['total']}"
    for found in TOTAL.finditer(said.sentence):
        if total is not None and found["size"] != total.value:
            yield f"{said.sentence} but {total}"
    for found in KNOWN.finditer(said.reason):
        if found["size"] != rows["accuracy"].value:
            yield f"{found[0]} but {rows['accuracy']}"
    if said.reason.startswith("So far:"):
        told = {(row.value, words) for row in view.numbers for words in row.words.split(", ")}
        yield from (found[0] for found in SO_FAR.finditer(said.reason) if (found["size"], found["side"]) not in told)
    fine = next((step.note for step in view.rail if step.name == "Fine" and step.note), None)
    if fine is not None and total is not None and fine != total.value:
        yield f"rail {fine} but {total}"
    after = {fact.label: fact for fact in view.proof.facts}.get("after") if view.proof is not None else None
    if after is not None and total is not None and after.value != total.value:
        yield f"proof {after} but {total}"
    for strip in (strip for strip in view.strips if strip.active):
        way = next((way for way in WAYS if re.search(rf"\b{way}\b", said.sentence.lower())), strip.sense_text)
        if way != strip.sense_text:
            yield f"{said.sentence} but {strip}"
    if "azimuth" in rows and "at the screw" in rows["azimuth"].words:
        yield from _something_or_nothing(rows["azimuth"])


def _on_the_sky(row: Fact) -> list[str]:
    return re.findall(rf"({ANGLE}) on the sky", row.words)


def _something_or_nothing(row: Fact) -> Iterator[str]:
    """At the screw and on the sky it is nothing together, and then neither east nor west."""
    nothing = [re.fullmatch(r"(about )?0(\.0*)?[°′″]", size) is not None for size in (row.value, *_on_the_sky(row))]
    if len({*nothing, "neither" in row.words}) != 1:
        yield f"{row}"


@dataclass(frozen=True)
class Told:
    """What all screens of a night told: the figures that clash, every reason and every sentence."""

    clashes: frozenset[str]
    reasons: tuple[str, ...]
    sentences: tuple[str, ...]


@cache
def told(name: str) -> Told:
    """Of a recorded night, gone through once."""
    clashes, reasons, sentences = set[str](), [], []
    for view in views(name):
        clashes.update(contradictions(view, led=name in LED))
        reasons.append(view.instruction.reason)
        sentences.append(view.instruction.sentence)
    return Told(frozenset(clashes), tuple(reasons), tuple(sentences))


@pytest.mark.parametrize("name", kept.names())
def test_every_figure_told_twice_is_the_same(name: str) -> None:
    assert told(name).clashes == frozenset()


def test_the_sentences_are_among_those_compared() -> None:
    """The patterns above find what they are for: a reworded sentence must not slip by."""
    nights = [told("calm"), told("by-drift")]
    reasons = [reason for night in nights for reason in night.reasons]
    assert sum(AXIS_IS.search(reason) is not None for reason in reasons) > 20
    assert any(KNOWN.search(reason) for reason in reasons) and any(SO_FAR.search(reason) for reason in reasons)
    assert any(TOTAL.search(sentence) for night in nights for sentence in night.sentences)
