"""The report of a night: from an invented log to page, table and picture; and the page in a real browser."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from frame_reasons import reason_of
from iso_time import utc_from_iso
from polewright.commands.line import run
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.errors import RecordingError
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import Attitude, Camera, Site, SkyFrame, SkyPosition, TargetPole, Utc
from polewright.core.night.effects import Effect
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    FrameSolved,
    FrameUnsolved,
    NextAsked,
    NightStarted,
    ScrewTurned,
)
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, PlacedFrame
from polewright.core.night.states import NightState, Running
from polewright.core.night.table import step
from polewright.core.plain import to_plain
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewMove
from polewright.core.unsolved import FrameTrouble, Unreadable
from polewright.core.vigil.watch import Part, Shift
from polewright.services.clock import VirtualClock
from polewright.services.night_folders import new_night_folder
from polewright.services.night_log import NightLog, read_night
from polewright.services.recorder import NightRecorder
from polewright.services.report import facts as facts_of_nights
from polewright.services.report.facts import DRIFT_KIND, VIGIL_KIND, gather
from polewright.services.report.history import history_of, same_rig, starting_hint
from polewright.services.report.page import _made, report_html, verdict
from polewright.services.report.pictures import ellipse_arcmin, well
from polewright.services.report.svg import Frame, Picture, nice_ticks
from polewright.services.report.tables import measurements_csv
from polewright.ui.well_scale import scale_for
from recorded_nights import read_log

START = Utc(2461100.5, 0.8)
SITE = Site(46.2, 9.1, 300.0)
CAMERA = Camera(1280, 960, 48000.0)
ARCSEC = 1.0 / ARCSEC_PER_RAD


def tight(arcsec: float):  # type: ignore[no-untyped-def]
    v = (arcsec * ARCSEC) ** 2
    return ((v, 0.2 * v), (0.2 * v, v))


def placed(name: str, at_s: float, turn: float = 0.0) -> PlacedFrame:
    c, s = math.cos(turn), math.sin(turn)
    attitude = Attitude(np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]), np.eye(3) * 1e-12)
    frame = SkyFrame(name, START.plus_seconds(at_s), attitude, CAMERA, 41, 0.5, SkyPosition(123.4, 45.6))
    return PlacedFrame.of(frame)


def a_night(start_arcmin: tuple[float, float] = (40.0, -25.0)) -> list[AnyEvent]:
    """An evening of our own invention: three frames of capture, one go at a screw, clouds, accepted."""
    east, up = (a / ARCMIN_PER_RAD for a in start_arcmin)
    names = ("a-1", "a-2", "a-3")
    events: list[AnyEvent] = [
        NightStarted(0.0, SITE, TargetPole.REFRACTED, math.radians(46.2), 60.0 * ARCSEC),
        NextAsked(20.0),
        *(FrameSolved(30.0 + 10.0 * i, placed(n, 30.0 + 10.0 * i, 0.6 * i)) for i, n in enumerate(names)),
        AxisMeasured(51.0, MeasuredAxis(east, up, tight(4.0), 2.0, 2, east, up, (0.0, 0.6, 1.2), names)),
        NextAsked(60.0),
    ]
    for i, share in enumerate((1.0, 1.0, 1.0, 0.4, 0.02, 0.02, 0.02, 0.02)):
        t = 70.0 + 8.0 * i
        if i == 3:
            events.append(ScrewTurned(t - 2.0, Screw.AZIMUTH, 0.75))
        events.append(FrameSolved(t, placed(f"f-{i}", t, 1.2)))
        events.append(AxisFollowed(t + 0.1, f"f-{i}", FollowedAxis(east * share, up * share, tight(5.0), "on")))
    clouds = Unreadable("4 stars found <b>and</b> 5 needed.")
    events += [FrameUnsolved(140.0 + 5.0 * k, f"c-{k}", clouds) for k in range(3)]
    events += [FrameSolved(160.0, placed("f-9", 160.0, 1.2)), Accepted(165.0), Accepted(170.0)]
    return events


def recorded(folder: Path, events: list[AnyEvent], extra: list[tuple[str, dict[str, object]]] = []) -> NightLog:  # noqa: B006
    clock = VirtualClock(START)
    recorder = NightRecorder(folder, clock)
    for event in events:
        clock.advance(event.at_s - clock.monotonic_s())
        recorder.record("event", to_plain(event))
    for kind, data in extra:
        recorder.record(kind, data)
    recorder.close()
    return read_night(folder)


def page_of(log: NightLog, name: str = "2026-03-01") -> str:
    facts = gather(log, name)
    return report_html(facts, history_of([facts]), scale_for(1.0))


def test_the_report_bears_the_date_of_its_folder() -> None:
    """A night begun after midnight, or where UTC is a day ahead, belongs to the evening before."""
    facts = gather(read_log("shift-in-the-watch"), "shift")
    assert facts.site is not None
    began, west = utc_from_iso("2026-03-02T06:00:00"), replace(facts.site, lon_deg=-117.5)
    page = report_html(replace(facts, started=began, site=west), history_of([facts]), scale_for(1.0))
    assert "<h1>Alignment in the night of 2026-03-01</h1>" in page
    assert new_night_folder(Path("nights"), began, west.lon_deg).name == "2026-03-01"


def test_a_night_that_was_proved_and_then_disturbed_says_both() -> None:
    """A recorded night whose mount was moved during the imaging run."""
    facts = gather(read_log("shift-in-the-watch"), "shift")
    assert facts.proven is not None and facts.moved is not None and facts.proven.utc < facts.moved
    main = verdict(facts)["main"]
    assert main.startswith("Proved at ") and "; moved at " in main and "measured again" in main
    again = replace(facts, measured_since=True, final=facts.proven.offset)
    assert "; measured again at " in verdict(again)["main"] and verdict(again)["main"].endswith("not proved.")
    quiet = replace(facts, moved=None, proved=True, final=facts.proven.offset)
    assert verdict(quiet)["main"].startswith("Aligned to ")


def test_the_bending_expected_is_that_of_the_evening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Proofs leave in the plan what the turns of this night have told: that is told on its own."""

    def taught(state: NightState, event: AnyEvent) -> tuple[NightState, tuple[Effect, ...]]:
        after, effects = step(state, event)
        assert isinstance(after, Running)
        return replace(after, plan=replace(after.plan, flexure=Flexure(5e-5, 1e-6, 3e-5, 1e-6))), effects

    monkeypatch.setattr(facts_of_nights, "step", taught)
    begun, *rest = a_night()
    assert isinstance(begun, NightStarted)
    facts = gather(recorded(tmp_path / "2026-03-01", [replace(begun, flexure=FLEXURE_PRIOR), *rest]), "2026-03-01")
    assert facts.flexure == FLEXURE_PRIOR


