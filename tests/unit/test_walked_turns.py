"""A turn in progress through the table of the night: parts, pauses, the wrong way, silence. Our own rules."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame_reasons import reason_of
from paper_night import PaperNight
from polewright.core.night.advice import Advice, LocksTrial, NoFrames, ScrewLeft, Settling, Walking
from polewright.core.night.advise import advise
from polewright.core.night.correction import handling
from polewright.core.night.events import BaseLocked, BaseUnlocked, FrameUnsolved, LeadSwitched, ScrewTurned, Ticked
from polewright.core.night.states import Running, begun
from polewright.core.screws.angles import Screw
from polewright.core.screws.learning import engaged, seen_sign
from polewright.core.screws.walk import Cue
from polewright.core.unsolved import FrameTrouble
from polewright.ui.presenting.actions import actions
from polewright.ui.presenting.correction import axis_numbers, gliding_offset, strips, well
from polewright.ui.presenting.extras import Extras
from polewright.words.coach import say


def at_the_screw(seed: int = 5) -> tuple[PaperNight, ScrewLeft]:
    """A night of known screws at the first turn that is asked for."""
    return at_the_screw_of(PaperNight(seed, off_deg=(1.2, 0.05), known=True, walking=True, lean_deg=0.0))


def at_the_screw_of(night: PaperNight) -> tuple[PaperNight, ScrewLeft]:
    night.begin()
    for _ in range(400):
        why = advise(night.state).reason
        if isinstance(why, ScrewLeft) and why.walking:
            return night, why
        if isinstance(why, Settling | Walking | ScrewLeft):
            night.frame()
        else:
            night.obey(advise(night.state).action)
    raise AssertionError("no turn was asked for")


def reason(night: PaperNight) -> object:
    return advise(night.state).reason


def moved(night: PaperNight, screw: Screw = Screw.AZIMUTH) -> int:
    return len(begun(night.state).memory(screw).moves)


@pytest.mark.parametrize("parts", [[0.5, 0.1], [0.1, 0.1, 0.1, 0.1, 0.1, 0.1], [0.05, 0.5, 0.05]])
@pytest.mark.parametrize("pause_frames", [3, 8])
def test_parts_with_pauses_are_one_turn(parts: list[float], pause_frames: int) -> None:
    night, asked = at_the_screw()
    before, way = moved(night), asked.turns > 0.0
    for share in parts:
        night.turn(asked.screw, share * asked.turns)
        for _ in range(pause_frames):
            night.frame()
            why = reason(night)
            if isinstance(why, Walking | ScrewLeft):
                assert (why.turns > 0.0) is way and why.screw is asked.screw
    assert moved(night) == before
    assert isinstance(reason(night), Walking)


def test_a_report_ends_the_turn_and_teaches() -> None:
    night, asked = at_the_screw()
    before = moved(night)
    night.turn(asked.screw, 0.3 * asked.turns)
    night.frame()
    night.turn(asked.screw, 0.3 * asked.turns)
    night.frame()
    night.feed(ScrewTurned(night.t, asked.screw, 0.6 * asked.turns))
    for _ in range(4):
        night.frame()
    assert moved(night) == before + 1
    last = begun(night.state).memory(asked.screw).moves[-1]
    assert last.sure and not last.guessed and last.turns == pytest.approx(0.6 * asked.turns)


def test_the_wrong_way_is_said_within_two_frames_and_not_learned() -> None:
    night, asked = at_the_screw()
    before = moved(night)
    night.turn(asked.screw, -0.4 * asked.turns)
    told = []
    for _ in range(2):
        night.frame()
        told.append(getattr(reason(night), "cue", None))
    assert Cue.OTHER_WAY in told
    assert say(Advice(Walking(asked.screw, Cue.OTHER_WAY, 1.0, True, 0.01, 1e-5, 0))).instruction == "The other way."
    assert moved(night) == before


def test_the_marker_glides_on_between_two_frames_and_is_less_sure() -> None:
    night, asked = at_the_screw()
    for _ in range(2):
        night.turn(asked.screw, 0.2 * asked.turns)
        night.frame()
    state = begun(night.state)
    measured, now, later = state.offset, gliding_offset(state, state.now_s), gliding_offset(state, state.now_s + 1.0)
    assert measured is not None and now is not None and later is not None
    assert abs(later.east_rad) < abs(now.east_rad) < abs(measured.east_rad)
    assert later.sigma_rad > now.sigma_rad > measured.sigma_rad
    long_after = gliding_offset(state, state.now_s + 30.0)
    assert long_after == measured


@pytest.mark.parametrize(("left_arcmin", "verb"), [(3.0, "Ease"), (-3.0, "Ease"), (40.0, "Turn")])
def test_the_slack_near_the_aim_is_crossed_slowly(left_arcmin: float, verb: str) -> None:
    seek = Walking(Screw.ALTITUDE, Cue.SEEK, 0.1, True, math.radians(left_arcmin / 60.0), 1e-5, 0)
    assert say(Advice(seek)).instruction == f"{verb} altitude clockwise until the marker moves."


def test_without_frames_no_order_stands() -> None:
    night, _ = at_the_screw()
    night.t += 7.0
    night.feed(Ticked(night.t))
    assert isinstance(reason(night), ScrewLeft)
    night.t += 13.0
    night.feed(Ticked(night.t))
    why = reason(night)
    assert isinstance(why, NoFrames) and say(Advice(why)).instruction == "No frame for 20 s."
    night.frame()
    assert not isinstance(reason(night), NoFrames)


@pytest.mark.parametrize(
    "gaps", [[0.1] * 8 + [1.5] * 3, [1.5] * 3 + [20.0], [1.5] * 3 + [0.1, 0.1, 3.0, 1.5], [1.5, 0.1] * 4]
)
def test_frames_in_a_burst_or_a_pause_do_not_hide_how_often_they_come(gaps: list[float]) -> None:
    """Files that lay there already come all at once; a busy computer is late with two and then quick with them;
    some cameras write two files of each exposure."""
    night, _ = at_the_screw()
    for number, gap in enumerate(gaps):
        night.t += gap
        night.feed(FrameUnsolved(night.t, f"{number}.fits", reason_of(FrameTrouble.TRAILED)))
    assert begun(night.state).interval_s == 1.5


def test_slow_frames_and_who_likes_it_told_are_told() -> None:
    night, asked = at_the_screw()
    assert asked.walking
    slow = replace(begun(night.state), interval_s=6.0)
    why = advise(slow).reason
    assert isinstance(slow, Running) and isinstance(why, ScrewLeft) and not why.walking


def test_a_door_leads_to_told_turns_and_back() -> None:
    night, _ = at_the_screw()
    night.feed(LeadSwitched(night.t, told=True))
    why = reason(night)
    assert isinstance(why, ScrewLeft) and not why.walking
    offered = {action.label: action for action in actions(begun(night.state), advise(night.state), None)}
    assert offered["Turned as told"].key == "Return" and "Let the marker lead" in offered
    led = offered["Let the marker lead"].intent
    assert isinstance(led, LeadSwitched)
    night.feed(led)
    why = reason(night)
    assert isinstance(why, ScrewLeft) and why.walking
    assert "Give turns as numbers" in {a.label for a in actions(begun(night.state), advise(night.state), None)}


def test_nobody_has_to_report_a_turn_that_the_eye_leads() -> None:
    """No key says yes to a turn as told: how far the hand went is not known."""
    night, asked = at_the_screw()
    offered = actions(begun(night.state), advise(night.state), None)
    assert not [a for a in offered if a.key == "Return" or a.label == "Turned as told"]
    read_off = next(a for a in offered if a.key == "9")
    assert isinstance(read_off.intent, ScrewTurned) and read_off.intent.turns == asked.turns


def test_frames_spoiled_by_a_spun_screw_do_not_take_the_instruction_over() -> None:
    night, asked = at_the_screw()
    for number in range(5):
        night.t += 2.0
        night.feed(FrameUnsolved(night.t, f"spun-{number}", reason_of(FrameTrouble.TOO_FEW_STARS)))
        why = reason(night)
        assert isinstance(why, ScrewLeft | Walking) and why.screw is asked.screw
    for number in range(5):
        night.t += 2.0
        night.feed(FrameUnsolved(night.t, f"dark-{number}", reason_of(FrameTrouble.TOO_FEW_STARS)))
    assert not isinstance(reason(night), ScrewLeft | Walking)


def test_no_number_stands_where_nobody_knows_what_a_turn_is_worth() -> None:
    night = PaperNight(5, off_deg=(1.2, 0.5), known=False, walking=True, lean_deg=0.0)
    night, asked = at_the_screw_of(night)
    shown = strips(begun(night.state), advise(night.state))
    active = next(strip for strip in shown if strip.active)
    other = next(strip for strip in shown if not strip.active)
    assert active.amount_text == "by eye" and active.screw is asked.screw
    assert other.turns is None and other.note_text == ""


@pytest.mark.parametrize("tried", [True, False])
def test_the_posts_stand_where_the_turn_is_to_end(tried: bool) -> None:
    """At the aim; 2' short of it while nobody knows what the locks will do: they shift the axis by less."""
    night, asked = at_the_screw()
    if tried:
        night.state = replace(begun(night.state), locks=replace(begun(night.state).locks, shift_rad=(0.0, 0.0)))
    for _ in range(2):
        night.turn(asked.screw, 0.2 * asked.turns)
        night.frame()
    state = begun(night.state)
    path = well(state, advise(state), Extras(now_s=state.now_s)).path
    posts = 0.0 if tried else math.copysign(2.0, path[0].east_arcmin)
    assert path and abs(path[-1].east_arcmin - posts) < 0.1 < abs(path[0].east_arcmin)


