"""A moment of a recorded night as a view: the same panels, the transport, and the trainee's question."""

from __future__ import annotations

from dataclasses import dataclass, replace

from polewright.core.night.advice import Advice
from polewright.core.night.events import NOW, NextAsked, ScrewTurned
from polewright.core.night.states import NightState
from polewright.core.night.trainee import Answer, Decision, Verdict
from polewright.core.screws.angles import Screw
from polewright.ui import intents as want
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.ui.view_model import Action, Instruction, Replay, View, Weight
from polewright.words.numbers import capital, duration_text, sense_text, turns_text
from polewright.words.trainee import left_words, marked_words, that_night, unmeasured_words
from polewright.words.window import HOW_TO_ANSWER, QUESTION

AMOUNTS = (1.0 / 60.0, 1.0 / 8.0, 0.25, 0.5, 1.0, 2.0)
LEAVE = Action("Leave this recording", "Ctrl+W", want.LeaveNight(), Weight.MENU)
OTHER = Action("Earlier nights", "Ctrl+L", want.OpenNights(), Weight.MENU)


@dataclass(frozen=True, eq=False)
class Lesson:
    """A question to the trainee and, once `answered`, what became of the answer (None: it cannot be judged)."""

    decision: Decision
    answer: Answer | None = None
    verdict: Verdict | None = None
    answered: bool = False


Transport = tuple[float, float, float, bool, bool]


def replay_view(
    state: NightState, advice: Advice, extras: Extras, transport: Transport, lesson: Lesson | None
) -> View:
    """The view of a moment; `transport`: position, length, speed, playing, trainee."""
    view = present(state, advice, extras)
    position_s, length_s, speed, playing, trainee = transport
    replay = Replay(
        position_s,
        length_s,
        duration_text(position_s),
        duration_text(length_s),
        speed,
        playing,
        trainee,
    )
    view = replace(view, replay=replay, actions=(OTHER, LEAVE), trouble=None)
    if lesson is None:
        return view
    hidden = replace(view.reticle, path=())
    strips = tuple(replace(s, active=False, turns=None, signed_turns=0.0, stop=False) for s in view.strips)
    view = replace(view, reticle=hidden, strips=strips)
    return _verdict(view, lesson) if lesson.answered else _question(view)


def _question(view: View) -> View:
    said = Instruction(QUESTION, HOW_TO_ANSWER, "", QUESTION)
    return replace(view, instruction=said, actions=(*_answers(), OTHER, LEAVE))


def _answers() -> tuple[Action, ...]:
    """Four answers as buttons; all amounts, both ways, in the menu."""
    keys = iter("12345678")
    buttons = tuple(
        Action(
            f"{capital(screw.value)} 1/4 {_short(way)}",
            next(keys),
            ScrewTurned(NOW, screw, 0.25 * way),
            Weight.PRIMARY,
        )
        for screw in Screw
        for way in (1.0, -1.0)
    )
    more = tuple(
        Action(
            f"{capital(screw.value)} {turns_text(size)} {sense_text(way)}",
            "",
            ScrewTurned(NOW, screw, way * size),
            Weight.MENU,
        )
        for screw in Screw
        for size in AMOUNTS
        if size != 0.25
        for way in (1.0, -1.0)
    )
    return (*buttons, *more)


def _short(way: float) -> str:
    return "↻" if way > 0.0 else "↺"


def _verdict(view: View, lesson: Lesson) -> View:
    made = lesson.decision.made
    night = that_night(made.screw, made.turns, lesson.decision.by_eye)
    if lesson.verdict is None:
        told = unmeasured_words(lesson.answer or made, made)
        said = Instruction(told, night, "", told)
    else:
        marked = marked_words(lesson.verdict.marked)
        said = Instruction(left_words(lesson.verdict), f"{marked} {night}", "", marked)
    onward = Action("Go on", "Return", NextAsked(NOW), Weight.PRIMARY)
    return replace(view, instruction=said, actions=(onward, OTHER, LEAVE))
