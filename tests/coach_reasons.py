"""A sample of every reason that the coach can have, in each of its shapes."""

from __future__ import annotations

import itertools
import math
import typing

from frame_reasons import SAMPLES as FRAMES
from polewright.core.axis_reasons import LongApart, OlderFrame, TooAlike
from polewright.core.drift.compare import Cause, Comparison
from polewright.core.drift.plan import DriftPosition
from polewright.core.drift.reading import DriftReading
from polewright.core.drift.reasons import Jumped, Sign, TooFewFrames
from polewright.core.night import advice as it
from polewright.core.night.states import Stage
from polewright.core.offset import Offset
from polewright.core.plan.sky_choice import SkyChoice, SkySpot
from polewright.core.screws.angles import Screw
from polewright.core.screws.plan import TurnKind
from polewright.core.screws.walk import Cue
from polewright.core.vigil.watch import Shift

RAD = math.radians(1.0 / 60.0)
HERE = Offset(3.0 * RAD, -2.0 * RAD, ((1e-8, 0.0), (0.0, 2e-8)))
SPOT = SkySpot(-3.0, 20.0, 45.0, 120.0)
SKY = SkyChoice("east", SPOT, SPOT, 80.0, SPOT, 2.0, 3.0)
PLACE = DriftPosition(-5.0, 10.0, 30.0, 0.4, "low in the east")
TURNED = (Stage.CAPTURE, Stage.PROOF)


def reading(**changes: object) -> DriftReading:
    """A drift that has told both components."""
    told: dict[str, object] = {"component": "altitude", "here_s": 20.0, "there_s": 60.0, **changes}
    return DriftReading(30, RAD, -RAD, ((1e-8, 0.0), (0.0, 1e-8)), 2e-6, 0.0, 3.0, (), **told)  # type: ignore[arg-type]


def shift(sudden: bool, rate_rad_h: float) -> Shift:
    """A mount that was pushed, or sinks."""
    return Shift(sudden, "axis", 100.0, 200.0, RAD, rate_rad_h, 0.1 * RAD, RAD, 0.0)  # type: ignore[arg-type]


