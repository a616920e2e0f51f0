"""What is drawn points where the simulated mount's truth says: measured from pixels, or from the words' own places.

The table and the truths are those of tests/direction_nights.py. Angles are counted like a clock hand's, in degrees.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from functools import cache

import numpy as np
import pytest
from PySide6.QtCore import QBuffer, QIODevice, QRectF, QSize
from PySide6.QtGui import QImage, QPainter
from PySide6.QtSvg import QSvgGenerator
from pytestqt.qtbot import QtBot

from direction_nights import CASES, Case, DirectionNight, azimuth_left, learned
from polewright.core.night.advice import RotateAxis
from polewright.core.screws.angles import Screw
from polewright.services.magnetic import MagneticDeclination
from polewright.ui.capture_dial import CaptureDial
from polewright.ui.panel import Panel
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.stand import stand_page
from polewright.ui.reticle import ReticleWidget
from polewright.ui.reticle_paint import draw_ground
from polewright.ui.stand_dials import StandDials
from polewright.ui.strips import StripWidget
from polewright.ui.theme import DAY
from polewright.ui.view_model import Point, Reticle, ScrewStrip, Sense
from screens.conftest import rgb

TABLE = pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
Rgb = tuple[int, int, int]


def pixels(picture: np.ndarray, colour: Rgb, near: int = 40) -> np.ndarray:
    """(N, 2) places x, y of pixels of about that colour."""
    rows, columns = np.nonzero(np.abs(picture.astype(int) - np.array(colour)).max(axis=-1) <= near)
    return np.stack([columns, rows], axis=1).astype(float)


def clock_deg(places: np.ndarray, centre: tuple[float, float]) -> np.ndarray:
    """Angles like a clock hand's, 0 at the top, clockwise, -180 to 180."""
    return np.degrees(np.arctan2(places[:, 0] - centre[0], centre[1] - places[:, 1]))


def within(places: np.ndarray, centre: tuple[float, float], low: float, high: float) -> np.ndarray:
    """The ones between two distances from the centre."""
    far = np.hypot(places[:, 0] - centre[0], places[:, 1] - centre[1])
    return places[(far >= low) & (far <= high)]


def middle_deg(angles: np.ndarray) -> float:
    """Mean of directions."""
    a = np.radians(angles)
    return math.degrees(math.atan2(np.sin(a).sum(), np.cos(a).sum()))


def shown(widget: Panel, qtbot: QtBot, width: int, height: int) -> np.ndarray:
    qtbot.addWidget(widget)
    widget.resize(width, height)
    return rgb(widget.grab())


# the strips


@pytest.mark.parametrize("turns", [1 / 12, 1 / 4, 1 / 3, 5 / 8])
@pytest.mark.parametrize("sense", list(Sense))
def test_the_arrow_on_the_screw_head_goes_round_as_the_hand_does(qtbot: QtBot, sense: Sense, turns: float) -> None:
    """From the top, clockwise to the right; its tip and the wedge beneath end where the turn ends."""
    strip = StripWidget(Screw.AZIMUTH)
    qtbot.addWidget(strip)
    strip.show_strip(ScrewStrip(Screw.AZIMUTH, True, turns, turns, sense, "some", sense.value), False)
    image = QImage(400, 400, QImage.Format.Format_RGB32)
    image.fill(strip.look.colour("ground"))
    painter = QPainter(image)
    strip._draw_dial(painter, QRectF(0.0, 0.0, 400.0, 400.0))
    painter.end()
    way = 1.0 if sense is Sense.CLOCKWISE else -1.0
    arrow = clock_deg(within(pixels(rgb(image), DAY.accent), (200.0, 200.0), 150.0, 170.0), (200.0, 200.0))
    wedge = clock_deg(within(pixels(rgb(image), DAY.floor, 6), (200.0, 200.0), 60.0, 120.0), (200.0, 200.0))
    swept_deg = 360.0 * turns
    along = np.sort(np.mod(way * arrow + 5.0, 360.0) - 5.0)
    assert along[-1] == pytest.approx(max(swept_deg, 30.0), abs=8.0)
    assert np.mod(way * wedge, 360.0).max() == pytest.approx(swept_deg, abs=4.0)
    assert np.mod(way * wedge, 360.0).mean() == pytest.approx(swept_deg / 2.0, abs=4.0)


