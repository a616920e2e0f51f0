"""One reason of every class why a frame cannot be used, for tests that go over all of them."""

from __future__ import annotations

import typing

from polewright.core import star_trouble as of
from polewright.core import unsolved as no
from polewright.core.unsolved import FrameReason, FrameTrouble, trouble_of

FEW = of.TooFewStars(0.5, 0, 3, 8, 3.0)
SAMPLES: tuple[FrameReason, ...] = (
    of.TooSmall(32),
    of.CapOn(0.0),
    of.TooBright(2.0, 1.0),
    of.TooBright(2.0, 0.63),
    of.Trailed(20, 30.0, 30.0),
    of.Smeared(12.0),
    of.OutOfFocus(20, 18.0, rings=True),
    of.OutOfFocus(20, 12.0),
    of.TooFewStars(2.0, 0, 0),
    FEW,
    no.Elongated(20),
    no.ScaleUnknown(5, 8),
    no.NoMatch(20, 10.0),
    no.NoMatchAnywhere(20, 0.4, 60.0),
    no.ThinCatalogue(40, 0.25, 3, 5),
    no.TooWide(90, 85.0, 60.0),
    no.NoTime(),
    no.BelowHorizon("a.fits", 12.0),
    no.Daylight("a.fits", 21.0),
    no.OtherCamera("a.fits"),
    no.AxisLeapt(0.2),
    no.Unreadable("a.fits is damaged."),
    no.Fault("a.fits"),
    no.RecordedReason(FrameTrouble.NO_MATCH, "Dawn.", "Go to bed."),
)


def reason_of(trouble: FrameTrouble) -> FrameReason:
    """The first sample of a kind."""
    return next(why for why in SAMPLES if trouble_of(why) is trouble)


def every_class() -> set[type]:
    """The classes that a reason may have."""
    return set(typing.get_args(FrameReason))
