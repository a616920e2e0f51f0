"""The well: its scale, where the marker goes, and what it looks like when it must not be trusted."""

from __future__ import annotations

from dataclasses import replace
from math import cos, hypot, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QPointF
from pytestqt.qtbot import QtBot

from polewright.ui.drawing import LEDGER
from polewright.ui.motion import GLIDE_S, Glide
from polewright.ui.reticle import ReticleWidget
from polewright.ui.view_model import Point, Reticle, TrailPoint
from polewright.ui.well_scale import FLOOR_FRACTION, RIM_ARCMIN, ellipse_outline, ring_label, scale_for
from screens.conftest import rgb

TOLERANCES = st.floats(0.05, 60.0)


@given(TOLERANCES)
def test_the_floor_always_has_the_same_size(tolerance: float) -> None:
    assert scale_for(tolerance).fraction(tolerance) == pytest.approx(FLOOR_FRACTION, rel=1e-6)


@given(TOLERANCES, st.floats(0.01, RIM_ARCMIN), st.floats(1.01, 3.0))
def test_farther_is_farther_and_the_scale_inverts(tolerance: float, angle: float, factor: float) -> None:
    scale = scale_for(tolerance)
    assert scale.fraction(angle * factor) > scale.fraction(angle)
    assert scale.angle_arcmin(scale.fraction(angle)) == pytest.approx(angle, rel=1e-9)


@given(TOLERANCES, st.floats(-6000, 6000), st.floats(-6000, 6000))
def test_no_place_leaves_the_well(tolerance: float, east: float, up: float) -> None:
    x, y = scale_for(tolerance).place(east, up)
    assert hypot(x, y) <= 1.0 + 1e-9


def test_the_scale_is_linear_near_the_centre() -> None:
    """A steady hand moves the marker steadily: inside half the tolerance steps differ by a quarter at most."""
    scale = scale_for(2.0)
    steps = np.diff([scale.fraction(a) for a in np.linspace(0.0, 1.0, 11)])
    assert steps.max() / steps.min() < 1.25


def test_rings_are_labelled_once_and_keep_apart() -> None:
    for tolerance in (0.1, 0.5, 2.0, 10.0, 60.0):
        rings = scale_for(tolerance).rings()
        fractions = [f for f, _ in rings]
        assert fractions == sorted(fractions)
        assert np.diff([FLOOR_FRACTION, *fractions]).min() >= 0.0899
        assert len({label for _, label in rings}) == len(rings) >= 2
        assert fractions[-1] == pytest.approx(1.0)


@pytest.mark.parametrize(("arcsec", "text"), [(5, "5″"), (60, "1′"), (1800, "30′"), (3600, "1°"), (36000, "10°")])
def test_ring_labels(arcsec: int, text: str) -> None:
    assert ring_label(arcsec) == text


def test_ellipse_is_the_covariance() -> None:
    """At the centre of a wide floor the scale is linear: the outline's extent is k sigma along each axis."""
    scale = scale_for(60.0)
    outline = np.array(ellipse_outline(scale, 0.0, 0.0, ((0.04, 0.0), (0.0, 0.01)), k=2.0, points=720))
    unit = scale.fraction(0.01) / 0.01
    assert np.abs(outline[:, 0]).max() == pytest.approx(0.4 * unit, rel=1e-3)
    assert np.abs(outline[:, 1]).max() == pytest.approx(0.2 * unit, rel=1e-3)


@pytest.fixture
def well(qtbot: QtBot) -> ReticleWidget:
    widget = ReticleWidget()
    qtbot.addWidget(widget)
    widget.resize(600, 600)
    widget.animated = False
    return widget