@TABLE
def test_the_bars_stand_on_the_side_of_the_marker(case: Case, qtbot: QtBot) -> None:
    """Azimuth: beneath the marker, left or right of the middle; altitude: beside it, above or below."""
    for night, screw in ((learned(case), Screw.ALTITUDE), (azimuth_left(case), Screw.AZIMUTH)):
        view = night.view
        strip = StripWidget(screw)
        strip.show_strip(next(s for s in view.strips if s.screw is screw), view.reticle.southern)
        flat = screw is Screw.AZIMUTH
        picture = shown(strip, qtbot, *((600, 140) if flat else (140, 600)))
        well = ReticleWidget()
        well.animated = False
        well.show_reticle(view.reticle)
        qtbot.addWidget(well)
        well.resize(600, 600)
        bar = pixels(picture[:24, :] if flat else picture[:, :24], DAY.accent)
        assert len(bar) > 50
        beside = bar[:, 0].mean() - 300.0 if flat else bar[:, 1].mean() - 300.0
        marker = (well.marker_px.x() if flat else well.marker_px.y()) - 300.0
        assert beside * marker > 0.0


# the well


def words_of(draw: object, size: int) -> dict[str, tuple[float, float]]:
    """Where each word of a drawing stands: its left end on the base line, in pixels."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    paper = QSvgGenerator()
    paper.setOutputDevice(buffer)
    paper.setSize(QSize(size, size))
    paper.setViewBox(QRectF(0.0, 0.0, size, size))
    painter = QPainter(paper)
    draw(painter)
    painter.end()
    found: dict[str, tuple[float, float]] = {}
    _words(ET.fromstring(bytes(buffer.data().data())), (1.0, 0.0, 0.0, 1.0, 0.0, 0.0), found)
    return found


def _words(part: ET.Element, outer: tuple[float, ...], found: dict[str, tuple[float, float]]) -> None:
    a, b, c, d, e, f = outer
    if (move := re.match(r"matrix\(([^)]*)\)", part.get("transform", ""))) is not None:
        p, q, r, s, t, u = map(float, move[1].split(","))
        a, b, c, d, e, f = (
            a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, a * t + c * u + e, b * t + d * u + f
        )  # fmt: skip
    if part.tag.endswith("text"):
        x, y = float(part.get("x", "0")), float(part.get("y", "0"))
        found["".join(part.itertext()).strip()] = (a * x + c * y + e, b * x + d * y + f)
    for inner in part:
        _words(inner, (a, b, c, d, e, f), found)


@cache
def directions(southern: bool) -> dict[str, tuple[float, float]]:
    """The words around the well."""
    well = ReticleWidget()
    well.resize(600, 600)
    well.show_reticle(Reticle(2.0, "", southern=southern))
    return words_of(lambda painter: draw_ground(painter, well._canvas(), ""), 600)


def marker_of(night: DirectionNight, qtbot: QtBot) -> tuple[float, float]:
    """Where the marker is seen in the well, from the middle, x to the right and y down."""
    well = ReticleWidget()
    well.animated = False
    empty = shown(well, qtbot, 600, 600)
    reticle = night.view.reticle
    well.show_reticle(Reticle(reticle.tolerance_arcmin, "", southern=reticle.southern))
    empty = rgb(well.grab())
    well.show_reticle(Reticle(reticle.tolerance_arcmin, "", reticle.axis, southern=reticle.southern))
    drawn = rgb(well.grab())
    drawn[(drawn == empty).all(axis=-1)] = 255
    x, y = pixels(drawn, DAY.strong, 20).mean(axis=0) - 300.0
    return float(x), float(y)


@TABLE
def test_the_marker_is_seen_where_the_words_around_the_well_say(case: Case, qtbot: QtBot) -> None:
    night, words = learned(case), directions(case.southern)
    x, y = marker_of(night, qtbot)
    assert abs(x) > 100.0 and abs(y) > 100.0
    nearest = min(("east", "west"), key=lambda word: abs(words[word][0] - 300.0 - x))
    assert nearest == night.side
    assert min(("high", "low"), key=lambda word: abs(words[word][1] - 300.0 - y)) == night.height


def test_east_is_to_the_right_of_one_who_looks_north_and_to_the_left_of_one_who_looks_south() -> None:
    """Common practice, no source."""
    for southern in (False, True):
        words = directions(southern)
        assert (words["east"][0] > 300.0 > words["west"][0]) is not southern
        assert (words["east"][0] < 300.0 < words["west"][0]) is southern
        assert words["high"][1] < 300.0 < words["low"][1]


@TABLE
def test_the_dots_lead_from_the_marker_home(case: Case, qtbot: QtBot) -> None:
    for night, across in ((learned(case), 1), (azimuth_left(case), 0)):
        marker = np.array(marker_of(night, qtbot))
        well = ReticleWidget()
        well.animated = False
        well.show_reticle(night.view.reticle)
        dots = pixels(shown(well, qtbot, 600, 600), DAY.accent) - 300.0
        ahead = within(dots, tuple(marker), 0.0, 70.0) - marker
        assert len(ahead) > 20
        assert (ahead[:, across] * marker[across] < 0.0).mean() > 0.9


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize("tilt", [1.0, -1.0])
def test_the_ellipse_leans_as_the_covariance_does(southern: bool, tilt: float, qtbot: QtBot) -> None:
    """East and up uncertain together: it leans toward the high east, which is left in the south."""
    well = ReticleWidget()
    well.animated = False
    empty = shown(well, qtbot, 600, 600)
    well.show_reticle(Reticle(2.0, "", southern=southern))
    empty = rgb(well.grab())
    well.show_reticle(Reticle(2.0, "", Point(0.0, 0.0), ((4.0, 3.6 * tilt), (3.6 * tilt, 4.0)), southern=southern))
    drawn = rgb(well.grab())
    drawn[(drawn == empty).all(axis=-1)] = 255
    outline = within(pixels(drawn, DAY.strong, 60), (300.0, 300.0), 40.0, 300.0) - 300.0
    assert len(outline) > 100
    leans = float(np.corrcoef(outline[:, 0], -outline[:, 1])[0, 1])
    assert abs(leans) > 0.5 and (leans > 0.0) is ((tilt > 0.0) is not southern)


# the turn of the RA axis


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize("begin_h", [-3.0, 4.0])
def test_the_arc_of_the_turn_is_drawn_as_the_camera_will_go(southern: bool, begin_h: float, qtbot: QtBot) -> None:
    """From the mark of the first frame to the post: as far, and the way round, as seen from behind the mount."""
    night = DirectionNight(Case(southern, "east", "high", "clockwise"), begin_h)
    night.look()
    asked, capture = night.advice.action, night.view.capture
    assert isinstance(asked, RotateAxis) and capture is not None
    widget = CaptureDial()
    widget.show_capture(capture)
    picture = shown(widget, qtbot, 600, 600)
    centre, track = (300.0, 300.0), 300.0 - widget.look.px(34) - widget.look.px(34)
    inside, outside = track - widget.look.px(24), track + widget.look.px(24)
    mark = clock_deg(within(pixels(picture, DAY.strong, 20), centre, track - 8.0, track + 8.0), centre)
    post = clock_deg(within(pixels(picture, DAY.accent), centre, outside - 6.0, outside + 6.0), centre)
    drawn_deg = math.remainder(middle_deg(post) - middle_deg(mark), 360.0)
    gone_deg = night.turn_behind_the_mount_deg(asked.west_deg)
    assert drawn_deg * gone_deg > 0.0
    assert abs(drawn_deg) == pytest.approx(capture.wanted_deg, abs=3.0)
    dots = clock_deg(within(pixels(picture, DAY.accent), centre, inside, outside), centre)
    between = np.array([math.remainder(d - middle_deg(mark), 360.0) for d in dots]) * math.copysign(1.0, gone_deg)
    assert np.quantile(between, 0.02) > -2.0 and np.median(between) > 10.0


# the first page


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize("declination_deg", [20.0, -20.0])
def test_the_compass_and_the_tilt_are_drawn_to_their_angles(
    southern: bool, declination_deg: float, qtbot: QtBot
) -> None:
    """The needle's heading; true north beside the N where a compass is off; the axis over the horizon."""
    night = DirectionNight(Case(southern, "east", "high", "clockwise"))
    magnetic = MagneticDeclination(declination_deg, 0.5, 18000.0)
    widget = StandDials()
    widget.show_orientation(stand_page(night.state, Extras(0.0, magnetic=magnetic)))
    picture = shown(widget, qtbot, 800, 800)
    px = widget.look.px
    radius = min(200.0 - px(30), 200.0)
    centre = (radius + px(38), 200.0)
    needle = within(pixels(picture[:400], DAY.accent), centre, radius - px(22), radius)
    heading = (180.0 if southern else 0.0) - declination_deg
    assert abs(math.remainder(middle_deg(clock_deg(needle, centre)) - heading, 360.0)) < 3.0
    north = within(pixels(picture[:400], DAY.ink, 30), centre, radius - px(3), radius + px(3))
    assert abs(math.remainder(middle_deg(clock_deg(north, centre)) + declination_deg, 360.0)) < 3.0
    tilt_radius = min(400.0 - px(64), 800.0 * 0.46)
    corner = (px(30), 600.0 + tilt_radius / 2.0)
    tip = within(pixels(picture, DAY.accent), corner, tilt_radius - px(40), tilt_radius)
    inclination = 90.0 - middle_deg(clock_deg(tip[tip[:, 1] > 400.0], corner))
    assert inclination == pytest.approx(50.0, abs=2.0)