def test_the_locks_are_tried_once_both_screws_that_need_it_have_been_turned() -> None:
    """A lock shifts the axis where its screw was turned: tried before the altitude was, 3' off, it showed nothing of
    that, and the fine correction met 0.5' that nobody knew of."""
    night, asked = at_the_screw()
    for _ in range(200):
        why = reason(night)
        if isinstance(why, LocksTrial):
            break
        if isinstance(why, ScrewLeft) or getattr(why, "cue", None) in (Cue.KEEP_TURNING, Cue.CREEP, Cue.SEEK):
            assert isinstance(why, ScrewLeft | Walking)
            night.turn(why.screw, math.copysign(0.1 if why.screw is asked.screw else 0.02, why.turns))
        night.frame()
    state = begun(night.state)
    assert isinstance(reason(night), LocksTrial)
    assert state.memory(Screw.ALTITUDE).moves and state.memory(Screw.AZIMUTH).moves
    assert state.offset is not None and abs(state.offset.up_rad) * 3438.0 > 0.5, "half of it was enough to set it"


def test_before_the_locks_are_tried_a_turn_ends_on_the_side_where_it_began() -> None:
    """What the locks shift and the eye misses is less than the way left: the next turn goes on the same way."""
    night, asked = at_the_screw()
    assert asked.short and "short" in say(Advice(asked)).why
    screw, way = asked.screw, math.copysign(1.0, asked.turns)
    for _ in range(300):
        why = reason(night)
        if not isinstance(why, Walking | ScrewLeft | Settling) or getattr(why, "screw", screw) is not screw:
            break
        if isinstance(why, ScrewLeft) or getattr(why, "cue", None) in (Cue.KEEP_TURNING, Cue.CREEP, Cue.SEEK):
            night.turn(screw, way * 0.02)
        night.frame()
    left = -way * night.bearing * math.copysign(1.0, night.true_screw(screw).rate)
    assert 0.5 < left * math.cos(math.radians(night.latitude_deg)) < 3.5
    assert not begun(night.state).memory(screw).moves[-1].sure


