"""What there is to hear: turns views into phrases and sentences. The base class is silent and knows no device."""

from __future__ import annotations

from polewright.core.night.advice import Mood
from polewright.ui.sound_plan import DONE, LOST, MOVED, STOP, Phrase, guide_phrase
from polewright.ui.view_model import View


class Listening:
    """Silent. The real one (ui/sound.py) overrides `play`, `say` and `hush`."""

    def hear(self, before: View | None, now: View, sound: bool, speech: bool) -> None:
        """A new view has come: play or say what changed."""
        if sound:
            phrase = phrase_for(before, now)
            if phrase is None:
                self.hush()
            else:
                self.play(phrase)
        if speech:
            sentence = sentence_for(before, now)
            if sentence:
                self.say(sentence)

    def play(self, phrase: Phrase) -> None:
        """Play a phrase, again and again if it says so."""

    def say(self, sentence: str) -> None:
        """Speak a sentence, dropping the one before."""

    def hush(self) -> None:
        """Be silent at once."""


def phrase_for(before: View | None, now: View) -> Phrase | None:
    """The phrase of a view; None: silence."""
    if now.proof is not None and now.proof.shifts:
        return MOVED
    if now.instruction.tone is Mood.GOOD:
        newly = before is None or before.instruction.tone is not Mood.GOOD
        return DONE if newly else None
    if now.reticle.stale_text:
        return LOST
    active = next((s for s in now.strips if s.active), None)
    if active is not None and active.turns is not None and active.sense is not None:
        return guide_phrase(active.screw, active.turns, active.sense)
    was_active = before is not None and any(s.active for s in before.strips)
    return STOP if was_active else None


def sentence_for(before: View | None, now: View) -> str:
    """What to say aloud; "" when it was said already."""
    text = now.instruction.sentence
    return "" if before is not None and before.instruction.sentence == text else text
