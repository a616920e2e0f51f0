"""Every way in which a capture has been made to lie, and what must come of it (see lying.py)."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from lying import PLAN, Capture, Pixels, change_header, change_pixels, date_file, honest, shift_clock
from polewright.core.model import Site
from polewright.core.sky.timescales import parse_iso, unix_seconds
from polewright.simulate.night import scenario_named
from polewright.simulate.scenarios import Clouds
from polewright.simulate.sequence import SequencePlan

CALM = scenario_named("perfect-calm")  # what lies is to be the files, not the tube
SITE = CALM.site
HOUR = 3600.0
COPIED_S = unix_seconds(parse_iso(CALM.start).utc) + 8.0 * HOUR  # the morning after
GLOW_ADU = 9000.0
Make = Callable[[Path, Capture], tuple[Capture, list[Path] | None]]


@dataclass(frozen=True)
class Case:
    """`make` gets an empty folder and the honest capture of three frames; returns the capture to measure.

    `effect` is what must come of it (see Answer.effect); "silent" only for what frames cannot show at all, which the
    program states in every answer. `told`: words that must be among those of the answer.
    """

    name: str
    effect: str
    make: Make
    told: str = ""


def copied(folder: Path, capture: Capture) -> Capture:
    """The capture's own copy, times of the files kept."""
    for path in capture.frames:
        shutil.copy2(path, folder / path.name)
    return replace(capture, folder=folder)


def _each(change: Callable[[Path], None], which: slice = slice(None)) -> Make:
    def make(folder: Path, capture: Capture) -> tuple[Capture, None]:
        found = copied(folder, capture)
        for path in found.frames[which]:
            change(path)
        return found, None

    return make


def _pixels(change: Callable[[Pixels], Pixels], which: slice = slice(None)) -> Make:
    return _each(lambda path: change_pixels(path, change), which)


def _options(*options: str) -> Make:
    return lambda folder, capture: (replace(copied(folder, capture), options=options), None)


def _sky(options: tuple[str, ...] = (), plan: SequencePlan = PLAN, **changes: Any) -> Make:
    """Another night: the scene itself is changed."""

    def make(folder: Path, _: Capture) -> tuple[Capture, None]:
        return replace(honest(folder, replace(CALM, **changes), plan), options=options), None

    return make


def _with_one_of(**changes: Any) -> Make:
    """The last frame comes from another night or camera."""

    def make(folder: Path, capture: Capture) -> tuple[Capture, None]:
        found = copied(folder, capture)
        other = folder.parent / f"{folder.name}-other"
        others = {key: value for key, value in changes.items() if key != "seed"}
        seed = changes.get("seed", 3)
        stranger = honest(other, replace(CALM, **others), PLAN, seed).frames[-1]
        last = found.frames[-1]
        times = last.stat()
        shutil.copy2(stranger, last)
        if "start" not in changes:
            os.utime(last, (times.st_mtime, times.st_mtime))
        return found, None

    return make


def _gradient(image: Pixels, right: float, down: float, level: float) -> Pixels:
    """Light over the frame, with its own photon noise."""
    height, width = image.shape
    x, y = np.linspace(0, 1, width)[None, :], np.linspace(0, 1, height)[:, None]
    light = level * (0.15 + right * x + down * y)
    noise = np.random.default_rng(8).normal(0.0, 1.0, image.shape) * np.sqrt(16.0 * np.maximum(light, 0.0))
    return np.asarray(image + light + noise)


def _lamp(image: Pixels) -> Pixels:
    """A street lamp just outside a corner."""
    height, width = image.shape
    y, x = np.mgrid[0:height, 0:width]
    light = 20000.0 * np.exp(-(np.hypot(x + 60, y + 60) / 350.0))
    noise = np.random.default_rng(9).normal(0.0, 1.0, image.shape) * np.sqrt(16.0 * light)
    return np.asarray(image + light + noise)


def _cap(image: Pixels) -> Pixels:
    """Bias and read noise alone."""
    return np.random.default_rng(int(image[1, 1])).normal(650.0, 40.0, image.shape)


