"""Captures that lie: one honest capture of a simulated rig, and everything that can go wrong with its files or facts.

Each case changes files, headers, pixels or options; `polewright measure` is run on it as a person would, and what it
claims is held against the truth. The cases are in lying_cases.py, tests/bench/lying_data.py prints their table.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.__main__ import main
from polewright.core.sky.timescales import parse_iso
from polewright.simulate.night import iso_of
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import Scenario
from polewright.simulate.sequence import SequencePlan, write_sequence

PLAN = SequencePlan(frames=3)
Pixels = NDArray[Any]
UNIX_EPOCH_JD = 2440587.5
WRONG_BEYOND_SIGMA = 5.0
MODEL_ARCMIN = 0.08  # 5 arcsec: refraction model and sag, which no sigma of a capture contains


@dataclass(frozen=True)
class Capture:
    """Frames of one capture in a folder, their true axis (east, up) in arcmin, and the options of `measure`."""

    folder: Path
    truth_arcmin: tuple[float, float]
    options: tuple[str, ...] = ()

    @property
    def frames(self) -> list[Path]:
        """In the order of their names."""
        return sorted(self.folder.glob("*.fits"))


@dataclass(frozen=True)
class Answer:
    """What the program said: `claimed_arcmin` is None when it refused; `words` are reasons, cures and warnings."""

    code: int
    claimed_arcmin: tuple[float, float] | None
    error_arcmin: float
    sigma_arcmin: float
    sigmas: float
    words: tuple[str, ...]

    @property
    def effect(self) -> str:
        """ "refused", "right", "warned" (wrong, and said so) or "silent" (wrong, and nothing said)."""
        if self.claimed_arcmin is None:
            return "refused"
        if self.sigmas <= WRONG_BEYOND_SIGMA or self.error_arcmin <= MODEL_ARCMIN:
            return "right"
        return "warned" if self.words else "silent"


# one honest capture


def honest(folder: Path, scenario: Scenario, plan: SequencePlan = PLAN, seed: int = 3) -> Capture:
    """A capture over 90 degrees, its files dated as a camera program leaves them."""
    rig = SimulatedRig(scenario, seed)
    truth = write_sequence(rig, folder, plan)
    pole = truth["axis_after_capture"]["from_refracted_pole"]
    for path, fact in zip(sorted(folder.glob("*.fits")), truth["frames"], strict=True):
        start = parse_iso(fact["utc_start"]).utc
        date_file(path, (start.jd1 - UNIX_EPOCH_JD + start.jd2) * 86400.0 + fact["exposure_s"] + 1.0)
    return Capture(folder, (pole["east_arcmin"], pole["up_arcmin"]))


def date_file(path: Path, unix_s: float) -> None:
    """Set the file's own time."""
    os.utime(path, (unix_s, unix_s))


def ask(capture: Capture, frames: Sequence[Path] | None = None) -> Answer:
    """`polewright measure` on the capture."""
    paths = [str(path) for path in (capture.frames if frames is None else frames)]
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["measure", *paths, "--target", "refracted", "--json", *capture.options])
    if not out.getvalue():
        return Answer(code, None, np.nan, np.nan, np.nan, (err.getvalue().strip(),))
    facts = json.loads(out.getvalue())
    words = [*facts["warnings"]]
    words += [f"{f['file']}: {f['reason']} {f['cure']}" for f in facts["frames"] if not f["solved"]]
    if facts["axis"] is None:
        return Answer(code, None, np.nan, np.nan, np.nan, (f"{facts['reason']} {facts['cure']}", *words))
    axis = facts["axis"]
    claimed = np.array([axis["east_arcmin"], axis["up_arcmin"]])
    covariance = np.array(axis["covariance_arcmin2"])
    error = claimed - np.array(capture.truth_arcmin)
    return Answer(
        code,
        (float(claimed[0]), float(claimed[1])),
        float(np.linalg.norm(error)),
        float(np.sqrt(np.trace(covariance))),
        float(np.sqrt(error @ np.linalg.solve(covariance, error))),
        tuple(words),
    )


# changes to files


def change_header(path: Path, **values: object) -> None:
    """Change header values (None: remove), the file's own time kept."""
    from astropy.io import fits

    times = path.stat()
    with fits.open(path, mode="update") as hdus:
        for key, value in values.items():
            name = key.replace("_", "-")
            if value is None:
                hdus[0].header.remove(name, ignore_missing=True)
            else:
                hdus[0].header[name] = value
    os.utime(path, (times.st_mtime, times.st_mtime))


def change_pixels(path: Path, change: Callable[[Pixels], Pixels]) -> None:
    """Change the pixels, header and file time kept."""
    from astropy.io import fits

    times = path.stat()
    with fits.open(path) as hdus:
        pixels, header = np.array(hdus[0].data), hdus[0].header.copy()
    for key in ("BZERO", "BSCALE"):
        header.remove(key, ignore_missing=True)
    changed = change(pixels)
    fits.PrimaryHDU(np.clip(changed, 0, 65535).astype(np.uint16), header).writeto(path, overwrite=True)
    os.utime(path, (times.st_mtime, times.st_mtime))


def shift_clock(path: Path, seconds: float) -> None:
    """Another time in the header; the file's own time stays."""
    from astropy.io import fits

    stamp = parse_iso(fits.getheader(path)["DATE-OBS"]).utc
    change_header(path, DATE_OBS=iso_of(stamp.plus_seconds(seconds)))