def test_sentence_and_table_tell_one_number_far_from_the_pole() -> None:
    """The angle at the screw times the cosine of the pole's height is not the angle on the sky, degrees up."""
    night, asked = at_the_screw_of(PaperNight(5, off_deg=(3.4, 3.0), known=True, walking=True, lean_deg=0.0))
    state = begun(night.state)
    assert state.offset is not None and asked.left_rad == state.offset.east_rad
    azimuth = next(fact for fact in axis_numbers(state) if fact.label == "azimuth")
    assert azimuth.words.split("; ")[1].removesuffix(" on the sky") in say(advise(state)).why


def test_sentence_and_table_tell_the_same_place_while_the_axis_moves() -> None:
    night, asked = at_the_screw()
    for _ in range(3):
        night.turn(asked.screw, 0.1 * asked.turns)
        night.frame()
    state = begun(night.state)
    walk, told = state.handling.walk, say(advise(state))
    assert walk is not None and walk.moving(state.now_s)
    azimuth = next(fact for fact in axis_numbers(state) if fact.label == "azimuth")
    sky = azimuth.words.split("; ")[1].removesuffix(" on the sky")
    assert azimuth.value.startswith("about ")
    assert f"about {sky}" in told.why


def walk_home(night: PaperNight, screw: Screw, way: float) -> None:
    """A hand that says nothing turns that screw that way by touches until the turn is over."""
    for _ in range(80):
        why = reason(night)
        if isinstance(why, Walking | ScrewLeft):
            if why.screw is not screw or (why.turns > 0.0) is not (way > 0.0):
                return
            night.turn(screw, math.copysign(0.03, why.turns))
            night.frame()
        night.frame()


