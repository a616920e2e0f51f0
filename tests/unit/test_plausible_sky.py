"""Site and clock against the horizon, the Sun, the files' times and the screws."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import erfa
import numpy as np
import pytest

from axis_sky import ARCSEC, Rig
from iso_time import utc_from_iso
from night_kit import START, engine_of
from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.plausible import impossible_sky
from polewright.core.axis_reasons import LongApart, LowPole
from polewright.core.errors import UsageError
from polewright.core.model import (
    Attitude,
    AxisEstimate,
    Frame,
    Site,
    SkyFrame,
    Sourced,
    StarList,
    TargetPole,
    Utc,
)
from polewright.core.night.events import FrameUnsolved
from polewright.core.night.orientation.clock import (
    DAY_S,
    YEAR_S,
    FrameArrival,
    check_clock,
    check_file_times,
    doubted_date,
    doubting_clock,
    offset_to_set_s,
    precession_rad,
)
from polewright.core.screws.sky_turn import ScrewPath, screw_path, sky_turn_rad, with_path
from polewright.core.sky.sun import sun_altitude_rad, sun_position_rad
from polewright.core.unsolved import BelowHorizon, Daylight, FrameTrouble, trouble_of
from polewright.runtime.engine import CLOCK_TOPIC
from polewright.runtime.frame_facts import frame_event
from polewright.services.clock import VirtualClock
from polewright.services.measuring import MeasuredFrame
from polewright.words.axis import clock_words, doubt_words, refusal_words
from polewright.words.screws import turned_sky_words

SITE = Site(48.0, 10.0)
RIG = Rig(SITE, 25.0, -12.0)


def frames(turns: tuple[float, ...] = (0.0, 45.0, 90.0)) -> list[SkyFrame]:
    rng = np.random.default_rng(2)
    return [sky_frame(name, utc, SITE, RIG.air, found) for name, utc, found in RIG.capture(turns, rng)]


class TestSun:
    def test_place_of_the_sun_in_the_book(self) -> None:
        """Meeus, Astronomical Algorithms, example 25.a: 1992 Oct 13, 0h TD: RA 198.38083, Dec -7.78507 degrees."""
        ra, dec = sun_position_rad(utc_from_iso("1992-10-12T23:59:01"))
        assert math.degrees(ra) == pytest.approx(198.38083, abs=0.02)
        assert math.degrees(dec) == pytest.approx(-7.78507, abs=0.02)

    @pytest.mark.parametrize("when", ["2026-03-20T12:00:00", "2027-07-01T03:10:00", "2031-12-24T18:00:00"])
    def test_altitude_against_erfa(self, when: str) -> None:
        """ERFA: Earth from epv00, the Sun's astrometric direction through apco13, atciqz and atioq without air."""
        utc = utc_from_iso(when)
        earth, _, _ = erfa.ufunc.epv00(utc.jd1, utc.jd2)
        toward = -np.array(earth["p"])
        ra, dec = np.arctan2(toward[1], toward[0]), np.arcsin(toward[2] / np.linalg.norm(toward))
        lat, lon = np.radians([SITE.lat_deg, SITE.lon_deg])
        context, _, _ = erfa.ufunc.apco13(utc.jd1, utc.jd2, 0.0, lon, lat, 0.0, 0.0, 0.0, 0.0, 10.0, 0.5, 0.55)
        _, zenith, *_ = erfa.ufunc.atioq(*erfa.ufunc.atciqz(ra, dec, context), context)
        assert math.degrees(sun_altitude_rad(utc, SITE)) == pytest.approx(90.0 - math.degrees(zenith), abs=0.05)


