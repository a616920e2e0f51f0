"""The page of tonight's plan: what it needs, what the error there is now allows, and three plots of the blur."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import FloatArray
from polewright.core.night.advice import Mood
from polewright.core.night.states import Running
from polewright.core.night.witness import told_offset
from polewright.core.plan.sky_objects import SKY_OBJECTS
from polewright.core.plan.study import LARGEST_RAD, SMALLEST_RAD, PlanStudy
from polewright.core.plan.tolerance import TargetTooLow, Tolerance
from polewright.core.plan.tonight import Planned, TonightsPlan
from polewright.ui.intents import FillPlan
from polewright.ui.presenting.actions import aim_at
from polewright.ui.view_model import BlurCurve, BlurMark, BlurPlot, Fact, PlanView
from polewright.words.numbers import angle_text, duration_text, number_text
from polewright.words.plan import (
    POLE_WORDS,
    SHORT_POLES,
    exposure_words,
    guiding_words,
    in_force_words,
    needs_words,
    picture_words,
    pixels_text,
    pole_words,
    too_low_words,
)

TIMES_S = (0.1, 0.3, 1, 3, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400)
ERRORS_ARCSEC = (
    (3.0, "3″"), (10.0, "10″"), (30.0, "30″"), (60.0, "1′"),
    (180.0, "3′"), (600.0, "10′"), (1800.0, "30′"), (3600.0, "1°"),
)  # fmt: skip
DECLINATIONS_DEG = (-90, -60, -30, 0, 30, 60, 90)
LOWEST_DEG = 10.0


@dataclass(frozen=True, eq=False)
class PlanWork:
    """How far the page has come: the form, what is wrong with it, and the answers as they arrive."""

    form: FillPlan
    plan: TonightsPlan | None = None
    problem: str = ""
    answer: Planned | TargetTooLow | None = None
    study: PlanStudy | None = None

    @property
    def planned(self) -> Planned | None:
        return self.answer if isinstance(self.answer, Planned) else None


def plan_page(state: Running, work: PlanWork) -> PlanView:
    """The page."""
    night = state.plan
    refused = too_low_words(work.answer) if isinstance(work.answer, TargetTooLow) else None
    planned = work.planned
    needs = None if planned is None else planned.needs.about(night.target)
    error_rad = _error_rad(state)
    return PlanView(
        form=work.form,
        target_note="" if work.plan is None else picture_words(work.plan),
        problem=work.problem or (refused.reason if refused else ""),
        cure=refused.cure if refused and not work.problem else "",
        headline="" if needs is None else needs_words(needs),
        status=in_force_words(night.origin, night.tolerance_rad, planned is not None and planned == night.imaging),
        working=work.plan is not None and not work.problem and refused is None and work.study is None,
        ready=planned is not None,
        facts=() if planned is None or needs is None else _facts(planned, needs, work.study, error_rad),
        plots=() if planned is None or needs is None or work.study is None else _plots(needs, work.study, error_rad),
        aim_text="" if needs is None or needs.best is needs.target else f"Aim: {SHORT_POLES[needs.best]} pole",
        aim=None if needs is None or needs.best is needs.target else aim_at(night, needs.best),
        too_low=_too_low(night.site.lat_deg),
    )


def _error_rad(state: Running) -> float | None:
    """How far off the axis is now, as far as known."""
    offset = told_offset(state)
    return None if offset is None else offset.total_rad


def _facts(planned: Planned, needs: Tolerance, study: PlanStudy | None, error_rad: float | None) -> tuple[Fact, ...]:
    allowed = f"{planned.plan.allowed_blur_px:g} px"
    if needs.feasible:
        bears = f"of {POLE_WORDS[needs.target]}; {allowed} of blur is reached at {angle_text(needs.limit_rad)}"
        needed = Fact("needed", angle_text(needs.advised_rad), bears)
    else:
        bears = (
            "the air alone blurs more"
            if needs.limit_rad <= 0.0
            else f"{angle_text(needs.limit_rad)} uses up the allowed blur"
        )
        cure = "shorten the exposure" if planned.plan.guided else "shorten the exposure, or guide"
        needed = Fact(
            "needed", angle_text(needs.advised_rad), f"nothing finer can be held; {bears}: {cure}", Mood.TROUBLE
        )
    return (
        needed,
        _now(planned, needs, study, error_rad),
        _longest(needs, study, error_rad),
        Fact("pole", SHORT_POLES[needs.target], pole_words(needs)),
        Fact("air", pixels_text(needs.air_blur_px), "of blur with no error at all"),
    )


def _now(planned: Planned, needs: Tolerance, study: PlanStudy | None, error_rad: float | None) -> Fact:
    if error_rad is None:
        return Fact("now", "not yet", "the axis is not measured")
    blur = planned.most_blur_px(needs.target, error_rad) if study is None else study.blur_px(error_rad)
    exposures = f"{exposure_words(planned.plan)} exposures, {guiding_words(planned.plan)},"
    words = f"{exposures} blur by {pixels_text(blur)} at most"
    serves = blur <= planned.plan.allowed_blur_px
    return Fact("now", angle_text(error_rad), words, Mood.GOOD if serves else Mood.TROUBLE)


def _longest(needs: Tolerance, study: PlanStudy | None, error_rad: float | None) -> Fact:
    whose = "with the error there is now" if error_rad is not None else f"with {angle_text(needs.advised_rad)}"
    if study is None:
        return Fact("longest", "…", f"one exposure may last {whose}")
    longest = study.longest_s(needs.advised_rad if error_rad is None else error_rad)
    if longest >= study.longest_of_all_s:
        return Fact("longest", duration_text(longest), f"the whole series in one exposure, {whose}")
    if longest <= float(study.seconds[0]):
        return Fact("longest", f"under {_seconds_text(longest)}", f"one exposure may last {whose}", Mood.TROUBLE)
    return Fact("longest", _seconds_text(longest), f"one exposure may last {whose}")


def _seconds_text(seconds: float) -> str:
    return duration_text(seconds) if seconds >= 10.0 else f"{number_text(seconds)} s"


def _plots(needs: Tolerance, study: PlanStudy, error_rad: float | None) -> tuple[BlurPlot, ...]:
    errors = [(needs.advised_rad, f"with {angle_text(needs.advised_rad)}", False)]
    if error_rad is not None:
        errors.append((float(np.clip(error_rad, SMALLEST_RAD, LARGEST_RAD)), f"now, {angle_text(error_rad)}", True))
    return _by_exposure(study, errors), _by_error(needs, study, error_rad), _by_declination(study, errors)


Errors = list[tuple[float, str, bool]]


def _by_exposure(study: PlanStudy, errors: Errors) -> BlurPlot:
    sub_s, allowed = study.plan.sub_s, study.plan.allowed_blur_px
    curves = tuple(BlurCurve(study.seconds, study.along_time(e), text, now) for e, text, now in errors)
    marks = [BlurMark(sub_s, study.blur_px(e), pixels_text(study.blur_px(e)), now) for e, _, now in errors]
    error, _, now = errors[-1]
    longest = study.longest_s(error)
    if study.seconds[0] < longest < study.longest_of_all_s:
        marks.append(BlurMark(longest, allowed, f"at most {_seconds_text(longest)}", now))
    ticks = tuple((float(t), _seconds_text(t)) for t in TIMES_S if _within(t, study.seconds))
    return _plot("exposure", ticks, curves, tuple(marks), study)


def _by_error(needs: Tolerance, study: PlanStudy, error_rad: float | None) -> BlurPlot:
    x = study.errors_rad * ARCSEC_PER_RAD
    curve = BlurCurve(x, np.array([study.blur_px(float(e)) for e in study.errors_rad]), "")
    marks = [BlurMark(needs.advised_rad * ARCSEC_PER_RAD, study.blur_px(needs.advised_rad), _needed(needs))]
    if SMALLEST_RAD < needs.limit_rad < LARGEST_RAD:
        limit = f"limit {angle_text(needs.limit_rad)}"
        marks.append(BlurMark(needs.limit_rad * ARCSEC_PER_RAD, study.plan.allowed_blur_px, limit))
    if error_rad is not None:
        here = float(np.clip(error_rad, SMALLEST_RAD, LARGEST_RAD))
        marks.append(BlurMark(here * ARCSEC_PER_RAD, study.blur_px(here), f"now {angle_text(error_rad)}", True))
    return _plot("error of the axis", ERRORS_ARCSEC, (curve,), tuple(marks), study)


def _by_declination(study: PlanStudy, errors: Errors) -> BlurPlot:
    x, here = study.declinations_deg, study.plan.declination_deg
    curves = tuple(BlurCurve(x, study.along_declination(e), text, now) for e, text, now in errors)
    marks = tuple(BlurMark(here, study.blur_px(e), pixels_text(study.blur_px(e)), now) for e, _, now in errors)
    ticks = tuple((float(d), f"{d:+d}°".replace("-", "−") if d else "0°") for d in DECLINATIONS_DEG)
    return _plot("declination", ticks, curves, marks, study, log=False)


def _plot(
    title: str,
    ticks: tuple[tuple[float, str], ...],
    curves: tuple[BlurCurve, ...],
    marks: tuple[BlurMark, ...],
    study: PlanStudy,
    log: bool = True,
) -> BlurPlot:
    allowed = study.plan.allowed_blur_px
    return BlurPlot(title, ticks, curves, marks, allowed, f"allowed {allowed:g} px", log)


def _needed(needs: Tolerance) -> str:
    return f"needed {angle_text(needs.advised_rad)}"


def _within(value: float, nodes: FloatArray) -> bool:
    return bool(nodes[0] <= value <= nodes[-1])


def _too_low(lat_deg: float) -> tuple[str, ...]:
    """The listed objects that never stand high enough at this latitude."""
    return tuple(n for n, (_, at) in SKY_OBJECTS.items() if 90.0 - abs(lat_deg - at.dec_deg) < LOWEST_DEG)
