"""The page of the plan is made anew when what it tells has changed, and only then; places of a drift all at once."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from polewright.core.drift.rates import star_enu
from polewright.core.drift.reading import place_rad, places_rad
from polewright.core.model import Site, TargetPole
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.states import Capture, NightPlan, NightState, Running, Stage, begun
from polewright.core.plan.tonight import usual_plan
from polewright.core.sky.places import standard_atmosphere
from polewright.runtime.jobs import Done
from polewright.services.measuring import Optics
from polewright.ui.driving.plan_form import text_of
from polewright.ui.driving.planning import NEEDS, Planning, planned_for
from polewright.ui.presenting.plan import DECLINATIONS_DEG, ERRORS_ARCSEC, TIMES_S

SITE = Site(52.0, 10.0)
NIGHT = NightPlan(SITE, TargetPole.TRUE, math.radians(52.0), 1.5e-4, air=standard_atmosphere(SITE))
STATE = Running(stage=Stage.FINE, now_s=900.0, plan=NIGHT)


class Later:
    """A worker whose answers wait until the test gives them."""

    def __init__(self) -> None:
        self.waiting: dict[str, Callable[[Done], None]] = {}

    def ask(self, topic: str, work: Callable[[], object], done: Callable[[Done], None]) -> None:
        self.waiting[topic] = done

    def forget(self, topic: str) -> None:
        self.waiting.pop(topic, None)

    def stop(self) -> None:
        self.waiting.clear()


def off_by(east_rad: float) -> NightState:
    return replace(STATE, capture=Capture(axis=MeasuredAxis(east_rad, 2e-4, ((1e-11, 0.0), (0.0, 1e-11)))))


def test_the_page_is_made_anew_only_for_what_it_tells() -> None:
    worker, plan = Later(), usual_plan(SITE)
    planning = Planning(worker, Optics(), lambda: None, lambda planned: None)
    assert planning.view(STATE) is None, "nobody has asked for it"
    planning.fill(text_of(plan), NIGHT)
    first = planning.view(off_by(1e-4))
    assert first is not None and not first.ready
    assert planning.view(replace(off_by(1e-4), now_s=950.0, frames_used=7)) is first, "time alone changes nothing"
    worker.waiting[NEEDS](Done(planned_for(plan, SITE, NIGHT.target)))
    answered = planning.view(off_by(1e-4))
    assert answered is not None and answered.ready and answered.facts
    nearer = planning.view(off_by(0.2e-4))
    assert nearer is not None and nearer.facts[1].value != answered.facts[1].value, "another error of the axis"
    finer = planning.view(replace(begun(off_by(0.2e-4)), plan=replace(NIGHT, tolerance_rad=1e-4)))
    assert finer is not None and finer.status != nearer.status, "another tolerance"


@pytest.mark.parametrize("lat_deg", [52.0, -33.0])
def test_places_of_many_directions_are_those_they_were_made_from(lat_deg: float) -> None:
    """star_enu goes the other way, from hour angle and declination."""
    site, rng = Site(lat_deg, 10.0), np.random.default_rng(5)
    hour, declination = rng.uniform(-3.0, 3.0, 50), rng.uniform(-1.3, 1.5, 50)
    directions = star_enu(site, hour, declination)
    found = places_rad(directions, math.radians(abs(lat_deg)), site)
    assert found == pytest.approx(np.stack([hour, declination], axis=1), abs=1e-9)
    assert place_rad(tuple(directions[7]), math.radians(abs(lat_deg)), site) == pytest.approx(
        tuple(found[7]), abs=1e-15
    )


def test_the_ticks_stand_where_they_say() -> None:
    """Errors in arcseconds, by the unit of each label."""
    unit = {"″": 1.0, "′": 60.0, "°": 3600.0}
    assert [value for value, _ in ERRORS_ARCSEC] == [float(text[:-1]) * unit[text[-1]] for _, text in ERRORS_ARCSEC]
    assert list(TIMES_S) == sorted(set(TIMES_S)) and list(DECLINATIONS_DEG) == sorted(-d for d in DECLINATIONS_DEG)