def at_a_misleading_screw(seed: int) -> tuple[PaperNight, ScrewLeft]:
    """A screw of which nothing is known, asked for the way that leads the axis away."""

    def night_of(east_deg: float) -> tuple[PaperNight, ScrewLeft]:
        return at_the_screw_of(PaperNight(seed, off_deg=(east_deg, 0.05), known=False, walking=True, lean_deg=0.0))

    night, asked = night_of(1.2)
    away = asked.turns * night.true_screw(asked.screw).rate * night.bearing > 0.0
    return (night, asked) if away else night_of(-1.2)


def test_an_unreported_walk_that_went_wrong_at_first_teaches_the_way_all_the_same() -> None:
    night, asked = at_a_misleading_screw(5)
    assert asked.seek and not asked.known and say(Advice(asked)).instruction.endswith("until the marker moves.")
    night.turn(asked.screw, math.copysign(0.4, asked.turns))
    night.frame()
    assert say(advise(night.state)).instruction == "The other way."
    walk_home(night, asked.screw, -asked.turns)
    state = begun(night.state)
    assert [move.guessed for move in state.memory(asked.screw).moves] == [True] and state.rate(asked.screw) is None
    assert seen_sign(state.memory(asked.screw)) == math.copysign(1.0, night.true_screw(asked.screw).rate)
    assert engaged(state.memory(asked.screw)) == -math.copysign(1.0, asked.turns)


@pytest.mark.parametrize("seed", [5, 6])
@pytest.mark.parametrize("gust", [0.0, 0.4])
def test_an_axis_that_went_away_and_came_back_has_shown_the_way(seed: int, gust: float) -> None:
    """Back where it had begun, the turn was forgotten, and the way that had led away was asked for once more; a gust
    across, of so much of the way gone, looked like another screw."""
    night, asked = at_a_misleading_screw(seed)
    screw, start = night.true_screw(asked.screw), night.bearing
    night.turn(asked.screw, 0.4 * asked.turns)
    for _ in range(4):
        night.frame()
    away = night.bearing - start
    night.turn(asked.screw, -math.copysign(screw.backlash + abs(away / screw.rate), asked.turns))
    assert night.bearing == pytest.approx(start, abs=0.01)
    night.height += gust * abs(away) * math.cos(math.radians(night.latitude_deg))
    for _ in range(6):
        night.frame()
        why = reason(night)
        assert isinstance(why, Walking) and (why.turns > 0.0) is (asked.turns < 0.0)