class TestImpossibleSky:
    def test_a_field_at_night_is_possible(self) -> None:
        assert impossible_sky(frames()[0], SITE) is None

    def test_stars_by_day_are_not(self) -> None:
        noon = replace(frames()[0], utc_mid=utc_from_iso("2026-11-26T11:00:00"))
        found = impossible_sky(noon, SITE)
        assert isinstance(found, Daylight) and round(found.sun_deg) == 21

    def test_a_field_below_the_horizon_is_not(self) -> None:
        frame = frames()[0]
        down = Attitude(np.diag([1.0, -1.0, -1.0]) @ frame.attitude_enu.camera_to_sky, np.eye(3) * 1e-12)
        found = impossible_sky(replace(frame, attitude_enu=down), SITE)
        assert isinstance(found, BelowHorizon) and found.depth_deg > 1.0

    def test_the_night_is_told_at_the_first_frame(self) -> None:
        name, utc, solution = RIG.capture((0.0,), np.random.default_rng(2))[0]
        measured = MeasuredFrame(_frame(utc), _no_stars(), solution)
        event = frame_event(0.0, name, measured, Site(48.0, -140.0), RIG.air)
        assert isinstance(event, FrameUnsolved) and trouble_of(event.why) is FrameTrouble.WRONG_SKY


def test_frames_of_two_nights_are_no_capture() -> None:
    one, two, three = frames()
    found = estimate_axis(
        [one, two, replace(three, utc_mid=three.utc_mid.plus_seconds(-86400.0))], SITE, RIG.air, TargetPole.TRUE
    )
    assert isinstance(found, LongApart) and "24 hours apart" in refusal_words(found).reason


@pytest.mark.parametrize("site", [Site(91.0, 8.0), Site(47.0, math.nan), Site(47.0, 8.0, 1e6)])
def test_no_axis_is_told_for_a_place_that_is_nowhere(site: Site) -> None:
    with pytest.raises(UsageError, match="must lie between"):
        estimate_axis(frames(), site, RIG.air, TargetPole.TRUE)


class TestFileTimes:
    def arrivals(self, ahead_s: float, step_s: float = 40.0) -> list[FrameArrival]:
        return [FrameArrival(1e9 + k * step_s + ahead_s, 2.0, 1e9 + k * step_s + 2.0) for k in range(3)]

    def test_agreement(self) -> None:
        check = check_file_times(self.arrivals(0.0))
        assert check is not None and check.agrees

    def test_an_hour_ahead(self) -> None:
        check = check_file_times(self.arrivals(3600.0))
        assert (
            check is not None
            and not check.agrees
            and check.doubt is not None
            and "1 h ahead" in clock_words(check.doubt)
        )

    def test_copied_files_tell_nothing(self) -> None:
        copied = [replace(arrival, landed_utc_s=2e9) for arrival in self.arrivals(3600.0)]
        assert check_file_times(copied) is None
        assert check_file_times(self.arrivals(3600.0)[:1]) is None
        assert check_file_times(self.arrivals(3600.0, step_s=5.0)) is None

    def test_the_uncertainty_covers_the_axis_by_the_other_clock(self) -> None:
        """The same frames with right times: their axis must lie within two sigma of the doubted one."""
        rng, shifted = np.random.default_rng(2), []
        for name, utc, solution in RIG.capture((0.0, 45.0, 90.0), rng):
            shifted.append(sky_frame(name, utc.plus_seconds(3600.0), SITE, RIG.air, solution))
        found = estimate_axis(shifted, SITE, RIG.air, TargetPole.REFRACTED)
        assert isinstance(found, AxisEstimate)
        doubted = doubting_clock(found, self.arrivals(3600.0))
        error = np.array([found.east_rad, found.up_rad]) - np.array([RIG.east_arcmin, RIG.up_arcmin]) * 60.0 * ARCSEC
        assert np.linalg.norm(error) > 6.0 * 60.0 * ARCSEC
        assert error @ np.linalg.solve(doubted.covariance_rad2, error) < 25.0
        assert "widened" in doubt_words(doubted.warnings[-1])
        assert doubting_clock(found, self.arrivals(0.0)) is found

    def test_a_frame_lands_at_the_end_of_its_exposure(self) -> None:
        """Twenty minutes ahead is twenty minutes, however long the exposures are."""
        found = estimate_axis(frames(), SITE, RIG.air, TargetPole.REFRACTED)
        assert isinstance(found, AxisEstimate)
        widened = []
        for exposure_s in (2.0, 600.0):
            ends = [1e9 + k * 700.0 for k in range(3)]
            arrivals = [FrameArrival(end - 0.5 * exposure_s + 1200.0, exposure_s, end) for end in ends]
            widened.append(doubting_clock(found, arrivals).covariance_rad2)
        assert np.allclose(widened[0], widened[1], rtol=1e-9)

    def test_a_date_that_is_years_off_may_have_moved_the_pole_any_way(self) -> None:
        """Ten years, in which the pole goes 3.3' among the stars (Meeus, as in `PRECESSION_RAD_YEAR`)."""
        found = estimate_axis(frames(), SITE, RIG.air, TargetPole.REFRACTED)
        assert isinstance(found, AxisEstimate)
        least, _ = np.linalg.eigvalsh(doubting_clock(found, self.arrivals(10.0 * YEAR_S)).covariance_rad2)
        assert math.sqrt(least) > 200.0 * ARCSEC

    @pytest.mark.parametrize("hours", [1.0, -8.0, 5.75, -3.5, 12.75])
    def test_a_wrong_time_zone_is_taken_off_whole(self, hours: float) -> None:
        """Zones lie whole quarter hours from UTC (Nepal 5 h 45 min, the Chatham Islands 12 h 45 min: IANA tzdata)."""
        for latency_s in (0.0, 3.0, 8.0):
            assert offset_to_set_s(3600.0 * hours - latency_s) == 3600.0 * hours
        for minutes in (2.0, 7.5, 22.5, 40.0):
            assert offset_to_set_s(60.0 * minutes - 4.0) == 60.0 * minutes, "no zone: what it is, to the second"