def test_the_report_repeats_the_cautions(tmp_path: Path) -> None:
    page = page_of(recorded(tmp_path / "2026-03-01", a_night()))
    for words in ("Hold the telescope", "never force a screw", "head may drop", "local rules"):
        assert words in page


def test_facts_come_out_of_the_log(tmp_path: Path) -> None:
    facts = gather(recorded(tmp_path / "2026-03-01", a_night()), "2026-03-01")
    assert facts.site == SITE and facts.target is TargetPole.REFRACTED
    assert facts.tolerance_rad * ARCSEC_PER_RAD == pytest.approx(60.0)
    assert [r.source for r in facts.readings] == ["capture"] + ["frame"] * 8
    assert facts.frames_solved == 12 and facts.frames_unsolved == 3
    assert [d.screw for d in facts.deeds] == [Screw.AZIMUTH] and facts.deeds[0].turns == 0.75
    assert [(g.frames, g.from_s, g.to_s) for g in facts.gaps] == [(3, 140.0, 160.0)]
    assert facts.accepted and not facts.proved and facts.aligned_s == 170.0
    assert facts.final is not None and facts.final.total_rad * ARCMIN_PER_RAD < 1.5
    assert facts.camera == CAMERA and facts.problems == []
    assert "accepted" in verdict(facts)["main"].lower()
    for by_drift, witness in ((False, "by a second turn"), (True, "by the drift of the stars")):
        assert witness in verdict(replace(facts, proved=True, by_drift=by_drift))["main"]


