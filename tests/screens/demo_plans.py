"""Invented views of the page of tonight's plan. All numbers are made up; the curves are plain powers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from polewright.core.model import TargetPole
from polewright.core.night.advice import Mood
from polewright.core.night.events import NOW, TargetChanged
from polewright.ui.intents import FillPlan
from polewright.ui.view_model import BlurCurve, BlurMark, BlurPlot, Fact, PlanView, View
from screens.demo_views import PAGES

FORM = FillPlan(
    "NGC 7293", "-20.8", "1250.5", "4.25", "6000 × 4000", "2", "1800", "3.5", "-1.75", "1.25", "2.5", "0.5", True
)
FACTS = (
    Fact("needed", "2.3′", "of the point halfway between the poles; 0.5 px of blur is reached at 4.7′"),
    Fact("now", "24″", "1 min 30 s exposures, unguided, blur by 0.34 px at most", Mood.GOOD),
    Fact("longest", "under 15 s", "one exposure may last with the error there is now", Mood.TROUBLE),
    Fact("pole", "refracted", "the point halfway between the poles leaves 104 % more room"),
    Fact("air", "under 0.01 px", "of blur with no error at all"),
)


def plots() -> tuple[BlurPlot, ...]:
    """Three plots with everything that can be on them."""
    t, e, d = np.geomspace(15.0, 10800.0, 12), np.geomspace(3.0, 3600.0, 13), np.linspace(-30.0, 88.0, 13)
    allowed = (0.5, "allowed 0.5 px")
    by_time = BlurPlot(
        "exposure",
        ((30.0, "30 s"), (60.0, "1 min"), (300.0, "5 min"), (600.0, "10 min"), (3600.0, "1 h"), (7200.0, "2 h")),
        (BlurCurve(t, t / 1150.0, "with 2.3′"), BlurCurve(t, t / 730.0, "now, 3.8′", True)),
        (
            BlurMark(300.0, 300.0 / 1150.0, "0.26 px"),
            BlurMark(300.0, 300.0 / 730.0, "0.41 px", True),
            BlurMark(365.0, 0.5, "at most 6 min", True),
        ),
        *allowed,
    )
    by_error = BlurPlot(
        "error of the axis",
        ((3.0, "3″"), (10.0, "10″"), (60.0, "1′"), (600.0, "10′"), (3600.0, "1°")),
        (BlurCurve(e, 0.02 + e / 560.0, ""),),
        (
            BlurMark(138.0, 0.26, "needed 2.3′"),
            BlurMark(280.0, 0.5, "limit 4.7′"),
            BlurMark(228.0, 0.41, "now 3.8′", True),
        ),
        *allowed,
    )
    blur = 0.1 / np.cos(np.radians(d))
    by_declination = BlurPlot(
        "declination",
        ((-30.0, "−30°"), (0.0, "0°"), (30.0, "+30°"), (60.0, "+60°"), (90.0, "+90°")),
        (BlurCurve(d, blur, "with 2.3′"), BlurCurve(d, 1.6 * blur, "now, 3.8′", True)),
        (BlurMark(69.0, 0.26, "0.26 px"), BlurMark(69.0, 0.41, "0.41 px", True)),
        *allowed,
        log=False,
    )
    return by_time, by_error, by_declination


def whole() -> PlanView:
    """Computed, with the axis measured and a better pole on offer."""
    return PlanView(
        FORM,
        "NGC 7293: planetary nebula in Aquarius.\nHour angle −1.8 to +1.8 h, west positive, about the meridian.\n"
        "0.97″ per pixel, 1.7° × 1.1°.",
        headline="This plan asks for more than can be held.",
        status="In use: 30″, usual tolerance.",
        ready=True,
        facts=FACTS,
        plots=plots(),
        aim_text="Aim: refracted pole",
        aim=TargetChanged(NOW, TargetPole.REFRACTED, 0.9),
        too_low=("NGC 104", "SMC", "LMC"),
    )


def working() -> PlanView:
    """Still being computed."""
    return replace(whole(), plots=(), facts=(), headline="", ready=False, working=True, aim_text="", aim=None)


def refused() -> PlanView:
    """Nothing can be said."""
    return replace(
        working(),
        working=False,
        problem="The target is 12 degrees below the horizon at hour angle -1.5 h: at least 10 above it are needed.",
        cure="Choose a target farther toward the pole, or other hours.",
    )


def wrong() -> PlanView:
    """The longest of the sentences about the form."""
    said = "The first hour angle lies between -12 and 12 h; leave it empty to centre on the meridian."
    return replace(working(), working=False, problem=said, form=replace(FORM, first_hour_angle="soon", guided=False))


PLANS: Mapping[str, Callable[[], PlanView]] = {
    "whole": whole,
    "working": working,
    "refused": refused,
    "wrong": wrong,
}


def plan_view(name: str) -> View:
    """The page over a night."""
    return replace(PAGES["rough"](), plan=PLANS[name]())