def test_where_nobody_knows_a_way_the_hand_goes_on_as_it_goes() -> None:
    """A new screw, turned the wrong way by mistake, brings the axis nearer: the way asked for is not named."""
    night, asked = at_a_misleading_screw(5)
    night.turn(asked.screw, -0.4 * asked.turns)
    night.frame()
    assert say(advise(night.state)).instruction == "Keep turning the same way."
    for _ in range(3):
        night.frame()
    assert say(advise(night.state)).instruction == "Keep turning the same way."


def test_a_number_told_after_both_ways_does_not_end_a_turn_that_shows_more() -> None:
    night, asked = at_a_misleading_screw(5)
    night.turn(asked.screw, 0.4 * asked.turns)
    night.frame()
    back = night.true_screw(asked.screw).backlash + 0.2 * abs(asked.turns)
    night.turn(asked.screw, -math.copysign(back, asked.turns))
    night.frame()
    night.feed(ScrewTurned(night.t, asked.screw, 0.4 * asked.turns - math.copysign(back, asked.turns)))
    for _ in range(5):
        night.frame()
    why = reason(night)
    assert isinstance(why, Walking) and (why.turns > 0.0) is (asked.turns < 0.0)
    assert not begun(night.state).memory(asked.screw).moves


@settings(deadline=None, max_examples=24)
@given(
    st.lists(st.floats(0.1, 1.0), min_size=1, max_size=6),
    st.lists(st.integers(1, 6), min_size=6, max_size=6),
    st.sampled_from(["none", "whole", "parts"]),
    st.sampled_from(list(Screw)),
    st.sampled_from([52.0, -33.0]),
    st.sampled_from([1.2, -1.2]),
)
def test_any_partition_with_any_pauses_and_reports_ends_in_the_same_direction(
    parts: list[float], pauses: list[int], said: str, screw: Screw, latitude: float, off: float
) -> None:
    """Three quarters of an asked turn, in parts, reported at the end, each by itself, or not at all: more of it. Of
    either screw, to either side, in both hemispheres."""
    turned_in_parts(parts, pauses, said, screw, latitude, off)


@pytest.mark.parametrize("parts", [[1.0], [0.5, 0.5], [0.1, 0.7, 0.2]])
def test_without_a_turn_in_progress_the_property_fails(parts: list[float], monkeypatch: pytest.MonkeyPatch) -> None:
    """Parts that nobody told are then booked as the whole turn that was asked for."""
    turned_in_parts(parts, [3] * 6, "none")
    monkeypatch.setattr(handling, "_walk_on", lambda before, state: state)
    with pytest.raises(AssertionError):
        turned_in_parts(parts, [3] * 6, "none")


def turned_in_parts(
    parts: list[float],
    pauses: list[int],
    said: str,
    screw: Screw = Screw.AZIMUTH,
    latitude_deg: float = 52.0,
    off_deg: float = 1.2,
) -> None:
    """Untold parts book nothing and teach nothing; told or not, the next instruction asks for more of the turn."""
    places = {Screw.AZIMUTH: (off_deg, 0.05), Screw.ALTITUDE: (0.05, off_deg)}
    paper = PaperNight(5, latitude_deg=latitude_deg, off_deg=places[screw], known=True, walking=True, lean_deg=0.0)
    night, asked = at_the_screw_of(paper)
    assert asked.screw is screw
    before, rate = moved(night, screw), begun(night.state).rate(asked.screw)
    shares = [0.75 * part / sum(parts) for part in parts]
    for share, pause in zip(shares, pauses, strict=False):
        night.turn(asked.screw, share * asked.turns)
        for _ in range(pause):
            night.frame()
        if said == "parts":
            night.feed(ScrewTurned(night.t, asked.screw, share * asked.turns))
    if said == "whole":
        night.feed(ScrewTurned(night.t, asked.screw, 0.75 * asked.turns))
    for _ in range(4):
        night.frame()
    why = reason(night)
    assert isinstance(why, Walking | ScrewLeft) and why.screw is asked.screw
    assert (why.turns > 0.0) is (asked.turns > 0.0)
    if said == "none":
        assert moved(night, screw) == before and begun(night.state).rate(asked.screw) == rate


