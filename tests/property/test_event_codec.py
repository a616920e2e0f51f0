"""Events and states survive JSON to the last bit; damaged records are refused with a sentence."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from night_events import EVENT
from polewright.core.errors import RecordingError, UsageError
from polewright.core.model import Utc
from polewright.core.night.event_codec import (
    EVENT_KINDS,
    event_from_plain,
)
from polewright.core.night.events import AnyEvent, ScrewTurned, Ticked, ToleranceChanged
from polewright.core.night.measured import RotationGain
from polewright.core.night.states import NightState, Waiting
from polewright.core.night.table import step
from polewright.core.plain import from_plain, to_plain
from polewright.core.screws.angles import Screw
from polewright.services.log_format import LoggedEvent, decode_line, encode_line

ANYTHING: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(EVENT)
def test_event_round_trip_is_exact(event: AnyEvent) -> None:
    assert event_from_plain(_through_a_log(to_plain(event))) == event


@given(EVENT, st.sampled_from([math.nan, math.inf, -math.inf]))
def test_no_event_is_without_its_time(event: AnyEvent, at_s: float) -> None:
    with pytest.raises(UsageError, match="finite time"):
        replace(event, at_s=at_s)


def _through_a_log(plain: dict[str, Any]) -> Any:
    line = decode_line(encode_line(LoggedEvent(1, 0.0, Utc(2461000.5, 0.0), "event", plain)))
    assert line is not None
    return line.data


@settings(max_examples=60)
@given(st.lists(EVENT, max_size=8))
def test_state_round_trip_is_exact(events: list[AnyEvent]) -> None:
    state: NightState = Waiting()
    for event in events:
        state, _ = step(state, event)
    assert from_plain(type(state), _through_a_log(to_plain(state))) == state


@given(EVENT, st.data())
def test_damaged_event_is_refused_or_still_an_event(event: AnyEvent, data: st.DataObject) -> None:
    plain = to_plain(event)
    key = data.draw(st.sampled_from(sorted(plain)))
    plain[key] = data.draw(ANYTHING)
    try:
        assert type(event_from_plain(plain)).__name__ in EVENT_KINDS
    except RecordingError as error:
        assert str(error)


@given(ANYTHING)
def test_no_event_comes_out_of_anything_else(data: Any) -> None:
    with pytest.raises(RecordingError):
        event_from_plain(data)


def test_numbers_that_json_has_no_word_for() -> None:
    """One encoding in one log: that of the line, for events as for frames. Older logs have them as text in events."""
    gain = RotationGain(0.1, math.inf)
    line = encode_line(LoggedEvent(1, 0.0, Utc(2461000.5, 0.0), "event", to_plain(gain)))
    assert b'"sigma_rad":{"$float":"inf"}' in line
    assert from_plain(RotationGain, _through_a_log(to_plain(gain))) == gain
    older = {"kind": "RotationGain", "rotation_rad": 0.1, "sigma_rad": "inf"}
    assert from_plain(RotationGain, older) == gain
    assert math.isnan(from_plain(RotationGain, {"rotation_rad": "nan", "sigma_rad": 0.0}).rotation_rad)


def test_older_and_newer_records_are_read_where_they_can_be() -> None:
    assert event_from_plain({"kind": "Ticked", "at_s": 3, "mood_of_the_moon": 7}) == Ticked(3.0)
    assert event_from_plain({"kind": "FolderLost", "at_s": 1.0}).at_s == 1.0
    with pytest.raises(RecordingError, match="ScrewTurned"):
        event_from_plain({"kind": "ScrewTurned", "at_s": 1.0})
    with pytest.raises(RecordingError, match=r"ScrewTurned\.screw"):
        event_from_plain({"kind": "ScrewTurned", "at_s": 1.0, "screw": "FOCUS", "turns": 1.0})


def test_impossible_events_cannot_be_made() -> None:
    with pytest.raises(UsageError):
        Ticked(math.nan)
    with pytest.raises(UsageError):
        ToleranceChanged(0.0, -1.0)
    with pytest.raises(UsageError):
        ScrewTurned(0.0, Screw.AZIMUTH, 1e6)
    with pytest.raises(RecordingError, match="impossible"):
        event_from_plain({"kind": "ToleranceChanged", "at_s": 0.0, "tolerance_rad": 7.0})
