"""Invented views of every page, so that screens can be drawn and looked at without a night behind them.

The place, the rig and all numbers are made up.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from polewright.core.model import TargetPole
from polewright.core.night import events
from polewright.core.night.advice import Mood
from polewright.core.night.events import NOW
from polewright.core.screws.angles import Screw
from polewright.ui import intents as want
from polewright.ui.view_model import (
    Action,
    Capture,
    Drift,
    DriftCurve,
    Fact,
    FramePicture,
    Instruction,
    KnownName,
    MoveMark,
    Orientation,
    Page,
    Point,
    Proof,
    Rehearsal,
    Replay,
    Reticle,
    ScrewStrip,
    Sense,
    SiteForm,
    Step,
    StepMark,
    Timeline,
    TrailPoint,
    Trouble,
    View,
    Weight,
    Work,
)
from polewright.words.cautions import BY_DAY, HOLD, OPPOSITE

STAGES = ("Stand", "Measure", "Rough", "Fine", "Proof")
TITLE = "Heath farm · 240 mm guide scope"


def rail(now: int, notes: tuple[str, ...] = ()) -> tuple[Step, ...]:
    """The rail with stage `now` current."""
    marks = [StepMark.DONE if i < now else StepMark.NOW if i == now else StepMark.AHEAD for i in range(len(STAGES))]
    padded = notes + ("",) * (len(STAGES) - len(notes))
    return tuple(Step(n, m, t) for n, m, t in zip(STAGES, marks, padded))


@lru_cache
def frame_picture(seed: int = 3, stale: bool = False) -> FramePicture:
    """A made-up frame: a sloping sky, noise and stars."""
    rng = np.random.default_rng(seed)
    high, wide = 480, 640
    y, x = np.mgrid[0:high, 0:wide]
    sky = 26 + 14 * x / wide + rng.normal(0, 5, (high, wide))
    places = rng.uniform((12, 12), (wide - 12, high - 12), (64, 2))
    for (sx, sy), flux in zip(places, rng.pareto(1.1, 64) * 60 + 60):
        x0, x1, y0, y1 = int(sx) - 8, int(sx) + 9, int(sy) - 8, int(sy) + 9
        patch = flux * np.exp(-(((x[y0:y1, x0:x1] - sx) ** 2 + (y[y0:y1, x0:x1] - sy) ** 2) / (2 * 1.6**2)))
        sky[y0:y1, x0:x1] += patch
    return FramePicture(
        name="guide_0142.fits",
        pixels=np.clip(sky, 0, 255).astype(np.uint8),
        stars_px=places,
        matched=rng.uniform(size=64) < 0.7,
        age_text="31 s old" if stale else "1 s old",
        stars_text="64 stars, 45 matched",
        width_text="3.1 px wide",
        stale=stale,
    )


@lru_cache
def timeline(length_s: float = 900.0) -> Timeline:
    """A made-up night: from three degrees to under a minute of arc in four moves."""
    t = np.arange(0.0, length_s, 4.0)
    total = np.select([t < 220, t < 380, t < 540, t < 700], [168.0, 41.0, 7.6, 2.4], 0.74)
    rng = np.random.default_rng(5)
    sigma = np.where(t < 220, 1.4, 0.35)
    return Timeline(
        t,
        total + rng.normal(0, 0.08, t.size) * np.minimum(total, 2),
        sigma,
        2.0,
        (
            MoveMark(220, Screw.AZIMUTH),
            MoveMark(380, Screw.ALTITUDE),
            MoveMark(540, Screw.AZIMUTH),
            MoveMark(700, Screw.ALTITUDE),
        ),
    )


ALWAYS = (
    Action("Back", "Backspace", events.BackAsked(NOW), Weight.PLAIN),
    Action("Undo", "Ctrl+Z", events.UndoAsked(NOW), Weight.PLAIN),
    Action("Pause", "P", events.PauseAsked(NOW), Weight.PLAIN),
    Action("I bumped it", "B", events.TripodBumped(NOW), Weight.MENU),
    Action("Begin this stage again", "Ctrl+R", events.RestartAsked(NOW), Weight.MENU),
    Action("Choose another folder", "Ctrl+O", want.ChooseFolder(), Weight.MENU),
    Action("Align to the true pole", "T", events.TargetChanged(NOW, TargetPole.TRUE, 0.9), Weight.MENU),
    Action("Export the night", "Ctrl+E", want.ExportNight(), Weight.MENU),
    Action("Leave this night", "Ctrl+W", want.LeaveNight(), Weight.MENU),
)

OF_REPLAYS = (
    Action("Earlier nights", "Ctrl+L", want.OpenNights(), Weight.MENU),
    Action("Leave this recording", "Ctrl+W", want.LeaveNight(), Weight.MENU),
)

EMPTY_WELL = Reticle(tolerance_arcmin=2.0, tolerance_text="for tonight's plan: 2.0′")


def first_run() -> View:
    """The page that greets a new person."""
    return View(
        page=Page.FIRST_RUN,
        rail=(),
        instruction=Instruction("Say where you are and what you look through.", "Both can be changed later."),
        reticle=EMPTY_WELL,
        form=SiteForm(
            latitude="52.3",
            longitude="3",
            elevation="24",
            focal_length="240",
            pixel_size="5",
            folder="/home/observer/frames/tonight",
            site_from="from the header of guide_0001.fits",
            optics_from="from the header of guide_0001.fits",
            site_name="Heath farm",
            rig_name="guide scope on the old mount",
            temperature="-3",
            pressure="1004",
            rig_note="azimuth 31′, altitude 12′ a turn; 2 rigs look alike: Ctrl+2",
            sites=(KnownName("Heath farm", "52.30° N, 3.00° E; -3 °C"), KnownName("Salt pan", "52.10° N, 3.40° E")),
            rigs=(
                KnownName("guide scope on the old mount", "azimuth 31′, altitude 12′ a turn; last used 2026-11-12"),
                KnownName("guide scope on the new mount", "its screws are not known yet; last used 2026-11-17"),
            ),
            lacking="",
        ),
    )


def orientation() -> View:
    """Stand the mount up."""
    return View(
        page=Page.ORIENTATION,
        rail=rail(0),
        title=TITLE,
        instruction=Instruction(
            "Point the mount's axis to 358° on the compass and tilt it to 52° 20′.",
            "Within two degrees is close enough: the frames do the rest. Keep steel away from the compass.",
            "Next: three frames tell where the axis really points.",
            "Compass 358°, tilt 52° 20′.",
            caution=BY_DAY,
        ),
        reticle=EMPTY_WELL,
        orientation=Orientation(
            358.2,
            0.0,
            52.34,
            "358° magnetic",
            "52° 20′",
            facts=(
                Fact("true north", "0°", "magnetic north lies 1.8° east of it, ± 0.4°"),
                Fact("pole", "52° 20′", "52° 19′ and 0.8′ of refraction"),
                Fact("clock", "0.3 s", "frames and computer agree"),
                Fact("scale", "4.30″/px", "first frame agrees"),
                Fact("before", "6 nights", "set it down 59′ further west and 24′ higher; 12 min 30 s to align"),
            ),
        ),
        frame=frame_picture(),
        actions=(Action("Mount is set up", "Return", events.NextAsked(NOW), Weight.PRIMARY), *ALWAYS),
    )


def capture() -> View:
    """Measure: two of three frames taken."""
    return View(
        page=Page.CAPTURE,
        rail=rail(1),
        title=TITLE,
        instruction=Instruction(
            "Rotate the RA axis 35° further west.",
            "Two frames are in. A wider turn pins the axis down better.",
            "Error shrinks from 40″ to 6″.",
            "Rotate RA 35° further west.",
            caution=HOLD,
        ),
        reticle=replace(EMPTY_WELL, empty_text="The axis appears here after the turn."),
        capture=Capture((0.0, 31.0), 43.0, 66.0, "± 40″", "± 6″"),
        frame=frame_picture(4),
        numbers=(
            Fact("turned", "43°", "of 66° wanted"),
            Fact("accuracy", "± 40″", "± 6″ after the next frame"),
        ),
        actions=(
            Action("Go on with ± 40″", "Return", events.NextAsked(NOW), Weight.PRIMARY),
            Action("Drop the last frame", "Delete", events.UndoAsked(NOW), Weight.PRIMARY),
            *ALWAYS,
        ),
    )


def _path(start: Point, end: Point, bow: float = 0.0) -> tuple[Point, ...]:
    k = np.linspace(0, 1, 24)
    east = start.east_arcmin + (end.east_arcmin - start.east_arcmin) * k
    up = start.up_arcmin + (end.up_arcmin - start.up_arcmin) * k + bow * k * (1 - k)
    return tuple(Point(float(e), float(u)) for e, u in zip(east, up))


def rough() -> View:
    """Rough: the azimuth screw has far to go."""
    at = Point(138.0, -74.0)
    return View(
        page=Page.ROUGH,
        rail=rail(2, ("", "± 6″")),
        title=TITLE,
        instruction=Instruction(
            "Turn azimuth 3 1/4 turns clockwise.",
            "The axis points 2° 18′ too far east. One turn moves it 42′.",
            "The next frame shows where it went.",
            "Azimuth 3 1/4 turns clockwise.",
            caution=OPPOSITE,
        ),
        reticle=Reticle(
            2.0,
            "for tonight's plan: 2.0′",
            at,
            ((0.04, 0.01), (0.01, 0.03)),
            (TrailPoint(162.0, -73.0), TrailPoint(160.0, -73.6), TrailPoint(138.0, -74.0, True)),
            _path(at, Point(0.5, -70.0), 6.0),
            reading_id=4,
        ),
        strips=(
            ScrewStrip(
                Screw.AZIMUTH, True, 3.25, 3.25, Sense.CLOCKWISE, "3 1/4 turns", "clockwise", "110′ a turn, ± 12 %"
            ),
            ScrewStrip(
                Screw.ALTITUDE, False, 1.75, -1.75, Sense.ANTICLOCKWISE, "1 3/4", "anticlockwise", "not learned yet"
            ),
        ),
        total=Fact("total", "2.61°", "± 0.3′ from the true pole"),
        numbers=(
            Fact("total", "2.61°", "± 0.3′"),
            Fact("azimuth", "3.75°", "too far east, on the horizon"),
            Fact("altitude", "1.23°", "too low"),
        ),
        frame=frame_picture(5),
        timeline=timeline(260.0),
        actions=(
            Action("Turned as told", "Return", events.ScrewTurned(NOW, Screw.AZIMUTH, None), Weight.PRIMARY),
            Action("1/4", "1", events.ScrewTurned(NOW, Screw.AZIMUTH, 0.25), Weight.PRIMARY),
            Action("1/2", "2", events.ScrewTurned(NOW, Screw.AZIMUTH, 0.5), Weight.PRIMARY),
            Action("1 turn", "3", events.ScrewTurned(NOW, Screw.AZIMUTH, 1.0), Weight.PRIMARY),
            *ALWAYS,
        ),
    )


def fine() -> View:
    """Fine: an eighth of a turn on the altitude screw."""
    at = Point(0.7, -5.6)
    return View(
        page=Page.FINE,
        rail=rail(3, ("", "± 6″", "2.6°")),
        title=TITLE,
        instruction=Instruction(
            "Turn altitude 1/8 turn anticlockwise.",
            "The axis points 5.6′ too low. Turn slowly and watch the star walk to the gate.",
            "Then it is good enough for tonight.",
            "Altitude 1/8 turn anticlockwise.",
        ),
        reticle=Reticle(
            2.0,
            "for tonight's plan: 2.0′",
            at,
            ((0.06, 0.02), (0.02, 0.09)),
            (
                TrailPoint(138.0, -74.0),
                TrailPoint(61.0, -72.0, True),
                TrailPoint(9.0, -70.5),
                TrailPoint(2.4, -70.0),
                TrailPoint(1.6, -30.0, True),
                TrailPoint(1.2, -12.0),
                TrailPoint(0.7, -5.6),
            ),
            _path(at, Point(0.4, -0.1)),
            reading_id=9,
        ),
        strips=(
            ScrewStrip(Screw.AZIMUTH, False, 0.0, 0.02, None, "", "", "110′ a turn, ± 12 %", stop=True),
            ScrewStrip(
                Screw.ALTITUDE,
                True,
                0.125,
                -0.125,
                Sense.ANTICLOCKWISE,
                "1/8 turn",
                "anticlockwise",
                "0.92′ a turn, ± 12 %",
            ),
        ),
        total=Fact("total", "5.6′", "± 0.3′ from the true pole"),
        numbers=(
            Fact("total", "5.6′", "± 0.3′"),
            Fact("azimuth", "1.1′", "too far east, on the horizon"),
            Fact("altitude", "5.6′", "too low"),
        ),
        frame=frame_picture(6),
        timeline=timeline(620.0),
        actions=(
            Action("Good enough, finish", "Return", events.Accepted(NOW), Weight.PRIMARY),
            Action("Base is locked", "L", events.BaseLocked(NOW), Weight.PRIMARY),
            *ALWAYS,
        ),
    )


def fine_close() -> View:
    """Fine: inside the floor, the ellipse larger than the floor, so not yet known well enough."""
    view = fine()
    return replace(
        view,
        instruction=Instruction(
            "Hands off. Measuring, 8 s.",
            "The axis looks good; two more frames make it sure.",
            "",
            "Hands off. Measuring.",
            Mood.WAIT,
            0.4,
        ),
        reticle=replace(
            view.reticle,
            axis=Point(0.5, -0.7),
            covariance_arcmin2=((1.1, 0.3), (0.3, 0.6)),
            path=(),
            unsure=True,
            reading_id=10,
        ),
        strips=(ScrewStrip(Screw.AZIMUTH, stop=True), ScrewStrip(Screw.ALTITUDE, stop=True)),
    )


def fine_stale() -> View:
    """Fine: no frame for a while, and a trouble to tell."""
    view = fine()
    return replace(
        view,
        instruction=Instruction(
            "Wait for frames: the folder has been silent for 31 s.",
            "Nothing is lost. The last place of the axis is kept.",
            "",
            "Waiting for frames.",
            Mood.TROUBLE,
        ),
        reticle=replace(view.reticle, stale_text="31 s old"),
        frame=frame_picture(6, stale=True),
        trouble=Trouble(
            "The frame folder cannot be reached.",
            "Check the network or the cable; the night goes on by itself when it is back. Or choose another folder.",
            "for 31 s",
        ),
    )


def fine_unmatched() -> View:
    """Fine: frames that match nothing, told in the longest words there are."""
    trouble = Trouble(
        "11 objects found, but they match no star pattern at 4.30 arcsec/px, nor at any other scale.",
        "Clouds, trails, hot pixels? If the stars are sharp, check focal length and pixel size.",
        "for 7 s",
        3,
    )
    return replace(fine_stale(), trouble=trouble)


def southern() -> View:
    """Fine, under the southern sky: east on the left."""
    view = fine()
    return replace(view, title="Salt pan · 50 mm lens", reticle=replace(view.reticle, southern=True))


def proof() -> View:
    """The end: how good it is, and that it is watched."""
    return View(
        page=Page.PROOF,
        rail=rail(4, ("", "± 6″", "2.6°", "0.74′")),
        title=TITLE,
        instruction=Instruction(
            "Good enough for tonight: 0.7′, needed 2.0′.",
            "Measured afresh with the base locked. The mount is watched from now on.",
            "Stars stay round for 300 s at 800 mm; drift at most 0.2 px.",
            "Good enough. 0.7′, needed 2.0′.",
            Mood.GOOD,
        ),
        reticle=Reticle(
            2.0,
            "for tonight's plan: 2.0′",
            Point(0.42, -0.6),
            ((0.01, 0.0), (0.0, 0.012)),
            (TrailPoint(1.2, -12.0), TrailPoint(0.7, -5.6, True), TrailPoint(0.45, -0.64)),
            reading_id=12,
        ),
        after=(
            Fact("proved", "just now"),
            Fact("moved since", "not known", "once the run begins"),
            Fact("next look", "in 4 s", "with the next frame"),
        ),
        total=Fact("total", "0.7′", "± 0.1′ from the true pole"),
        proof=Proof(
            (
                Fact("before", "2.61°", "started 47 minutes ago"),
                Fact("after", "0.7′", "± 0.1′, five frames"),
                Fact("moves", "4", "two azimuth, two altitude"),
                Fact("drift", "0.2 px", "in 300 s, at most"),
                Fact("rotation", "0.1 px", "at the corner, in 300 s"),
            ),
        ),
        frame=frame_picture(7),
        timeline=timeline(),
        actions=(
            Action("Done for tonight", "Return", events.Accepted(NOW), Weight.PRIMARY),
            Action("Align more closely", "F", events.BackAsked(NOW), Weight.PRIMARY),
            *ALWAYS,
        ),
    )


def drift_curve(title: str, rate_arcsec_s: float, end_s: float, seed: int) -> DriftCurve:
    """A made-up field: a line with scatter."""
    at_s = np.arange(0.0, 240.0, 4.0)
    moved = rate_arcsec_s * (at_s - at_s.mean()) + np.random.default_rng(seed).normal(0.0, 0.5, at_s.size)
    words = f"{rate_arcsec_s * 60.0:+.2f}″ a minute, ± 0.11"
    return DriftCurve(title, words, tuple(map(float, at_s)), tuple(map(float, moved)), rate_arcsec_s, 0.0018, end_s)


def drifting() -> View:
    """The proof by drift: one field is done, the other is being watched."""
    return replace(
        proof(),
        instruction=Instruction(
            "Hands off, guiding off: 12 min 40 s.",
            "So far: 0.4′ west, ± 0.1′; 1.2′ too low, ± 0.6′. The declination wanders slowly: wind, a loose clutch or"
            " poor seeing. Watch for longer.",
            "Then a field for the altitude.",
            "Hands off. 12 min 40 s.",
            Mood.WAIT,
        ),
        proof=None,
        drift=Drift(
            (
                drift_curve("near the meridian", -0.0071, 240.0, 1),
                drift_curve("5.2 h east of the meridian", 0.0164, 1000.0, 2),
            )
        ),
        numbers=(
            Fact("azimuth", "0.4′", "west, ± 0.1′, by drift"),
            Fact("altitude", "not yet", "needs the other field"),
            Fact("time left", "12 min 40 s", "one frame ± 0.5″"),
        ),
        actions=(
            Action("Accept without proof", "F", events.Accepted(NOW), Weight.PLAIN),
            Action("The other side of the meridian", "D", events.DriftAsked(NOW, "west", ask=True), Weight.MENU),
            Action("Stood half an hour, firm ground", "H", events.DriftAsked(NOW, stood=True, ask=True), Weight.MENU),
            *(replace(action, weight=Weight.MENU) if action.label == "Undo" else action for action in ALWAYS),
        ),
    )


def drift_begins() -> View:
    """The proof by drift: no frame yet."""
    return replace(
        drifting(),
        instruction=Instruction(
            "Point 5.2 h east, declination +12°.",
            "This field tells the altitude; 31° high. Leave the mount alone: tracking on, guiding off in both axes."
            " The air alone fakes 1.4′ there; it is taken out.",
            "Watching takes about 12 min 40 s.",
            "Point 5.2 h east, declination +12°.",
        ),
        drift=Drift(()),
        numbers=(Fact("drift", "not yet", "two fields are watched, one after the other"),),
    )


def watching() -> View:
    """The imaging run is watched, and nothing has moved."""
    return replace(
        proof(),
        instruction=Instruction(
            "Watching. Keep imaging.",
            "The alignment is proved. Nothing has moved.",
            "",
            "Watching. Keep imaging.",
            Mood.GOOD,
        ),
        after=(
            Fact("proved", "3 h 14 min ago"),
            Fact("moved since", "no", "10″ and more would show"),
            Fact("next look", "in 1 min 10 s", "with the next frame"),
        ),
        proof=Proof(
            (
                Fact("axis", "0.7′", "± 0.1′; 99.9 % within 2.0′"),
                Fact("last look", "1 min 50 s ago", "412 looks so far"),
                Fact("sees", "10″ and more", "guiding hides small ones"),
                Fact("shifts", "none", "in 3 h 12 min"),
            ),
        ),
        actions=(
            Action("Done for tonight", "Return", want.LeaveNight(), Weight.PRIMARY),
            Action("Align more closely", "F", events.BackAsked(NOW), Weight.PRIMARY),
            Action("It is unguided", "G", events.GuidingSwitched(NOW, False)),
            *(action for action in ALWAYS if action.label != "Undo"),
        ),
    )  # fmt: skip


def moved() -> View:
    """The imaging run is watched, and the mount was moved twice."""
    view = watching()
    return replace(
        view,
        instruction=Instruction(
            "The mount was moved. Measure again.",
            "2 min 10 s ago, by at least 1.9′; tonight needs 2.0′. Check feet and locks first.",
            "",
            "The mount was moved. Measure again.",
            Mood.TROUBLE,
        ),
        after=(
            Fact("proved", "3 h 14 min ago"),
            Fact("moved since", "1.9′", "or more", Mood.TROUBLE),
            Fact("next look", "overdue", "no frame for 12 min 40 s"),
        ),
        proof=Proof(
            (
                Fact("axis", "0.7′", "± 0.1′; 99.9 % within 2.0′"),
                Fact("last look", "1 min 50 s ago", "the folder cannot be reached", Mood.TROUBLE),
                Fact("sees", "large shifts", "guided or not: not yet known"),
                Fact("moved", "1.9′", "or more, 2 min 10 s ago", Mood.TROUBLE),
                Fact("sinking", "24″ an hour", "since 1 h 12 min", Mood.TROUBLE),
            ),
            1,
        ),
        actions=(
            Action("Measure again", "Return", events.TripodBumped(NOW), Weight.PRIMARY),
            Action("Keep imaging", "F", events.ShiftPutAway(NOW), Weight.PRIMARY),
            Action("It is unguided", "G", events.GuidingSwitched(NOW, False)),
            *(action for action in ALWAYS if action.label != "Undo"),
        ),
    )


def rehearsal() -> View:
    """Rough, on a simulated mount with screws on the screen."""
    view = rough()
    return replace(
        view,
        title="Rehearsal · first night, unknown mount",
        rehearsal=Rehearsal(1.5, -0.25, 62.0, False, "first night, unknown mount"),
    )


def score() -> View:
    """The end of a rehearsal."""
    view = proof()
    return replace(
        view,
        page=Page.SCORE,
        title="Rehearsal · first night, unknown mount",
        instruction=Instruction(
            "Aligned in 11 minutes with 5 moves.",
            "The true error is 0.66′; the program said 0.7′ ± 0.1′.",
            "Three moves would have been enough: the second went the wrong way round.",
            "11 minutes, 5 moves, 0.66′.",
            Mood.GOOD,
        ),
        proof=Proof(
            (
                Fact("time", "11 min", "simulated"),
                Fact("moves", "5", "3 would do"),
                Fact("true error", "0.66′", "needed 2.0′"),
                Fact("measured", "0.7′", "± 0.1′"),
            )
        ),
        actions=(
            Action("Rehearse again", "Ctrl+P", want.StartRehearsal(), Weight.PRIMARY),
            Action("To the first page", "Escape", want.LeaveNight(), Weight.PRIMARY),
        ),
    )


def replay() -> View:
    """A recorded night, taken over by a trainee."""
    view = fine()
    return replace(
        view,
        title="Recorded night of 12 October",
        timeline=replace(timeline(), position_s=560.0),
        replay=Replay(560.0, 900.0, "9 min 20 s", "15 min 0 s", 10.0, True, False),
        actions=OF_REPLAYS,
    )


def trainee() -> View:
    """A replay that asks."""
    view = replay()
    assert view.replay is not None
    return replace(
        view,
        instruction=Instruction(
            "What would you turn now?", "Answer with a screw and an amount; then see what happened that night.", "",
            "What would you turn now?",
        ),
        replay=replace(view.replay, playing=False, trainee=True),
        reticle=replace(view.reticle, path=()),
        actions=(
            Action("Azimuth +1/8", "1", events.ScrewTurned(NOW, Screw.AZIMUTH, 0.125), Weight.PRIMARY),
            Action("Azimuth −1/8", "2", events.ScrewTurned(NOW, Screw.AZIMUTH, -0.125), Weight.PRIMARY),
            Action("Altitude +1/8", "3", events.ScrewTurned(NOW, Screw.ALTITUDE, 0.125), Weight.PRIMARY),
            Action("Altitude −1/8", "4", events.ScrewTurned(NOW, Screw.ALTITUDE, -0.125), Weight.PRIMARY),
            *OF_REPLAYS,
        ),
    )  # fmt: skip


def working() -> View:
    """Long work in progress."""
    return replace(capture(), work=Work("Learning the star patterns", 0.42))


def first_trouble() -> View:
    """The first page with something wrong."""
    view = first_run()
    form = replace(
        view.form,
        latitude="95",
        site_problem="Latitude 95° is off the Earth: write -90 to 90.",
        folder_problem="There is no such folder: choose one.",
        lacking="Latitude 95° is off the Earth: write -90 to 90.",
    )
    trouble = Trouble("The settings file was damaged.", "It was set aside; fill in the form once more.")
    return replace(view, form=form, trouble=trouble)


def first_working() -> View:
    """The first page while a recorded night is being loaded."""
    return replace(first_run(), work=Work("Loading the recorded night"))


def far_off() -> View:
    """Beyond the rim: the axis is fifteen degrees away."""
    view = rough()
    return replace(view, reticle=replace(view.reticle, axis=Point(830.0, 260.0), path=(), trail=()))


PAGES = {
    "first-run": first_run,
    "orientation": orientation,
    "capture": capture,
    "rough": rough,
    "fine": fine,
    "fine-close": fine_close,
    "fine-stale": fine_stale,
    "fine-unmatched": fine_unmatched,
    "southern": southern,
    "proof": proof,
    "drifting": drifting,
    "drift-begins": drift_begins,
    "watching": watching,
    "moved": moved,
    "rehearsal": rehearsal,
    "score": score,
    "replay": replay,
    "trainee": trainee,
    "working": working,
    "far-off": far_off,
    "first-trouble": first_trouble,
    "first-working": first_working,
}