def test_a_number_told_after_both_ways_teaches_no_rate() -> None:
    """Turned the wrong way, back again within the slack, and then the difference is told: it fits no motion."""
    night, asked = at_the_screw()
    night.turn(asked.screw, -0.4 * asked.turns)
    night.frame()
    assert getattr(reason(night), "cue", None) is Cue.OTHER_WAY
    night.turn(asked.screw, 0.03 * asked.turns)
    night.frame()
    known = begun(night.state).rate(asked.screw)
    night.feed(ScrewTurned(night.t, asked.screw, 0.03 * asked.turns))
    for _ in range(5):
        night.frame()
    last = begun(night.state).memory(asked.screw).moves[-1]
    now = begun(night.state).rate(asked.screw)
    assert last.guessed and known is not None and now is not None
    assert now.arcmin_per_turn == pytest.approx(known.arcmin_per_turn, rel=1e-6)


def test_what_loosened_locks_do_to_the_axis_is_no_turn() -> None:
    """The axis sprang 8' as the locks were loosened; "the other way", a hand heard that had touched no screw."""
    night, _ = at_the_screw()
    night.feed(BaseLocked(night.t))
    for _ in range(4):
        night.frame()
    night.feed(BaseUnlocked(night.t))
    night.bearing += 8.0
    for _ in range(4):
        night.frame()
        assert not isinstance(reason(night), Walking)
    assert not begun(night.state).memory(Screw.AZIMUTH).moves


def test_hands_are_off_while_a_told_turn_is_being_seen() -> None:
    night, asked = at_the_screw()
    night.turn(asked.screw, 0.3 * asked.turns)
    night.frame()
    night.feed(ScrewTurned(night.t, asked.screw, 0.3 * asked.turns))
    assert isinstance(reason(night), Settling)


def test_what_friction_held_back_is_no_hand_on_the_locks() -> None:
    """Creep after a long turn moved the rest that the shift of the locks is measured from: 1.05' instead of 0.46'."""
    night, asked = at_the_screw()
    night.turn(asked.screw, 0.995 * asked.turns)
    night.frame()
    for _ in range(200):
        why = reason(night)
        if not isinstance(why, Walking | ScrewLeft | Settling):
            break
        if isinstance(why, ScrewLeft) or getattr(why, "cue", None) in (Cue.KEEP_TURNING, Cue.CREEP, Cue.SEEK):
            night.turn(why.screw, math.copysign(0.02, why.turns))
        night.frame()
    state = begun(night.state)
    assert state.locks.ready is not None
    closed = replace(state.handling, closed_arcmin=(60.0, 0.0), closed_s=night.t)
    night.state = replace(state, handling=closed, locks=replace(state.locks, ready_closed_s=night.t))
    night.bearing += 1.0
    night.creep = (0.0, 0.0, night.t)
    for _ in range(2):
        night.frame()
    late = begun(night.state)
    assert late.handling.closed_s == closed.closed_s and late.handling.opened_at is None
    assert late.locks.ready is not None and late.offset is not None
    assert late.locks.ready.east_rad == pytest.approx(late.offset.east_rad, abs=1e-5)


@pytest.mark.parametrize(("aimed", "where"), [(True, "stands at its aim"), (False, "is neither high nor low")])
def test_an_axis_at_its_aim_is_told_so(aimed: bool, where: str) -> None:
    stop = Walking(Screw.ALTITUDE, Cue.STOP, 0.0, True, 0.0, 1e-4, 0, aimed=aimed)
    assert say(Advice(stop)).why == f"The axis {where}."
