"""What the coach says over all its reasons: instruction, action, mood and why come from one and agree."""

from __future__ import annotations

import re

from coach_reasons import SAMPLES, every_class
from polewright.core.night import advice as it
from polewright.core.night.advice import Advice, Mood
from polewright.core.offset import Offset
from polewright.words.coach import say

BEGINS: dict[object, str] = {
    it.Turn: r"((Turn|Nudge) (azimuth|altitude) |Keep turning|Slower|The other way|Ease)",
    it.RotateAxis: r"Rotate the RA axis ",
    it.Point: r"Point (to the meridian|\d)",
    it.SetUp: r"(Point the axis|Lay the axis|Set the axis)",
    it.Do.LOCK: r"Tighten the base locks",
    it.Do.UNLOCK: r"Loosen the base locks",
    it.Expose: r"(Expose longer|Shorten the exposure|Look for clouds, dew or a cap)",
    it.Do.REFOCUS: r"Refocus",
    it.Do.TIGHTEN_CLUTCH: r"Tighten the declination clutch",
    it.Do.GO_ON: r"(Go on|Good enough for tonight|By drift .* go on)",
    it.Do.ACCEPT: r"Take it as it is",
    it.Do.START_AGAIN: (
        r"(Begin the drift again|Begin this stage again|Watch the drift|Switch guiding off, then|"
        r"Point elsewhere, then)"
    ),
    it.Do.ANSWER: r"(Say whether guiding is off|Switch guiding off, in)",
    it.Do.NUDGE: r"Nudge the declination",
    it.Do.GO_BACK: r"Go back",
    it.Do.RESUME: r"Resume",
    it.Do.RESTORE_FOLDER: r"Reconnect the frame folder",
    it.Do.ENTER_SITE: r"Enter your site",
    it.Do.MEASURE_AGAIN: r".* Measure again\.$",
    it.Done: r"(Good enough for tonight|Accepted as it is|Watching|Moved by .* Still good enough)",
    it.Wait: (
        r"(Hands off|Point .*, then hands off|Stop|Rotating|No frame|Wait|Switch tracking on|Take the cap|Check |"
        r"Set the camera program's clock)"
    ),
}


def _kind(action: it.Action) -> object:
    return action if isinstance(action, it.Do) else type(action)


def test_there_is_a_sample_of_every_reason_and_of_every_action() -> None:
    assert {type(reason) for reason in SAMPLES} == every_class()
    assert {_kind(Advice(reason).action) for reason in SAMPLES} == set(BEGINS)


def test_the_instruction_asks_for_the_action() -> None:
    for reason in SAMPLES:
        advice = Advice(reason)
        assert re.match(BEGINS[_kind(advice.action)], say(advice).instruction), (advice.action, say(advice))


def test_numbers_of_instruction_and_action_are_the_same() -> None:
    for reason in SAMPLES:
        action, said = Advice(reason).action, say(Advice(reason))
        if isinstance(action, it.RotateAxis):
            side = "west" if action.west_deg > 0.0 else "east"
            assert said.instruction == f"Rotate the RA axis {abs(action.west_deg):.0f}° {side}."
        if isinstance(action, it.Turn) and isinstance(reason, it.ScrewLeft):
            assert ("anticlockwise" in said.instruction) == (action.turns < 0.0)
            assert action.screw.value in said.instruction


def test_every_sentence_is_short_calm_and_whole() -> None:
    for reason in SAMPLES:
        said = say(Advice(reason))
        assert said.instruction.endswith(".") and len(said.instruction.split()) <= 8, said
        for text in said:
            assert text == text.strip() and "  " not in text and "!" not in text, said
            assert not re.search(r"\b(nan|inf|None|unknown)\b", text) or isinstance(reason, it.Ended), said
            assert not text or text.endswith("."), said


def test_nothing_is_asked_for_twice_in_other_words() -> None:
    """Longer beside shorter, clouds beside a cap, hands off beside a turn: what used to contradict."""
    against = (
        (r"\blonger\b", r"\bshorter\b|a tenth as long"),
        (r"^Wait for the clouds", r"\b[Cc]ap\b"),
        (r"^Take the cap off", r"longer|times as long"),
        (r"^Refocus", r"longer|shorter"),
    )
    for reason in SAMPLES:
        whole = " ".join(say(Advice(reason)))
        for one, other in against:
            assert not (re.search(one, whole) and re.search(other, whole)), whole


def test_trouble_always_says_why() -> None:
    for reason in SAMPLES:
        if Advice(reason).mood is Mood.TROUBLE:
            assert say(Advice(reason)).why, reason


def test_the_same_errand_whatever_the_numbers_are_by_now() -> None:
    first = Advice(it.Settling(3.0))
    assert first.errand == Advice(it.Settling(1.0)).errand and first != Advice(it.Settling(1.0))
    again = it.LocksTrial(2), it.LocksTrial(3)
    assert Advice(again[0]).errand != Advice(again[1]).errand, "after another turn it is asked for anew"


def test_a_sentence_begins_with_a_capital_and_frames_come_at_their_own_interval() -> None:
    """Seen on a display: "under 10″ off, needed 30″." and "They usually come every 0 s"."""
    tight = Offset(1e-5, 0.0, ((4e-9, 0.0), (0.0, 4e-9)), 3)
    assert say(Advice(it.LocksWanted(tight, 1.5e-4, False, 0))).why.startswith("Under ")
    assert "every 1.5 s" in say(Advice(it.NoFrames(9.0, 1.5))).why
