"""What the page of tonight's plan shows, as frozen values. Pure: no Qt."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from polewright.ui.intents import FillPlan
from polewright.ui.view_model import Fact


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

    `plots`: by exposure, by error, by declination; none while they are computed. `aim_text` offers `best_pole`.
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
    aim_text: str = ""
    best_pole: str = ""
    too_low: tuple[str, ...] = ()