def test_frames_smeared_by_the_turn_of_the_axis_are_no_gap_but_lasting_trouble_is(tmp_path: Path) -> None:
    """A turn spoils frames for 45 s at most; the lost frames stay in the count."""
    events = a_night()
    at = next(i for i, e in enumerate(events) if isinstance(e, FrameSolved)) + 1
    smeared = [FrameUnsolved(33.0 + 2.0 * k, f"s-{k}", reason_of(FrameTrouble.NO_MATCH)) for k in range(3)]
    facts = gather(recorded(tmp_path / "2026-03-01", [*events[:at], *smeared, *events[at:]]), "2026-03-01")
    assert facts.frames_unsolved == 6
    assert [g.from_s for g in facts.gaps] == [140.0]


def test_the_page_is_whole_and_calls_nothing(tmp_path: Path) -> None:
    page = page_of(recorded(tmp_path / "n", a_night()))
    assert "Accepted at" in page and "refracted pole" in page and "azimuth" in page
    assert "<script" not in page and "http-equiv" in page
    outside = [u for u in re.findall(r"(?:src|href|url)\s*[=(]\s*['\"]?([^'\" >)]+)", page) if not u.startswith("#")]
    assert outside == []
    assert set(re.findall(r"https?://[^\s'\"<]+", page)) <= {"http://www.w3.org/2000/svg"}


def test_what_comes_from_a_file_cannot_become_markup(tmp_path: Path) -> None:
    page = page_of(recorded(tmp_path / "n", a_night()), "<i>x</i>")
    assert "<b>and</b>" not in page and "&lt;b&gt;and&lt;/b&gt;" in page
    assert "<i>x</i>" not in page


def test_drift_and_vigil_have_their_place(tmp_path: Path) -> None:
    drift = {"east_rad": 20 * ARCSEC, "up_rad": -5 * ARCSEC, "covariance_rad2": [[1e-10, 0.0], [0.0, 1e-10]]}
    shift = to_plain(Shift(True, Part.DECLINATION, 60.0, 180.0, 6 * ARCSEC, 0.0, ARCSEC, 0.0, 6 * ARCSEC))
    page = page_of(recorded(tmp_path / "n", a_night(), [(DRIFT_KIND, drift), (VIGIL_KIND, shift)]))
    assert "Proof by drift" in page and "20″ too far east" in page
    assert "moved by at least 6.0″" in page


def test_the_table_holds_every_reading(tmp_path: Path) -> None:
    facts = gather(recorded(tmp_path / "n", a_night()), "n")
    rows = list(csv.DictReader(io.StringIO(measurements_csv(facts))))
    assert len(rows) == 9
    assert float(rows[0]["east_arcmin"]) == pytest.approx(40.0) and rows[0]["source"] == "capture"
    assert float(rows[0]["sigma_up_arcmin"]) == pytest.approx(4.0 / 60.0, abs=1e-4)
    assert rows[-1]["frame"] == "f-7" and float(rows[-1]["ra_deg"]) == pytest.approx(123.4)


