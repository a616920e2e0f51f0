"""`polewright drift` on FITS frames of a simulated mount that tracks: both components, plan, comparison, refusals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from polewright.__main__ import main

EACH = 13  # frames of each of the two fields
SEED = "5"


@pytest.fixture(scope="module")
def tracked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two fields for two minutes each, a frame every ten seconds, the truth beside them."""
    folder = tmp_path_factory.mktemp("tracked")
    assert main(["simulate", str(folder), "--scenario", "calm", "--seed", SEED, "--drift", "120"]) == 0
    return folder


def frames_of(folder: Path) -> list[str]:
    return [str(path) for path in sorted(folder.glob("*.fits"))]


def truth_of(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "truth.json").read_text())["axis_after_capture"]["from_refracted_pole"]


def run_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, Any]:
    capsys.readouterr()
    code = main([*arguments, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_both_components_with_an_honest_covariance(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, facts = run_json(capsys, "drift", *frames_of(tracked))
    truth, axis = truth_of(tracked), facts["axis"]
    sigma = np.sqrt(np.diag(axis["covariance_arcmin2"]))
    assert code == 0 and facts["frames_used"] == 2 * EACH and facts["frames_left_out"] == []
    for name, one in zip(("east_arcmin", "up_arcmin"), sigma):
        assert abs(axis[name] - truth[name]) < 3.5 * one
        assert 1.4 < one < 2.0, "a tripod that was just set down may creep"
    _, rested = run_json(capsys, "drift", *frames_of(tracked), "--stood")
    assert np.all(np.sqrt(np.diag(rested["axis"]["covariance_arcmin2"])) < 0.6)
    assert np.all(np.sqrt(np.diag(rested["axis"]["frames_covariance_arcmin2"])) < 0.5)
    assert [f["frames"] for f in facts["fields"]] == [EACH, EACH]
    assert facts["fields"][0]["hour_angle_h"] == pytest.approx(0.0, abs=0.2)
    # Covington (1999), appendix B: w a cos H; 0.262516"/min for each arcminute of error on the meridian
    meridian = facts["fields"][0]["drift_arcsec_min"]
    assert meridian == pytest.approx(-0.262516 * axis["east_arcmin"], rel=0.02)
    assert facts["unknown"] == "" and facts["seconds_left"] == 0.0


def test_one_field_says_what_is_missing(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, facts = run_json(capsys, "drift", *frames_of(tracked)[:EACH])
    assert code == 0 and "altitude is not known" in facts["unknown"]
    assert facts["next_field"] == "altitude" and 30.0 < facts["seconds_left"] < 400.0
    assert main(["drift", *frames_of(tracked)[:EACH]]) == 0
    told = capsys.readouterr().out
    assert "how high is not known" in told and "neither high nor low" not in told
    assert "  up           not known on the sky" in told
    assert "East or west ± " in told and "Each ±" not in told, "no number for what is not known"


def test_what_the_ground_keeps_from_the_certainty_is_said(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Before the first frame, and beside what the stars tell; on firm ground, nothing of it."""
    said = {}
    for ground in ((), ("--stood",)):
        assert main(["drift", *frames_of(tracked), *ground]) == 0
        assert main(["drift", "--where", "--lat", "52.3", "--lon", "3.0", *ground]) == 0
        said[ground] = capsys.readouterr().out
    assert "By the stars both components are known to 60″." in said[()]
    assert "short of the 60″ wanted" in said[()] and "however long you watch; on a pier" in said[()]
    assert "short of" not in said[("--stood",)] and "however long" not in said[("--stood",)]
    best = run_json(capsys, "drift", "--where", "--lat", "52.3", "--lon", "3.0")[1]["certainty_at_best_arcmin"]
    sigma = np.sqrt(np.diag(run_json(capsys, "drift", *frames_of(tracked))[1]["axis"]["covariance_arcmin2"]))
    assert best < sigma.max() < 1.1 * best


def test_the_time_still_needed_grows_with_the_certainty(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frames = frames_of(tracked)
    left = [run_json(capsys, "drift", *frames, "--certainty", c)[1]["seconds_left"] for c in ("1", "0.15", "0.1")]
    assert left[0] == 0.0 and 0.0 < left[1] < left[2]


def test_frames_that_need_not_be_solved(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Scale from the header, orientation and rough place by hand: the same axis, less sure."""
    frames, angles = frames_of(tracked), []
    for first in (frames[0], frames[EACH]):
        _, placed = run_json(capsys, "locate", first)
        angles += ["--position-angle", f"{placed['position_angle_deg']:.0f}"]
    fields = ["--field", "0", "10", *frames[:EACH], "--field", "-6", "75", *frames[EACH:]]
    code, facts = run_json(capsys, "drift", *fields, *angles)
    truth, axis = truth_of(tracked), facts["axis"]
    sigma = np.sqrt(np.diag(axis["covariance_arcmin2"]))
    assert code == 0 and facts["frames_used"] == 2 * EACH
    for name, one in zip(("east_arcmin", "up_arcmin"), sigma):
        assert abs(axis[name] - truth[name]) < 3.5 * one and one < 2.2


def test_beside_the_turn(tracked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    truth = truth_of(tracked)
    good = {
        "axis": {
            "east_arcmin": truth["east_arcmin"],
            "up_arcmin": truth["up_arcmin"],
            "covariance_arcmin2": [[0.001, 0.0], [0.0, 0.001]],
        },
        "target": "refracted",
        "suspect": None,
    }
    turn = tmp_path / "turn.json"
    turn.write_text(json.dumps(good))
    frames = frames_of(tracked)
    assert run_json(capsys, "drift", *frames, "--measured", str(turn))[1]["comparison"]["agree"] is True
    good["axis"]["east_arcmin"] += 6.0
    turn.write_text(json.dumps(good))
    facts = run_json(capsys, "drift", *frames, "--measured", str(turn))[1]
    assert facts["comparison"]["agree"] is False and "slipped" in facts["comparison"]["cause"]
    assert facts["comparison"]["east_arcmin"] == pytest.approx(-6.0, abs=1.0)
    assert main(["drift", *frames, "--measured", str(turn), "--target", "true"]) == 2
    assert "--target refracted" in capsys.readouterr().err
    turn.write_text('{"axis": null}')
    assert main(["drift", *frames, "--measured", str(turn)]) == 4


def test_where_to_point(capsys: pytest.CaptureFixture[str]) -> None:
    code, facts = run_json(capsys, "drift", "--where", "--lat", "-33.5", "--lon", "149", "--side", "west")
    assert code == 0
    azimuth, altitude = facts["positions"]
    assert azimuth["hour_angle_h"] == 0.0 and azimuth["altitude_deg"] >= 35.0
    assert facts["seconds_each"] >= 240.0, "shorter fields do not show whether anything guides"
    assert 4.0 <= altitude["hour_angle_h"] <= 6.0 and altitude["declination_deg"] < 0.0
    assert altitude["altitude_deg"] > 25.0
    assert main(["drift", "--where", "--lat", "52", "--lon", "9"]) == 0
    told = capsys.readouterr().out
    assert "on the meridian" in told and "east of the meridian" in told and "guiding off, in both axes" in told


def test_a_frame_without_stars_is_left_out_and_said(
    tracked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A cloud in the middle, and a frame of daylight by its clock: each is named with its reason, the rest counts."""
    frames = frames_of(tracked)
    cloud, noon = tmp_path / "cloud.fits", tmp_path / "noon.fits"
    with fits.open(frames[1]) as opened:
        opened[0].data[:] = 1000 + np.random.default_rng(1).poisson(30.0, opened[0].data.shape)
        opened.writeto(cloud)
    with fits.open(frames[2]) as opened:
        night = opened[0].header["DATE-OBS"]
        opened[0].header["DATE-OBS"] = f"{night[:11]}11{night[13:]}"
        opened.writeto(noon)
    code, facts = run_json(capsys, "drift", frames[0], str(cloud), str(noon), *frames[3:EACH])
    assert code == 0 and facts["frames_used"] == EACH - 2
    told = {item["file"]: item["reason"] for item in facts["frames_left_out"]}
    assert set(told) == {"cloud.fits", "noon.fits"}
    assert "below the horizon" in told["noon.fits"]


@pytest.fixture(scope="module")
def held_on_its_stars(tracked: Path, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The same fields as a guider shows them: the stars of the first frame stay where they are on the sensor."""
    folder, frames, guided = tmp_path_factory.mktemp("guided"), frames_of(tracked), []
    for k, frame in enumerate(frames):
        with fits.open(frames[EACH * (k // EACH)]) as first:
            first[0].header["DATE-OBS"] = fits.getheader(frame)["DATE-OBS"]
            first.writeto(folder / Path(frame).name)
        guided.append(str(folder / Path(frame).name))
    return guided


@pytest.mark.parametrize("said", [[], ["--guiding", "on"], ["--guiding", "off"]])
def test_a_guided_mount_far_off_the_pole_is_no_alignment(
    held_on_its_stars: list[str], said: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Its axis lies half a degree off; the frames alone look like those of a good alignment."""
    code, facts = run_json(capsys, "drift", *held_on_its_stars, *said)
    assert code == 3 and facts["axis"] is None and facts["kind"] == "guided" and "both axes" in facts["cure"]


def test_a_still_declination_asks_whether_guiding_is_off(
    held_on_its_stars: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """One field of two minutes is too short to show that right ascension is held as well: no word makes up for it."""
    code, facts = run_json(capsys, "drift", *held_on_its_stars[:EACH])
    assert code == 3 and facts["axis"] is None and facts["kind"] == "maybe_guided"
    assert "--guiding off" in facts["cure"]
    code, facts = run_json(capsys, "drift", *held_on_its_stars[:EACH], "--guiding", "off")
    assert code == 3 and facts["axis"] is None and facts["kind"] == "too_short_to_tell" and "4 min" in facts["cure"]


def test_a_wrong_year_is_warned_of_once(tracked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frames = frames_of(tracked)[:EACH]
    assert run_json(capsys, "drift", *frames)[1]["warnings"] == []
    for frame in frames:
        with fits.open(frame) as opened:
            opened[0].header["DATE-OBS"] = opened[0].header["DATE-OBS"].replace("2026-", "2016-")
            opened.writeto(tmp_path / Path(frame).name)
    _, facts = run_json(capsys, "drift", *map(str, sorted(tmp_path.glob("*.fits"))))
    assert len([text for text in facts["warnings"] if "check the camera's date" in text]) == 1


def test_too_few_frames_are_exit_3_with_the_cure(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drift", *frames_of(tracked)[:3]]) == 3
    assert "6 needed" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["--where"],
        ["--certainty", "0", "--where", "--lat", "1", "--lon", "1"],
        ["--field", "0", "10"],
        ["--field", "0", "ten", "a.fits"],
        ["--field", "14", "10", "a.fits", "--position-angle", "0"],
    ],
)
def test_requests_that_make_no_sense_are_exit_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drift", *arguments]) == 2
    assert capsys.readouterr().err.startswith("polewright: ")


def test_all_frames_left_out_are_not_called_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    for k in range(3):
        hdu = fits.PrimaryHDU(rng.normal(500.0, 20.0, (120, 160)).astype(np.uint16))
        hdu.header["DATE-OBS"], hdu.header["EXPTIME"] = f"2026-11-20T20:0{k}:00", 2.0
        hdu.writeto(tmp_path / f"{k}.fits")
    code, facts = run_json(capsys, "drift", *frames_of(tmp_path), "--lat", "52", "--lon", "10")
    assert code == 3 and len(facts["frames_left_out"]) == 3
    assert facts["reason"] == "All 3 frames were left out."


def test_a_site_that_is_not_the_frames_own(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The wrong hemisphere leaves half the frames above its horizon: they say nothing, and the headers say why."""
    frames = frames_of(tracked)
    _, right = run_json(capsys, "drift", *frames)
    own = json.loads((tracked / "truth.json").read_text())["site"]
    wrong = ["--lat", str(-own["lat_deg"]), "--lon", str(own["lon_deg"])]
    code, facts = run_json(capsys, "drift", *frames, *wrong)
    assert (
        right["axis"] is not None and code == 3 and facts["axis"] is None and "below the horizon" in facts["reason"]
    )
    assert any("one of them is wrong" in note for note in facts["warnings"])
    assert len(facts["frames_left_out"]) > 4
    assert main(["drift", *frames, *wrong]) == 3
    told = capsys.readouterr().out
    assert told.count("below the horizon") == 4 and "more left out" in told and "one of them is wrong" in told


def test_a_longitude_with_the_wrong_sign_is_said(tracked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = json.loads((tracked / "truth.json").read_text())["site"]
    where = ["--lat", str(own["lat_deg"]), "--lon", str(own["lon_deg"] + 3.0)]
    _, facts = run_json(capsys, "drift", *frames_of(tracked), *where)
    assert any("one of them is wrong" in note for note in facts["warnings"])
