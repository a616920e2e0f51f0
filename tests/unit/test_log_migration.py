"""Lines of version 1 as this version reads them."""

from __future__ import annotations

import pytest

from polewright.core.axis_reasons import RecordedDoubt, TwoFrames, is_disagreement
from polewright.core.drift.reading import DriftReading
from polewright.core.drift.reasons import Held, NotTracking, Unknown
from polewright.core.model import Utc
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import AxisMeasured, AxisRefused, DriftMeasured, DriftRefused, FrameUnsolved
from polewright.core.night.measured import MeasuredAxis
from polewright.core.not_measurable import RecordedRefusal
from polewright.core.plain import to_plain
from polewright.core.star_trouble import CapOn, TooFewStars
from polewright.core.unsolved import Fault, FrameReason, FrameTrouble, NoTime, OtherCamera, RecordedReason
from polewright.services.log_format import LoggedEvent
from polewright.services.log_migration import migrated
from polewright.services.report.told import drift_record_words

FEW = "3 stars found, at least 4 needed, better 8. 3 stars found, 5 needed."


@pytest.mark.parametrize(
    ("reason", "trouble", "why"),
    [
        (
            "No stars found, at least 4 needed, better 8. No stars found, 5 needed.",
            "TOO_FEW_STARS",
            TooFewStars(None, 0, 0),
        ),
        (
            "No stars found, at least 4 needed, better 8. Every pixel has the value 12: no light reached the camera.",
            "TOO_FEW_STARS",
            CapOn(12.0),
        ),
        ("The frame does not say when it was taken.", "NO_TIME", NoTime()),
        ("a.fits could not be measured: a fault in the program.", "UNREADABLE", Fault("a.fits")),
        (
            "a.fits was not taken with the camera of the capture (other scale or mirrored). Use the same camera, or"
            " take the capture again.",
            "NOT_FOLLOWED",
            OtherCamera("a.fits"),
        ),
        (FEW, "TOO_FEW_STARS", RecordedReason(FrameTrouble.TOO_FEW_STARS, FEW, "Look.")),
    ],
)
def test_an_unsolved_frame(reason: str, trouble: str, why: FrameReason) -> None:
    data = {
        "kind": "FrameUnsolved",
        "at_s": 3.0,
        "name": "a.fits",
        "reason": reason,
        "cure": "Look.",
        "trouble": trouble,
    }
    line = migrated(LoggedEvent(3, 3.0, Utc(2461101.5, 0.1), "event", {**data, "stars_detected": 3}))
    assert event_from_plain(line.data) == FrameUnsolved(3.0, "a.fits", why, 3)
    assert migrated(line) == line


def line_of(data: dict[str, object], kind: str = "event") -> LoggedEvent:
    return LoggedEvent(3, 3.0, Utc(2461101.5, 0.1), kind, data)


def test_the_doubts_of_an_axis_and_what_the_coach_does_about_them() -> None:
    told = (
        "The frames do not agree (chi-square 123 for 4): the declination slipped, the tripod moved, a time is wrong,"
        " or the tube bends, by about 5.2'. The uncertainty has been widened to cover it."
    )
    axis = to_plain(MeasuredAxis(0.0, 0.0, ((1.0, 0.0), (0.0, 1.0)), frames=("a",)))
    warnings = [told, "Two frames cannot check each other: a slipped declination would go unnoticed."]
    data = {"kind": "AxisMeasured", "at_s": 1.0, "axis": axis | {"warnings": warnings}}
    line = migrated(line_of(data))
    event = event_from_plain(line.data)
    assert isinstance(event, AxisMeasured)
    assert event.axis.warnings == (RecordedDoubt(told, disagree=True), TwoFrames())
    assert is_disagreement(event.axis.warnings[0]) and migrated(line) == line


def test_refusals() -> None:
    axis = migrated(line_of({"kind": "AxisRefused", "at_s": 1.0, "reason": "Too much alike.", "cure": "Turn on."}))
    assert event_from_plain(axis.data) == AxisRefused(1.0, RecordedRefusal("Too much alike.", "Turn on."))
    still = {"reason": "The camera does not follow the stars.", "cure": "Switch tracking on, at the sidereal rate."}
    drift = migrated(line_of({"kind": "DriftRefused", "at_s": 1.0, **still}))
    assert event_from_plain(drift.data) == DriftRefused(1.0, NotTracking())


def test_a_drift_and_its_line_for_the_report() -> None:
    reading = to_plain(DriftReading(20, 1e-4, 0.0, ((1e-10, 0.0), (0.0, 1e-10)), 1e-6, 0.0, 5.0, ()))
    held = "Nothing moves, not even in right ascension: is guiding switched on?"
    old = reading | {"unknown": "The altitude is not known yet: watch.", "warnings": [held]}
    event = event_from_plain(migrated(line_of({"kind": "DriftMeasured", "at_s": 1.0, "reading": old})).data)
    assert isinstance(event, DriftMeasured)
    assert event.reading.unknown is Unknown.ALTITUDE and event.reading.warnings == (Held(),)
    whole = old | {"unknown": "", "warnings": [], "comparison": "Drift and turn agree to 5″."}
    line = migrated(line_of(whole, "drift_proof"))
    assert drift_record_words(line.data) == "Drift and turn agree to 5″." and migrated(line) == line