def test_the_reticle_shows_east_on_the_right_in_the_north_and_on_the_left_in_the_south(tmp_path: Path) -> None:
    facts = gather(recorded(tmp_path / "n", a_night()), "n")
    places = {}
    for lat in (46.2, -33.0):
        drawn = ET.fromstring(well(replace(facts, site=Site(lat, 0.0)), scale_for(1.0)))
        square = next(e for e in drawn.iter("{http://www.w3.org/2000/svg}polygon") if e.get("stroke") == "#12161f")
        places[lat] = float((square.get("points") or "").split(",")[0])
        words = {e.text: float(e.get("x") or 0) for e in drawn.iter("{http://www.w3.org/2000/svg}text")}
        assert (words["east"] > words["west"]) is (lat > 0.0)
    assert places[46.2] > 230.0 > places[-33.0]


def test_the_ellipse_is_the_covariance() -> None:
    facts_offset = gather_offset((3.0, -2.0), ((4.0, 1.5), (1.5, 2.0)))
    points = np.array(ellipse_arcmin(facts_offset, 400)) - [3.0, -2.0]
    inverse = np.linalg.inv(np.array([[4.0, 1.5], [1.5, 2.0]]))
    assert np.einsum("ni,ij,nj->n", points, inverse, points) == pytest.approx(2.4477**2, rel=1e-6)


def gather_offset(mean: tuple[float, float], cov):  # type: ignore[no-untyped-def]
    from polewright.core.offset import Offset

    c = np.array(cov) / ARCMIN_PER_RAD**2
    return Offset(mean[0] / ARCMIN_PER_RAD, mean[1] / ARCMIN_PER_RAD, ((c[0, 0], c[0, 1]), (c[1, 0], c[1, 1])), 1)


def test_nights_side_by_side_give_a_hint(tmp_path: Path) -> None:
    starts = [(38.0, -24.0), (43.0, -26.0), (40.0, -22.0)]
    nights = [gather(recorded(tmp_path / f"n{i}", a_night(s)), f"n{i}") for i, s in enumerate(starts)]
    hint = starting_hint(nights)
    east_deg = 40.3 / 60.0 / math.cos(math.radians(46.2))  # along the horizon, where the base is turned
    assert hint.startswith(f"Set the mount down {east_deg * 60:.0f}′ further west and 24′ higher than you did")
    assert starting_hint(nights[:1]) == ""
    scattered = [gather(recorded(tmp_path / f"s{i}", a_night(s)), "s") for i, s in enumerate([(40, 30), (-44, -28)])]
    assert "nothing to change" in starting_hint(scattered)
    history = history_of(nights)
    assert history.median_minutes == pytest.approx(170.0 / 60.0)
    assert same_rig(CAMERA, replace(CAMERA, focal_px=48500.0)) and not same_rig(CAMERA, replace(CAMERA, width_px=640))


def test_a_log_without_a_beginning_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="never began"):
        gather(recorded(tmp_path / "n", []), "n")


def test_a_damaged_line_is_named_and_the_rest_told(tmp_path: Path) -> None:
    folder = tmp_path / "n"
    recorded(folder, a_night())
    path = folder / "night.jsonl"
    lines = path.read_bytes().split(b"\n")
    lines[8] = lines[8][:40] + b"#" + lines[8][41:]
    path.write_bytes(b"\n".join(lines))
    facts = gather(read_night(folder), "n")
    assert facts.problems and facts.final is not None
    assert "Notes on the record" in page_of(read_night(folder))


