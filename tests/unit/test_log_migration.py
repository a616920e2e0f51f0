"""Lines of version 1 as this version reads them."""

from __future__ import annotations

import pytest

from polewright.core.model import Utc
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import FrameUnsolved
from polewright.core.star_trouble import CapOn, NoStars
from polewright.core.unsolved import Fault, FrameReason, FrameTrouble, NoTime, OtherCamera, RecordedReason
from polewright.services.log_format import LoggedEvent
from polewright.services.log_migration import migrated

FEW = "3 stars found, at least 4 needed, better 8. 3 stars found, 5 needed."


@pytest.mark.parametrize(
    ("reason", "trouble", "why"),
    [
        ("No stars found, at least 4 needed, better 8. No stars found, 5 needed.", "TOO_FEW_STARS", NoStars(None, 0)),
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
