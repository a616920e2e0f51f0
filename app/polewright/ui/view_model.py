"""Everything the window shows, as frozen values. Pure Python and numpy: no Qt, no clock, no state.

The window is a function of one `View`; whatever the person does comes back as an intent (ui/intents.py). Texts
arrive ready to be read: numbers are already rounded, with unit and sign in words. Only marks that are drawn to
scale carry bare numbers, with their unit in the name.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from polewright.core.night.advice import Mood
from polewright.core.night.events import TargetChanged
from polewright.core.screws.angles import Screw
from polewright.ui.intents import FillForm, FillPlan, Intent


class Page(Enum):
    """Which set of panels fills the window."""

    FIRST_RUN = "first run"
    NIGHTS = "nights"
    ORIENTATION = "orientation"
    CAPTURE = "capture"
    ROUGH = "rough"
    FINE = "fine"
    PROOF = "proof"
    SCORE = "score"


class StepMark(Enum):
    DONE = "done"
    NOW = "now"
    AHEAD = "ahead"


class Sense(Enum):
    """Which way a screw turns, as seen by the hand on it."""

    CLOCKWISE = "clockwise"
    ANTICLOCKWISE = "anticlockwise"


class Weight(Enum):
    """How loud a button is: a gloved target, an ordinary button, or a line in the menu only."""

    PRIMARY = "primary"
    PLAIN = "plain"
    MENU = "menu"


@dataclass(frozen=True)
class Point:
    """A place on the sky against the target pole, arcmin: east +, up +."""

    east_arcmin: float
    up_arcmin: float


@dataclass(frozen=True)
class Step:
    """One stage on the rail. `note` is a word or two about its outcome ("9″")."""

    name: str
    mark: StepMark
    note: str = ""


@dataclass(frozen=True)
class Instruction:
    """The one thing to do. `short` is the same in at most eight words, for the reading mode."""

    sentence: str
    reason: str = ""
    gain: str = ""
    short: str = ""
    tone: Mood = Mood.DO
    wait_fraction: float | None = None  # 0..1 of a wait that has a known length
    caution: str = ""  # what to take care of while it is done, in one line


@dataclass(frozen=True)
class TrailPoint:
    """One measured place of the axis; `move` marks the first one after a screw was turned."""

    east_arcmin: float
    up_arcmin: float
    move: bool = False


@dataclass(frozen=True)
class Reticle:
    """The well: the axis against the pole. `covariance_arcmin2` is ((ee, eu), (eu, uu)).

    `path` is the curve the marker follows under the advised turn, from the marker to the gate at its end.
    `reading_id` changes with every fresh measurement: each change sends one ring outward from the marker.
    """

    tolerance_arcmin: float
    tolerance_text: str
    axis: Point | None = None
    covariance_arcmin2: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))
    trail: tuple[TrailPoint, ...] = ()
    path: tuple[Point, ...] = ()
    southern: bool = False
    reading_id: int = 0
    stale_text: str = ""  # "no frame for 24 s"; "" while fresh
    empty_text: str = ""  # shown in place of a marker that does not exist yet
    unsure: bool = False  # the ellipse is larger than the floor


@dataclass(frozen=True)
class ScrewStrip:
    """One screw: what is left to turn. `signed_turns` is the bar: + toward east (azimuth) or up (altitude)."""

    screw: Screw
    active: bool = False
    turns: float | None = None  # how much is left, None: not known yet
    signed_turns: float = 0.0
    sense: Sense | None = None
    amount_text: str = ""  # "1/4 turn"
    sense_text: str = ""  # "clockwise"
    note_text: str = ""  # "12′ a turn, ± 3 %"
    stop: bool = False


@dataclass(frozen=True, eq=False)
class FramePicture:
    """The latest frame: `pixels` (H, W) uint8, already stretched and at most about 1000 px wide.

    Stars (N, 2) are places in that picture, x right and y down; `matched` (N,) says which ones the catalogue knows.
    """

    name: str
    pixels: NDArray[np.uint8]
    stars_px: NDArray[np.float64]
    matched: NDArray[np.bool_]
    stars_text: str
    width_text: str
    age_text: str = ""
    stale: bool = False


@dataclass(frozen=True)
class MoveMark:
    """A screw move on the timeline."""

    time_s: float
    screw: Screw


@dataclass(frozen=True, eq=False)
class Timeline:
    """The night so far: total offset and one sigma against seconds since the start, arrays (N,)."""

    time_s: NDArray[np.float64]
    total_arcmin: NDArray[np.float64]
    sigma_arcmin: NDArray[np.float64]
    tolerance_arcmin: float
    moves: tuple[MoveMark, ...] = ()
    position_s: float | None = None  # where a replay stands


@dataclass(frozen=True)
class Fact:
    """One line of numbers: what, how much, and what it means in words."""

    label: str
    value: str
    words: str = ""
    verdict: Mood | None = None


@dataclass(frozen=True)
class Trouble:
    """Something went wrong outside the program: what happened, and what to do. Never blames."""

    cause: str
    cure: str
    since_text: str = ""
    repeat: int = 1


@dataclass(frozen=True)
class Work:
    """Long work in progress; `fraction` None while its length is unknown."""

    title: str
    fraction: float | None = None
    can_cancel: bool = True


@dataclass(frozen=True)
class Action:
    """A button or menu line with its key, always shown together."""

    label: str
    key: str
    intent: Intent
    weight: Weight = Weight.PLAIN
    enabled: bool = True
    why_not: str = ""


BY_COMPASS, BY_TRUE_NORTH = "by the compass, from above", "from true north, from above"


@dataclass(frozen=True)
class Orientation:
    """How to stand the mount up: the headings and the inclination, degrees, and the checks beside them."""

    heading_magnetic_deg: float
    heading_true_deg: float
    inclination_deg: float
    heading_text: str
    inclination_text: str
    heading_note: str = BY_COMPASS
    southern: bool = False
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Capture:
    """The turn of the RA axis so far. Angles in degrees about the axis, first frame at 0, + as the sky turns."""

    taken_deg: tuple[float, ...]
    now_deg: float | None
    wanted_deg: float
    accuracy_now: str = ""  # "± 40″"
    accuracy_next: str = ""  # "± 6″"
    southern: bool = False


@dataclass(frozen=True)
class DriftCurve:
    """One field: s since it began, arcsec toward the pole about their mean; the fitted rate and its sigma (arcsec a
    second), drawn when there are `words` for it; `end_s` is when it will have been watched long enough."""

    title: str
    words: str
    at_s: tuple[float, ...]
    arcsec: tuple[float, ...]
    rate_arcsec_s: float
    sigma_arcsec_s: float
    end_s: float


@dataclass(frozen=True)
class Drift:
    """The fields of a drift being watched, oldest first, two at most."""

    curves: tuple[DriftCurve, ...]


@dataclass(frozen=True)
class Proof:
    """How the night ended: the verdict is the instruction; here are the lines that prove it."""

    facts: tuple[Fact, ...]
    shifts: int = 0  # how often the mount was seen to be moved since; each new one is heard


@dataclass(frozen=True)
class Rehearsal:
    """The screws of a simulated mount, to be turned on the screen. Turns from where they began."""

    azimuth_turns: float
    altitude_turns: float
    ra_deg: float
    busy: bool = False  # hands are at work
    scenario: str = ""


@dataclass(frozen=True)
class Replay:
    """A recorded night being played; `trainee` asks the person before each recorded move."""

    position_s: float
    length_s: float
    position_text: str
    length_text: str
    speed: float
    playing: bool
    trainee: bool = False


@dataclass(frozen=True)
class KnownName:
    """A site or a rig of earlier nights, and what is known of it."""

    name: str
    words: str = ""


@dataclass(frozen=True)
class SiteForm(FillForm):
    """What the first page already knows; the `_from` texts say where each value comes from."""

    site_from: str = ""
    optics_from: str = ""
    site_problem: str = ""
    air_problem: str = ""
    optics_problem: str = ""
    folder_problem: str = ""
    folder_note: str = ""  # what lies there, where that is worth saying
    rig_note: str = ""  # what the rig that would be taken knows
    sites: tuple[KnownName, ...] = ()
    rigs: tuple[KnownName, ...] = ()
    lacking: str = "the site"  # what the night cannot begin without, "" when it can begin
    mending: bool = False  # the form lies over a night that goes on

    @property
    def ready(self) -> bool:
        """Whether the night can begin."""
        return not self.lacking


@dataclass(frozen=True, eq=False)
class BlurCurve:
    """Pixels of blur over the plot's axis, (N,); `strong` for the error there is now."""

    x: NDArray[np.float64]
    blur_px: NDArray[np.float64]
    label: str
    strong: bool = False