class TestDates:
    TAKEN = utc_from_iso("2026-11-12T20:00:00")

    def test_a_date_that_fits_the_file_is_not_doubted_however_old(self) -> None:
        old = utc_from_iso("1991-03-01T20:00:00")
        assert doubted_date(old, old.plus_seconds(3600.0)) is None and doubted_date(old, None) is None

    def test_another_day_than_the_file_is(self) -> None:
        found = doubted_date(self.TAKEN.plus_seconds(-10.0 * YEAR_S), self.TAKEN)
        assert found is not None and found.ahead_s == pytest.approx(-10.0 * YEAR_S)
        assert doubted_date(self.TAKEN.plus_seconds(1.1 * DAY_S), self.TAKEN) is not None

    def test_a_date_before_such_cameras_is(self) -> None:
        found = doubted_date(utc_from_iso("1980-01-01T00:00:00"), None)
        assert found is not None and found.too_old

    def test_what_a_year_makes_is_the_way_of_the_pole(self) -> None:
        """ERFA's IAU 2006 precession: the pole of date, ten years on."""
        first, last = (erfa.bp06(erfa.DJ00, years * 365.25)[2][2] for years in (26.0, 36.0))
        assert precession_rad(10.0 * YEAR_S) == pytest.approx(float(np.linalg.norm(first - last)), rel=0.002)

    def test_the_words_name_days_and_the_pole(self) -> None:
        check = check_clock([FrameArrival(1e9 - 3650.0 * DAY_S, 2.0, 1e9)])
        assert check is not None and check.doubt is not None
        assert "3650 days behind" in clock_words(check.doubt) and "good alignment misses it" in clock_words(
            check.doubt
        )


def _frame(utc: Utc) -> Frame:
    return Frame("a.fits", np.zeros((48, 64), dtype=np.uint16), Sourced(utc, "header"), Sourced(2.0, "header"))


def _no_stars() -> StarList:
    none = np.zeros(0)
    return StarList(64, 48, none, none, none, none, none, none, np.zeros(0, dtype=np.int64))