def _hot_field(image: Pixels) -> Pixels:
    """No stars at all: hot pixels, some with a neighbour, as bright as stars."""
    rng = np.random.default_rng(12)  # the sensor's own: the same on every frame
    noise = np.random.default_rng(int(image[0, 0]) + 77).normal(900.0, 60.0, image.shape)
    for _ in range(300):
        x, y = rng.integers(2, image.shape[1] - 2), rng.integers(2, image.shape[0] - 2)
        noise[y, x] += np.exp(rng.uniform(6.5, 10.0))
        if rng.random() < 0.4:
            noise[y, x + 1] += np.exp(rng.uniform(6.0, 9.0))
    return np.asarray(noise)


def _shuffled(folder: Path, capture: Capture) -> tuple[Capture, list[Path]]:
    found = copied(folder, capture)
    one, two, three = found.frames
    return found, [three, one, two]


def _twice(folder: Path, capture: Capture) -> tuple[Capture, None]:
    found = copied(folder, capture)
    shutil.copy2(found.frames[1], folder / "calm-0002-copy.fits")
    return found, None


def _twice_new_time(folder: Path, capture: Capture) -> tuple[Capture, None]:
    """A frozen camera: the same pixels again, with a new time."""
    found, _ = _twice(folder, capture)
    shift_clock(folder / "calm-0002-copy.fits", 60.0)
    return found, None


def _two_frames(make: Make) -> Make:
    def only_two(folder: Path, capture: Capture) -> tuple[Capture, list[Path]]:
        found, _ = make(folder, capture)
        frames = found.frames
        return found, [frames[0], frames[-1]]

    return only_two


def _copied_anew(change: Callable[[Path], None]) -> Make:
    """The files were copied: their own times are those of the copying."""

    def make(folder: Path, capture: Capture) -> tuple[Capture, None]:
        found = copied(folder, capture)
        for path in found.frames:
            change(path)
            date_file(path, COPIED_S)
        return found, None

    return make


LAST, LATER = slice(2, None), slice(1, None)
TWO, SLIPS = SequencePlan(frames=2), replace(CALM.mount, declination_slip_arcmin=(3.0, 3.0))
YESTERDAY = "2026-11-11T19:57:00"
SAME_SCALE = replace(CALM.camera, name="Lantern Four", number=7)
EASTERN: dict[str, Any] = {"site": Site(44.8, 149.2), "start": "2026-11-12T10:30:00"}
SOUTH = ("--lat", f"{-SITE.lat_deg}", "--lon", f"{SITE.lon_deg}")
WEST = ("--lat", f"{SITE.lat_deg}", "--lon", f"{-SITE.lon_deg}")