def test_the_command_writes_all_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recorded(tmp_path / "nights" / "2026-03-01", a_night())
    recorded(tmp_path / "nights" / "2026-03-04", a_night((44.0, -20.0)))
    out = tmp_path / "out"
    assert run(["report", str(tmp_path / "nights" / "2026-03-04"), "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["accepted"] and told["moves"] == 1 and len(told["files"]) == 4
    assert {p.name for p in out.iterdir()} == {"report.html", "measurements.csv", "reticle.svg", "reticle.png"}
    assert (out / "reticle.png").read_bytes().startswith(b"\x89PNG")
    assert "2026-03-01" in (out / "report.html").read_text(encoding="utf-8")
    assert run(["report", str(tmp_path / "nowhere")]) == 4


def test_ticks_and_axes() -> None:
    assert nice_ticks(0.0, 10.0, 5) == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert nice_ticks(3.0, 3.0) == [3.0]
    frame = Frame(10.0, 20.0, 100.0, 50.0, (0.0, 10.0), (1.0, 100.0), math.log10)
    assert frame.x(5.0) == 60.0 and frame.y(10.0) == pytest.approx(45.0) and frame.y(0.1 + 1e9) == 20.0
    picture = Picture(10, 10, "a < b")
    picture.text(1, 1, "5 < 6 & more")
    ET.fromstring(picture.svg())


BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


@pytest.mark.slow
@pytest.mark.skipif(BROWSER is None, reason="no Chromium here to open the page in")
def test_the_page_opens_in_a_browser_and_prints(tmp_path: Path) -> None:
    """Ink where it belongs: a screenshot with the accent of the verdict and the floor of the well; a PDF of pages."""
    from PIL import Image

    page = tmp_path / "report.html"
    page.write_text(page_of(recorded(tmp_path / "n", a_night())), encoding="utf-8")
    shot, pdf = tmp_path / "shot.png", tmp_path / "report.pdf"
    for number, extra in enumerate((["--window-size=960,2400", f"--screenshot={shot}"], [f"--print-to-pdf={pdf}"])):
        command = [str(BROWSER), *QUIET, f"--user-data-dir={tmp_path / f'profile{number}'}", *extra, page.as_uri()]
        subprocess.run(command, check=True, timeout=100, capture_output=True)
    pixels = np.asarray(Image.open(shot).convert("RGB")).astype(int)
    accent = np.abs(pixels - [0xB0, 0x3A, 0x14]).max(axis=2) < 12
    floor = np.abs(pixels - [0xD9, 0xE2, 0xDF]).max(axis=2) < 4
    assert accent[:400, :120].sum() > 300  # the bar beside the verdict
    assert accent[400:].sum() > 30 and floor.sum() > 2000  # the end mark, the tolerance
    dark = (pixels.max(axis=2) < 90).mean(axis=1)
    assert (dark[:60] > 0.005).any() and (dark[1500:] > 0.005).any()  # words from top to bottom
    assert pdf.read_bytes().startswith(b"%PDF") and pdf.stat().st_size > 20_000


def test_a_report_is_written_whole_and_through_no_link(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recorded(tmp_path / "2026-03-01", a_night())
    report, elsewhere = tmp_path / "2026-03-01" / "report", tmp_path / "precious"
    report.mkdir()
    for name in ("reticle.png", "reticle.svg", "report.html", "measurements.csv"):
        (elsewhere.with_suffix(f".{name}")).write_text("precious", encoding="utf-8")
        (report / name).symlink_to(elsewhere.with_suffix(f".{name}"))
    assert run(["report", str(tmp_path / "2026-03-01")]) == 0
    capsys.readouterr()
    assert all(path.read_text(encoding="utf-8") == "precious" for path in tmp_path.glob("precious*"))
    assert not any(path.is_symlink() for path in report.iterdir())
    assert (report / "reticle.png").read_bytes().startswith(b"\x89PNG")


def test_a_turn_that_nobody_told_is_a_move_and_not_called_advised(tmp_path: Path) -> None:
    facts = gather(recorded(tmp_path / "2026-03-01", a_night()), "2026-03-01")
    seen = ScrewMove(-0.5, 40.0, 4.0, 0.1, sure=False, guessed=True)
    facts.moves["altitude"], facts.rates["altitude"] = (seen,), None
    page = report_html(facts, history_of([facts]), scale_for(1.0))
    assert "anticlockwise, turned, not reported" in page and "-36.00" in page
    assert "(as asked)" not in page and "-0.50" not in page
    assert "nobody said how far, so no rate was learned" in page
    assert _made(facts) == 2  # the one told, and the one seen
    assert "<dt>Moves</dt><dd>2</dd>" in page