def at(east: float, up: float, **more: object) -> Reticle:
    return replace(Reticle(2.0, "for tonight's plan: 2.0′", Point(east, up)), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("angle_arcmin", np.geomspace(300.0, 5.0 / 60.0, 24))
def test_marker_is_inside_from_five_degrees_to_five_arcseconds(well: ReticleWidget, angle_arcmin: float) -> None:
    for turn in range(0, 360, 45):
        well.show_reticle(at(angle_arcmin * cos(radians(turn)), angle_arcmin * sin(radians(turn))))
        place = well.marker_px
        assert hypot(place.x() - 300, place.y() - 300) < 300 - 26
        assert well.rect().contains(place.toPoint())


def test_east_is_right_in_the_north_and_left_in_the_south(well: ReticleWidget) -> None:
    well.show_reticle(at(30.0, 0.0))
    assert well.marker_px.x() > 310
    well.show_reticle(at(30.0, 0.0, southern=True))
    assert well.marker_px.x() < 290


def test_up_is_up(well: ReticleWidget) -> None:
    well.show_reticle(at(0.0, 30.0))
    assert well.marker_px.y() < 290


def filled(well: ReticleWidget) -> bool:
    """Whether the middle of the marker is solid."""
    picture = rgb(well.grab())
    place: QPointF = well.marker_px
    x, y = round(place.x()), round(place.y())
    return bool(picture[y - 2 : y + 3, x - 2 : x + 3].mean() < 60)


def test_a_stale_or_unsure_marker_loses_its_fill(well: ReticleWidget) -> None:
    well.show_reticle(at(60.0, 60.0))
    assert filled(well)
    well.show_reticle(at(60.0, 60.0, stale_text="24 s old"))
    assert not filled(well)
    well.show_reticle(at(60.0, 60.0, unsure=True))
    assert not filled(well)


def test_the_advised_path_is_not_drawn_from_a_stale_place(well: ReticleWidget) -> None:
    path = (Point(60.0, 60.0), Point(0.0, 60.0))
    fresh = at(60.0, 60.0, path=path)
    well.show_reticle(fresh)
    with_path = rgb(well.grab())
    well.show_reticle(replace(fresh, stale_text="24 s old"))
    stale = rgb(well.grab())

    def accent(picture: np.ndarray) -> int:
        return int(((picture[..., 0] > 150) & (picture[..., 1] < 90) & (picture[..., 2] < 60)).sum())

    assert accent(with_path) > 50
    assert accent(stale) == 0


def test_the_trail_is_drawn_with_a_tick_at_a_move(well: ReticleWidget) -> None:
    plain = at(0.0, 0.0)
    well.show_reticle(plain)
    without = rgb(well.grab())
    trail = (TrailPoint(60.0, 60.0), TrailPoint(30.0, 60.0, True), TrailPoint(3.0, 30.0), TrailPoint(0.0, 0.0))
    well.show_reticle(replace(plain, trail=trail))
    assert (rgb(well.grab()) != without).any(axis=-1).sum() > 100


def test_motion_is_soft_and_ends_where_it_should(well: ReticleWidget) -> None:
    well.animated = True
    well.show_reticle(at(60.0, 0.0))
    well.settle()
    start = well.marker_px.x()
    well.show_reticle(at(10.0, 0.0, reading_id=1))
    seen = [start]
    while well.advance(0.016):
        seen.append(well.marker_px.x())
    steps = -np.diff(seen)
    assert (steps >= -1e-9).all(), "never goes back"
    assert steps.max() < 0.25 * (seen[0] - seen[-1]), "never jumps"
    well.settle()
    assert well.marker_px.x() == pytest.approx(well._canvas().place(Point(10.0, 0.0)).x())


def test_a_glide_lasts_as_long_as_the_guideline_says() -> None:
    assert 0.150 <= GLIDE_S <= 0.250
    glide = Glide((0.0, 0.0), (0.0, 0.0)).toward((1.0, 2.0))
    assert glide.moving and glide.at == (0.0, 0.0)
    assert glide.later(GLIDE_S).at == (1.0, 2.0)
    assert not glide.later(GLIDE_S).moving


def test_a_fresh_reading_sends_one_ring(well: ReticleWidget) -> None:
    well.animated = True
    well.show_reticle(at(60.0, 0.0, reading_id=1))
    well.settle()
    quiet = rgb(well.grab())
    well.show_reticle(at(60.0, 0.0, reading_id=2))
    well.advance(0.2)
    assert (rgb(well.grab()) != quiet).any()
    well.settle()
    assert (rgb(well.grab()) == quiet).all()


@pytest.mark.parametrize("southern", [False, True])
def test_the_marker_never_stands_on_a_label(qtbot: QtBot, southern: bool) -> None:
    """On every ring, all around, all labels keep clear of the marker's middle by a dozen pixels."""
    well = ReticleWidget()
    qtbot.addWidget(well)
    well.resize(600, 600)
    well.animated = False
    scale = scale_for(0.5)
    tolerance = "usual tolerance: 30″"
    names = {label for _, label in scale.rings()} | {tolerance}
    for fraction, _ in scale.rings():
        angle = scale.angle_arcmin(min(fraction, 0.999))
        for degrees in range(0, 360, 15):
            place = Point(angle * cos(radians(degrees)), angle * sin(radians(degrees)))
            well.show_reticle(Reticle(0.5, tolerance, axis=place, southern=southern))
            well.settle()
            LEDGER.drawn = []
            try:
                well.look_changed()  # the ground is drawn anew each time
                well.grab()
                labels = [drawn for drawn in LEDGER.drawn if drawn.text in names]
            finally:
                LEDGER.drawn = None
            ratio = well.devicePixelRatioF()
            marker = well.marker_px * ratio
            assert tolerance in {label.text for label in labels}
            for label in labels:
                assert not label.room.adjusted(-12, -6, 12, 6).contains(marker), (fraction, degrees, label.text)