CASES = (
    Case("nothing wrong", "right", _each(lambda path: None)),
    Case("frames out of order", "right", _shuffled),
    Case("a frame given twice", "right", _twice, "counted once"),
    Case("a frozen camera: the same pixels with a new time", "right", _twice_new_time, "does not fit"),
    Case("one frame from the night before", "refused", _with_one_of(start=YESTERDAY, seed=4), "hours apart"),
    Case("one of two frames from the night before", "refused", _two_frames(_with_one_of(start=YESTERDAY)), "apart"),
    Case(
        "one frame by another camera",
        "right",
        _with_one_of(camera=replace(CALM.camera, name="Lantern Two", pixel_um=3.0, number=2)),
        "use one camera",
    ),
    Case(
        "one frame by another camera of the same scale", "refused", _with_one_of(camera=SAME_SCALE, seed=8), "camera"
    ),
    Case(
        "one of two frames by another camera of the same scale",
        "refused",
        _two_frames(_with_one_of(camera=SAME_SCALE, seed=8)),
        "use one camera",
    ),
    Case(
        "one frame through a focal reducer",
        "right",
        _with_one_of(camera=replace(CALM.camera, focal_length_mm=140.0)),
        "no star pattern",
    ),
    Case("mirrored from the second frame on", "refused", _pixels(lambda image: image[:, ::-1], LATER), "mirrored"),
    Case(
        "upside down from the second frame on", "refused", _pixels(lambda i: i[::-1, ::-1], LATER), "not a polar axis"
    ),
    Case("declination slips by 3', two frames", "warned", _sky(plan=TWO, mount=SLIPS), "Two frames cannot check"),
    Case("declination slips by 3', three frames", "right", _sky(mount=SLIPS), "do not agree"),
    Case(
        "clock set on by 10 min before the last frame", "right", _each(lambda p: shift_clock(p, 600.0), LAST), "time"
    ),
    Case(
        "daylight saving begins before the last frame", "right", _each(lambda p: shift_clock(p, HOUR), LAST), "time"
    ),
    Case("all times 1 h ahead (daylight saving)", "right", _each(lambda p: shift_clock(p, HOUR)), "1 h ahead"),
    Case("all times 1 h ahead, and the files copied", "silent", _copied_anew(lambda p: shift_clock(p, HOUR))),
    Case(
        "all dates 10 years behind",
        "right",
        _each(lambda p: shift_clock(p, -3652.0 * 24.0 * HOUR)),
        "check the camera's date",
    ),
    Case(
        "all dates 10 years behind, and the files copied",
        "warned",
        _copied_anew(lambda p: shift_clock(p, -3652.0 * 24.0 * HOUR)),
        "check the camera's date",
    ),
    Case("all times 2 min ahead", "right", _each(lambda p: shift_clock(p, 120.0)), "ahead of"),
    Case(
        "all times 9 h ahead (local time of Japan as UTC), and the files copied",
        "warned",
        _copied_anew(lambda p: shift_clock(p, 9 * HOUR)),
        "a time is wrong",
    ),
    Case(
        "all times 12 h ahead (morning for evening), and the files copied",
        "refused",
        _copied_anew(lambda p: shift_clock(p, 12 * HOUR)),
        "the Sun is",
    ),
    Case("longitude: 3 degrees east as west, header right", "warned", _options(*WEST), "one of them is wrong"),
    Case(
        "longitude: 3 degrees east as west, header too",
        "silent",
        _each(lambda p: change_header(p, SITELONG=-SITE.lon_deg)),
    ),
    Case(
        "longitude: 149 degrees east as west, no header",
        "warned",
        _sky(("--lat", "44.8", "--lon", "-149.2"), site_in_header=False, **EASTERN),
        "a time is wrong",
    ),
    Case("latitude: wrong hemisphere", "refused", _options(*SOUTH), "below the horizon"),
    Case(
        "latitude: wrong hemisphere, camera on the equator, no header",
        "warned",
        _sky(SOUTH, site_in_header=False, declination_toward_pole_deg=0.0),
        "do not agree",
    ),
    Case("latitude: 3 degrees off", "right", _each(lambda p: change_header(p, SITELAT=SITE.lat_deg + 3.0))),
    Case("focal length stated twice as long", "right", _each(lambda p: change_header(p, FOCALLEN=480.0)), "not 2.15"),
    Case("focal length stated half as long", "right", _each(lambda p: change_header(p, FOCALLEN=120.0)), "not 8.59"),
    Case("all black", "refused", _pixels(lambda image: np.zeros_like(image)), "no light reached"),
    Case("all white", "refused", _pixels(lambda image: np.full_like(image, 65535)), "Every pixel is full"),
    Case("saturated: bright stars full", "right", _pixels(lambda image: image * 60.0)),
    Case("lens cap on", "refused", _pixels(_cap), "a cap"),
    Case("thin cloud, 2.5 magnitudes", "right", _sky(clouds=Clouds(0.999, 2.5, 9000.0))),
    Case("thick cloud, 7 magnitudes", "refused", _sky(clouds=Clouds(0.999, 7.0, 9000.0)), "clouds"),
    Case("Moon: gradient over the frame", "right", _pixels(lambda image: _gradient(image, 1.0, 0.6, GLOW_ADU))),
    Case("dew: stars wide and faint", "right", _sky(defocus_px=3.0, extinction_mag=2.0)),
    Case("street lamp in the corner", "right", _pixels(_lamp)),
    Case("30 s without tracking", "right", _sky(plan=SequencePlan(exposure_s=30.0, tracking=False))),
    Case("wind shakes the mount", "right", _sky(wind_arcsec=18.0)),
    Case("focus drifts: last frame out of focus", "right", _with_one_of(defocus_px=7.0)),
    Case("focus far out on every frame", "right", _sky(defocus_px=14.0)),
    Case("hot pixels alone, no stars", "refused", _pixels(_hot_field), "hot pixels"),
)