@dataclass(frozen=True)
class BlurMark:
    """A place on a curve that has a name; `now` is where the axis stands."""

    x: float
    blur_px: float
    label: str
    now: bool = False


@dataclass(frozen=True, eq=False)
class BlurPlot:
    """Blur against one thing; `ticks` (value, text) along x, which is logarithmic when `log` says so."""

    title: str
    ticks: tuple[tuple[float, str], ...]
    curves: tuple[BlurCurve, ...]
    marks: tuple[BlurMark, ...]
    allowed_px: float
    allowed_text: str
    log: bool = True


@dataclass(frozen=True, eq=False)
class PlanView:
    """The page. `headline` is what the plan needs, `status` what holds now; `problem` is said in their place.

    `plots`: by exposure, by error, by declination; none while they are computed. `aim` is for the best pole.
    """

    form: FillPlan
    target_note: str = ""
    problem: str = ""
    cure: str = ""
    headline: str = ""
    status: str = ""
    working: bool = False
    ready: bool = False
    facts: tuple[Fact, ...] = ()
    plots: tuple[BlurPlot, ...] = field(default=())
    aim: TargetChanged | None = None
    aim_text: str = ""
    too_low: tuple[str, ...] = ()


@dataclass(frozen=True)
class NightRow:
    """A recorded night: two lines of the list, its trail as a picture, and the same in facts."""

    title: str
    note: str
    picture: Reticle
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class ReportPage:
    """A report as rich text: `html` in the tags that the window's pages know, `pictures` as SVG by their names."""

    title: str
    html: str
    pictures: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Nights:
    """All recorded nights, the latest first; `report` lies over them."""

    rows: tuple[NightRow, ...]
    chosen: int = 0
    said: str = ""
    report: ReportPage | None = None


@dataclass(frozen=True, eq=False)
class View:
    """All of it. Fields that are None are not on the screen."""

    page: Page
    rail: tuple[Step, ...]
    instruction: Instruction
    reticle: Reticle
    strips: tuple[ScrewStrip, ...] = ()
    numbers: tuple[Fact, ...] = ()
    total: Fact | None = None  # how far off the axis is in all
    frame: FramePicture | None = None
    timeline: Timeline | None = None
    trouble: Trouble | None = None
    work: Work | None = None
    actions: tuple[Action, ...] = ()
    orientation: Orientation | None = None
    capture: Capture | None = None
    drift: Drift | None = None
    proof: Proof | None = None
    after: tuple[Fact, ...] = ()  # once aligned, in the place of the strips: how it stands, three short ones
    rehearsal: Rehearsal | None = None
    replay: Replay | None = None
    form: SiteForm = field(default_factory=SiteForm)
    plan: PlanView | None = None
    nights: Nights | None = None
    rehearsed: str = ""  # the simulated night that runs or ran last
    title: str = ""  # "Heath farm · 240 mm guide scope"
