"""The report's picture of tonight's plan, against the exact simulation of its exposures."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import Site, TargetPole
from polewright.core.not_measurable import NotMeasurable
from polewright.core.offset import Offset
from polewright.core.plan.tolerance import needed_accuracy, worst_blur_px
from polewright.core.plan.tonight import Planned, TonightsPlan
from polewright.services.report.facts import NightFacts
from polewright.services.report.history import history_of
from polewright.services.report.page import report_html
from polewright.services.report.plan_picture import plan_blur
from polewright.ui.well_scale import scale_for

SITE = Site(46.2, 9.1, 300.0)
PLAN = TonightsPlan(41.3, focal_length_mm=900.0, sub_s=300.0, hours=2.0)
SMALL = ((1e-11, 0.0), (0.0, 1e-11))


@pytest.fixture(scope="module")
def facts() -> NightFacts:
    needs = needed_accuracy(PLAN.at(SITE), TargetPole.REFRACTED)
    assert not isinstance(needs, NotMeasurable)
    facts = NightFacts("2026-03-01", site=SITE, target=TargetPole.REFRACTED, tolerance_rad=needs.advised_rad)
    return replace(
        facts, imaging=Planned(PLAN, needs), final=Offset(200.0 / ARCSEC_PER_RAD, 0.0, SMALL), ended_s=900.0
    )


def words(svg: str) -> list[str]:
    return [text.text or "" for text in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_the_marks_are_those_of_the_simulation(facts: NightFacts) -> None:
    said = words(plan_blur(facts))
    assert facts.imaging is not None
    needed = facts.imaging.tolerance_rad(TargetPole.REFRACTED)
    for name, error in (("needed", needed), ("achieved", 200.0 / ARCSEC_PER_RAD)):
        (line,) = [text for text in said if text.startswith(name)]
        exact = worst_blur_px(PLAN.at(SITE), TargetPole.REFRACTED, error, PLAN.sub_s)
        assert float(re.findall(r"([\d.]+) px", line)[0]) == pytest.approx(exact, rel=0.04, abs=0.006)
    assert "allowed: 0.5 px" in said


def test_it_is_drawn_inside_its_frame_and_words_keep_apart(facts: NightFacts) -> None:
    root = ET.fromstring(plan_blur(facts))
    space = "{http://www.w3.org/2000/svg}"
    curves = [e for e in root.iter(f"{space}polyline") if len(e.get("points", "").split()) > 8]
    assert len(curves) == 2
    for curve in curves:
        points = [tuple(map(float, p.split(","))) for p in curve.get("points", "").split()]
        assert all(63.0 < x < 741.0 and 13.0 < y < 221.0 for x, y in points)
        assert points[-1][1] < points[0][1], "longer exposures blur more: higher up"
    below = sorted(float(e.get("x", "0")) for e in root.iter(f"{space}text") if e.get("text-anchor") == "middle")
    assert len(below) >= 4 and all(b - a >= 50.0 for a, b in pairwise(below))


def test_a_night_without_plan_or_axis_or_with_a_target_below_the_horizon_has_none(facts: NightFacts) -> None:
    assert plan_blur(replace(facts, imaging=None)) == "" and plan_blur(replace(facts, final=None)) == ""
    assert plan_blur(replace(facts, site=Site(-60.0, 9.1))) == ""


def test_the_page_shows_it_where_there_was_a_plan(facts: NightFacts) -> None:
    page = report_html(facts, history_of([facts]), scale_for(1.0))
    assert "Tonight's plan" in page and "length of one exposure" in page
    assert "length of one exposure" not in report_html(
        replace(facts, imaging=None), history_of([facts]), scale_for(1.0)
    )


def test_an_error_beyond_the_table_is_drawn_at_its_end(facts: NightFacts) -> None:
    far = replace(facts, final=Offset(math.radians(3.0), 0.0, SMALL))
    assert [text for text in words(plan_blur(far)) if text.startswith("achieved")] == ["achieved: 3.0°, 2.9 px"]