SAMPLES: tuple[it.Reason, ...] = (
    *it.Plainly,
    it.FolderGone(""),
    it.FolderGone("The share is gone."),
    it.Clouds(80.0),
    *(it.NothingThere(it.RotateAxis(west)) for west in (40.0, -25.0)),
    *(it.NothingThere(it.Point(hour, -12.0)) for hour in (0.0, 4.0, -2.5)),
    *(it.FramesFail(why, stage) for why in FRAMES for stage in Stage),
    *(it.NotUpYet(degrees, southern) for degrees in (0.5, 52.3, 89.0) for southern in (True, False)),
    *(it.TurnBegins(stage, sky) for stage in TURNED for sky in (None, SKY)),
    *(it.DoesNotFit(stage, frame, 4) for stage in TURNED for frame in (None, "a.fits")),
    *(it.NotOneCapture(stage, LongApart("a.fits", "b.fits", 815.8)) for stage in TURNED),
    *(it.NoRoom(stage) for stage in TURNED),
    *(
        it.PlaceWanted(stage, west, places, RAD, sigma, after, refusal, other)
        for stage, west, places, (sigma, after), refusal, other in itertools.product(
            TURNED,
            (40.0, -38.0),
            (1, 3),
            ((None, None), (RAD, None), (RAD, 0.5 * RAD)),
            (None, TooAlike(0.01, 0.8)),
            (True, False),
        )
    ),
    it.Settling(0.0),
    it.Settling(3.0),
    *(it.WeakGeometry(west, RAD, doubt, 2) for west in (30.0, -80.0) for doubt in (None, OlderFrame("a.fits"))),
    *(
        it.ScrewLeft(screw, turns, kind, left, 0.1 * RAD, share, aimed, habit, lesson, 3, 5)
        for screw, turns, kind, left, share, aimed, habit, lesson in itertools.product(
            Screw,
            (0.0, 1e-4, -1.0 / 12.0, 0.625, -2.25),
            TurnKind,
            (0.0, 4.0 * RAD, -4.0 * RAD),
            (None, 0.2, 0.9),
            (True, False),
            (None, (0.0, -RAD)),
            (None, 2),
        )
    ),
    *(
        it.Walking(screw, cue, turns, known, 4.0 * RAD, 0.1 * RAD, 3, aimed=known)
        for screw in Screw
        for cue in Cue
        for turns in (-0.625, 1.5)
        for known in (True, False)
    ),
    it.NoFrames(120.0, 8.0),
    *(it.LocksWanted(offset, RAD, aimed, 3) for offset in (None, HERE) for aimed in (True, False)),
    it.LocksTrial(2),
    *(it.LocksToLoosen(size, HERE, RAD, 3) for size in (None, RAD)),
    it.MoreFrames(RAD, 1, 3),
    *(it.ElsewhereWanted(hour, -12.0, 45.0, move) for hour in (0.0, 4.0, -2.5) for move in (-33.0, 0.3, 20.0)),
    *(it.ProofContradicts(cause, RAD, 0.5 * RAD, HERE, RAD) for cause in it.Contradiction),
    *(it.ProofLimited(RAD, 0.5 * RAD, 1.5 * RAD, RAD, one, nights) for one in (True, False) for nights in (0, 3)),
    *(it.FloorReached(2.0 * RAD, RAD, proof, 3) for proof in (True, False)),
    it.CaptureTooRough(RAD, RAD, 3),
    it.DriftTooRough(RAD, 3),
    it.Near(HERE, RAD),
    it.Near(HERE, RAD, supposed=True),
    it.TripodSettles(200.0, 900.0),
    it.DriftDisturbed(Jumped(1e-4, 40.0)),
    it.DriftDisturbed(Jumped(3e-4, 40.0), nudge=True),
    it.GuidingAsked(False),
    it.GuidingAsked(True),
    it.GuidingAsked(False, it.ShortReach(2.0 * RAD, RAD, 0.8 * RAD)),
    it.GuidingAsked(True, it.ShortReach(2.0 * RAD, RAD, None)),
    *(it.DriftGuided(sign) for sign in Sign),
    *(it.NudgeWanted(10.0 * RAD, RAD, said) for said in (False, True)),
    it.NudgeWanted(10.0 * RAD, RAD, False, again=True),
    it.DriftUnsure(HERE),
    it.DriftUnsure(HERE, RAD, 2.0 * RAD),
    *(
        it.DriftTold(HERE, told, proof, guided)
        for told in (None, Comparison(0.0, 0.0, 1.0, True, Cause.NONE))
        for proof in (True, False)
        for guided in (True, False)
    ),
    *(it.FieldWanted(component, "east", PLACE, 90.0) for component in ("azimuth", "altitude")),
    it.DriftWatched(30.0, 60.0, None, None),
    it.DriftWatched(30.0, 60.0, None, TooFewFrames(2, 6)),
    *(it.DriftWatched(30.0, 60.0, reading(here_s=here), None) for here in (0.0, math.inf)),
    *(
        it.Ended(proved, drift, offset, RAD)
        for proved in (True, False)
        for drift in (True, False)
        for offset in (None, HERE)
    ),
    *(it.Quiet(proved, moved) for proved in (True, False) for moved in (0, 1, 2)),
    *(
        it.MountMoved(shift(sudden, rate), 1, 300.0, RAD, left, sudden and harmless, True)
        for sudden, rate in ((True, 0.0), (False, 0.0), (False, 10.0 * RAD))
        for left in (-RAD, 0.5 * RAD)
        for harmless in (True, False)
    ),
)


def every_class() -> set[type]:
    """The reasons that there are."""
    return set(typing.get_args(it.Reason))
