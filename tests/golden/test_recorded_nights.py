"""Nights recorded in November 2026 come out again: every state, number and decision, whatever is built meanwhile.

No outside source: these nights hold the program to what it did before. They are rehearsals on the simulator, made by
tests/bench/record_nights.py. Sentences may be reworded and are not compared.
"""

from __future__ import annotations

import pytest

import recorded_nights as kept
from polewright.simulate.scenarios import SCENARIOS

NIGHTS = kept.names()
ALSO_KEPT = {
    "by-drift",
    "proof-by-drift",
    "lessons",
    "locks-by-habit",
    "bumped",
    "interrupted",
    "other-plans",
    "spoiled-frames",
    "shift-in-the-watch",
    "killed",
    "accepted",
    "clumsy-hands",
    "walking",
    "halting",
}
CAP = {"action": "Wait", "seconds": None, "of_s": None, "mood": "TROUBLE"}
DARKER = (
    {"action": "Expose", "factor": 0.5, "mood": "TROUBLE"},
    {"action": "Expose", "factor": 0.1, "mood": "TROUBLE"},
)
# decisions changed on purpose: as recorded, as meant, and how many lines of the record that concerns
MEANT: dict[str, list[tuple[kept.Facts, kept.Facts, int]]] = {
    "spoiled-frames": [
        # a cap is seen on the first frame, whether the RA axis may be turning or not, and comes before clouds
        ({"action": "RotateAxis", "west_deg": -40.0, "mood": "DO"}, CAP, 25),
        ({"action": "Wait", "seconds": None, "of_s": None, "mood": "WAIT"}, CAP, 33),
        ({"action": "Expose", "factor": 2.0, "mood": "TROUBLE"}, CAP, 2),
        (*DARKER, 145),  # the action says what the sentence beside it says: a tenth as long
    ]
}
RESUMED = ("calm", "bumped", "interrupted", "killed", "locks-by-habit")  # gone through twice


def test_every_kind_of_night_is_kept() -> None:
    assert set(NIGHTS) == set(SCENARIOS) | ALSO_KEPT


@pytest.mark.parametrize("name", NIGHTS)
def test_a_recorded_night_comes_out_again(name: str) -> None:
    log, expected = kept.read_log(name), kept.read_expected(name)
    left_out = "missing."  # lines that nothing rests on are not kept: the reader notices
    assert all(problem.endswith(left_out) for problem in log.problems), log.problems
    facts: kept.Facts = {}
    changed = [0] * len(MEANT.get(name, ()))
    for outcome, recorded in zip(kept.outcomes(log), expected, strict=True):
        where = f"line {recorded['seq']} ({recorded['event']})"
        facts = outcome.get("facts", facts)
        for told in (outcome, recorded):
            told.pop("said", None)
        for number, (before, meant, _) in enumerate(MEANT.get(name, ())):
            if (recorded["decision"], outcome["decision"]) != (before, meant):
                continue
            changed[number] += 1
            recorded |= {"decision": outcome["decision"], "fresh": outcome["fresh"]}
        assert kept.disagreement(recorded, outcome, where) is None
        if "answer" in outcome:
            assert kept.disagreement(outcome["answer"], outcome["computed"], f"{where}, computed again") is None
    assert changed == [lines for _, _, lines in MEANT.get(name, ())]
    if name in RESUMED:
        resumed = kept.plain(kept.facts_of(kept.resumed_state(log)))
        assert kept.disagreement(facts, resumed, "resumed at the end") is None


def test_a_number_that_is_off_by_a_millionth_is_seen() -> None:
    assert (
        kept.disagreement({"a": [1.0, {"b": 2.0}]}, {"a": [1.0, {"b": 2.000002}]}) == ".a[1].b: 2.0 became 2.000002"
    )
    assert kept.disagreement({"a": [1.0, {"b": 2.0}]}, {"a": [1.0, {"b": 2.0 + 1e-12}]}) is None
    assert kept.disagreement({"a": 1}, {"a": 1, "b": None, "c": 3}) == ".c: None became 3"
    assert kept.disagreement([1, 2], [1]) is not None