class TestLiveClock:
    def notices(self, ahead_s: float) -> list[str]:
        clock = VirtualClock(START)
        solution = RIG.capture((0.0,), np.random.default_rng(1))[0][2]

        def measure(path: Path) -> MeasuredFrame:
            return MeasuredFrame(_frame(clock.utc().plus_seconds(ahead_s - 2.0)), _no_stars(), solution)

        engine = engine_of(measure, clock=clock)
        for k in range(6):
            clock.advance(3.0)
            engine.frame_arrived(Path(f"{k}.fits"))
        return [notice.cause for notice in engine.notices if notice.topic == CLOCK_TOPIC]

    def test_clocks_that_agree_are_not_mentioned(self) -> None:
        assert self.notices(0.0) == []

    @pytest.mark.parametrize(("ahead_s", "words"), [(3600.0, "1 h ahead of"), (-3600.0, "behind")])
    def test_an_hour_of_summer_time_is_a_notice(self, ahead_s: float, words: str) -> None:
        (cause,) = self.notices(ahead_s)
        assert words in cause

    @pytest.mark.parametrize("years", [-10.0, 1.0])
    def test_a_wrong_date_is_one(self, years: float) -> None:
        (cause,) = self.notices(years * YEAR_S)
        assert "days" in cause and "set the date" in cause

    def test_a_slow_share_is_not(self) -> None:
        assert self.notices(-40.0) == []


class TestScrewPaths:
    def test_a_wrong_longitude_turns_both_screws_alike(self) -> None:
        turn = math.radians(-19.6)
        east, up = 0.01 * math.cos(turn), 0.01 * math.sin(turn)
        one, other = screw_path(True, east, up, 1e-5), screw_path(False, up, -east, 1e-5)
        assert one is not None and other is not None
        found = sky_turn_rad([one, other])
        assert found is not None and math.degrees(found) == pytest.approx(-19.6, abs=1e-6)
        assert "20 degrees" in turned_sky_words(found)[0] and "78 min" in turned_sky_words(found)[0]

    def test_a_leaning_base_is_no_wrong_clock(self) -> None:
        lean = math.radians(5.0)
        assert sky_turn_rad([ScrewPath(True, lean), ScrewPath(False, lean)]) is None

    def test_one_screw_alone_or_two_that_differ_say_nothing(self) -> None:
        assert sky_turn_rad([ScrewPath(True, 0.4)]) is None
        assert sky_turn_rad([ScrewPath(True, 0.4), ScrewPath(False, 0.1)]) is None

    def test_a_nudge_has_no_direction(self) -> None:
        assert screw_path(True, 0.0002, 0.0, 1e-6) is None
        assert screw_path(True, 0.01, 0.0, 0.001) is None

    def test_the_latest_of_each_screw_are_kept(self) -> None:
        paths: tuple[ScrewPath, ...] = (ScrewPath(False, 0.3),)
        for k in range(20):
            paths = with_path(paths, ScrewPath(True, float(k)))
        assert len(paths) == 7 and paths[0] == ScrewPath(False, 0.3) and paths[-1].turned_rad == 19.0


@pytest.mark.parametrize(("lat", "target", "widened"), [(2.0, 1.0, True), (2.0, 0.0, False), (-20.0, 1.0, False)])
def test_the_refracted_pole_on_the_horizon_is_not_known_to_arcseconds(
    lat: float, target: float, widened: bool
) -> None:
    """Layers of warm and cold air may add a fifth of what the air has beyond tan z: 79" at 2 degrees."""
    rig = Rig(Site(lat, 10.0), 25.0, -12.0, rho_deg=40.0, hour_deg=-45.0)
    rng = np.random.default_rng(2)
    placed = [sky_frame(n, u, rig.site, rig.air, s) for n, u, s in rig.capture((0.0, 45.0, 90.0), rng)]
    found = estimate_axis(placed, rig.site, rig.air, TargetPole(target))
    assert isinstance(found, AxisEstimate)
    sigma_up = float(np.sqrt(found.covariance_rad2[1, 1]))
    assert (sigma_up > 60.0 * ARCSEC) is widened
    assert any(isinstance(warning, LowPole) for warning in found.warnings) is widened
