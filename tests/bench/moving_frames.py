"""How many frames are read while a screw moves, and how honest their errors are.

    python tests/bench/moving_frames.py [--frames 10] [--lengths 4 8 15 30 60] [--scenarios calm ...]

Real pixels of the simulated camera, 1.5 s each, for every length, screw and kind of motion: `steady`, `starts` and
`stops` in the middle of the exposure, `shakes` (the mount vibrates). Counted are frames on which at least 12 stars
show by themselves: as trails, with a signal of 8 times the noise under a filter of their own shape. Pulls: error of
the pointing (camera x and y; roll) against the truth at mid-exposure, over its stated sigma. What still frames are
off by as well (the air of that night) is taken off. Milliseconds of processor time: stars and solution.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from time import process_time

import numpy as np

from polewright.bootstrap import build_measurer
from polewright.core.attitude import rotation_vector
from polewright.core.axis.estimate import sky_frame
from polewright.core.model import FloatArray, PlateSolution, Utc
from polewright.core.sky.places import standard_atmosphere
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import FrameMeasurer
from polewright.simulate.fits_file import fits_bytes
from polewright.simulate.night import scenario_named
from polewright.simulate.render import render
from polewright.simulate.rig import Exposure, SimulatedRig
from polewright.simulate.shutter import header_of, scene_of
from polewright.simulate.view import View, sky_electrons, star_width_px

EXPOSURE_S = 1.5
STARS_ENOUGH, CLEAR_SNR = 12, 8.0
KINDS = ("steady", "starts", "stops", "shakes")


@dataclass(frozen=True)
class Reading:
    """One frame: whether 12 stars show, whether it was read; pulls (x, y, roll), errors in px, time."""

    length_px: float
    kind: str
    screw: str
    worth: bool
    read: bool
    pulls: tuple[float, float, float] = (np.nan, np.nan, np.nan)
    error_px: tuple[float, float] = (np.nan, np.nan)
    seconds: float = np.nan
    reason: str = ""


def readings(scenario: str, seed: int, frames: int, lengths: list[float]) -> Iterator[Reading]:
    """Frames of one rig, all lengths and kinds."""
    rig = SimulatedRig(scenario_named(scenario), seed)
    spec = rig.night.scenario
    side = -1.0 if rig.night.southern else 1.0
    now = rig.point(spec.hour_angle_h, side * spec.declination_toward_pole_deg, rig.night.start)
    rig.set_tracking(True, now)
    now = now.plus_seconds(30.0)
    measurer = build_measurer(quiet=True)
    rng = np.random.default_rng([seed, 17])
    stills = [
        _off(rig, measurer, rig.take(now.plus_seconds(2.0 * number), EXPOSURE_S), "still") for number in range(5)
    ]
    usual = np.mean([off for off, _, _, _ in stills], axis=0)
    for length in lengths:
        for number in range(frames):
            screw, kind = ("azimuth", "altitude")[number % 2], KINDS[(number // 2) % len(KINDS)]
            now = now.plus_seconds(20.0)
            exposure = _moving(rig, screw, kind, length, now, rng)
            yield _reading(rig, measurer, exposure, length, kind, screw, usual)


def _moving(
    rig: SimulatedRig, screw: str, kind: str, length_px: float, now: Utc, rng: np.random.Generator
) -> Exposure:
    """A frame in which the middle of the picture moves by the length."""
    if kind == "shakes":
        return _shaken(rig, length_px, now, rng)
    share = 1.0 if kind == "steady" else float(rng.uniform(0.3, 0.7))
    per_turn = _px_per_turn(rig, screw, now)
    turns = float(rng.choice([-1.0, 1.0])) * length_px / per_turn / share
    lead = {"steady": 0.0, "starts": (share - 1.0) * EXPOSURE_S, "stops": (1.0 - share) * EXPOSURE_S}[kind]
    rig.turn(screw, np.sign(turns) * 0.5, now.plus_seconds(-8.0), 2.0)  # the slack is crossed
    rig.turn(screw, turns, now, EXPOSURE_S)
    return rig.take(now.plus_seconds(lead), EXPOSURE_S)


def _px_per_turn(rig: SimulatedRig, screw: str, now: Utc) -> float:
    """What a turn moves the middle of the picture by."""
    mount, at = rig.mount, rig.seconds(now)
    step = 1e-5
    more = (step, 0.0) if screw == "azimuth" else (0.0, step)
    before, after = mount._head(np.array([at]))[0], mount._head(np.array([at]), *more)[0]
    boresight = mount.attitude(at)[:, 2]
    moved = float(np.linalg.norm(after @ before.T @ boresight - boresight)) / step
    rate = {"azimuth": mount.azimuth, "altitude": mount.altitude}[screw].rate_arcmin(at)
    return abs(rate) / 60.0 * np.pi / 180.0 * moved * rig.night.scenario.camera.focal_px


def _shaken(rig: SimulatedRig, extent_px: float, now: Utc, rng: np.random.Generator) -> Exposure:
    """The mount swings at 2 to 5 a second and dies away; the swing is as wide as the length, 20 px at most."""
    rig._frames_taken += 1
    view = rig.view(now, EXPOSURE_S)
    steps = 80
    time = (np.arange(steps) + 0.5) / steps * EXPOSURE_S
    swing = 0.5 * min(extent_px, 20.0) * np.exp(-time / 1.0) * np.sin(2.0 * np.pi * rng.uniform(2.0, 5.0) * time)
    angle = rng.uniform(0.0, np.pi)
    scene = scene_of(rig.night, view, rng)
    scene = replace(
        scene,
        x_px=scene.x_px[:1] + (swing * np.cos(angle))[:, None],
        y_px=scene.y_px[:1] + (swing * np.sin(angle))[:, None],
    )
    return Exposure(render(rig.night.scenario.camera, scene, rng), header_of(rig.night, view), view)


def _reading(
    rig: SimulatedRig,
    measurer: FrameMeasurer,
    exposure: Exposure,
    length: float,
    kind: str,
    screw: str,
    usual: FloatArray,
) -> Reading:
    worth = _stars_to_see(rig, exposure.view) >= STARS_ENOUGH
    off, sigma, seconds, reason = _off(rig, measurer, exposure, kind)
    if reason:
        return Reading(length, kind, screw, worth, False, seconds=seconds, reason=reason)
    off = off - usual
    pulls = tuple(float(v) for v in off / sigma)
    focal = rig.night.scenario.camera.focal_px
    return Reading(length, kind, screw, worth, True, pulls, (off[1] * focal, -off[0] * focal), seconds)  # type: ignore[arg-type]


def _off(
    rig: SimulatedRig, measurer: FrameMeasurer, exposure: Exposure, name: str
) -> tuple[FloatArray, FloatArray, float, str]:
    """Error of the attitude about the camera axes and its sigma, rad; the time; why there is none."""
    solution, seconds, reason = _measured(measurer, exposure, name)
    if solution is None:
        return np.zeros(3), np.ones(3), seconds, reason
    site = rig.night.scenario.site
    placed = sky_frame(
        name, exposure.view.utc_mid, site, standard_atmosphere(site), solution, EXPOSURE_S
    ).attitude_enu
    off = rotation_vector(exposure.view.attitude_enu.T @ placed.camera_to_sky)
    return off, np.sqrt(np.diag(placed.covariance_rad2)), seconds, ""


def _measured(measurer: FrameMeasurer, exposure: Exposure, name: str) -> tuple[PlateSolution | None, float, str]:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / f"{name}.fits"
        path.write_bytes(fits_bytes(exposure.pixels, exposure.header))
        frame = read_frame(path)
    begun_s = process_time()
    found = measurer.place(frame)
    seconds = process_time() - begun_s
    if isinstance(found.outcome, PlateSolution):
        return found.outcome, seconds, ""
    return None, seconds, f"{len(found.stars)}: {type(found.outcome).__name__}"


def _stars_to_see(rig: SimulatedRig, view: View) -> int:
    """Stars that show by themselves under a filter of the shape of their own trail."""
    scenario = rig.night.scenario
    camera, width = scenario.camera, star_width_px(scenario) / 2.355
    x, y = view.x_px, view.y_px
    path = np.hypot(x[-1] - x[0], y[-1] - y[0])
    area = 4.0 * np.pi * width**2 + 2.0 * np.sqrt(np.pi) * width * path
    sky = sky_electrons(scenario, view.exposure_s, view.cloud_mag) + camera.dark_e_s * view.exposure_s
    snr = view.electrons / np.sqrt(area * (sky + camera.read_noise_e**2) + view.electrons)
    inside = (x.min(axis=0) > 2) & (x.max(axis=0) < camera.width_px - 3)
    inside &= (y.min(axis=0) > 2) & (y.max(axis=0) < camera.height_px - 3)
    return int((inside & (snr > CLEAR_SNR)).sum())


def table(found: list[Reading]) -> list[str]:
    """Share read and pulls, a line a length and kind."""
    lines = [" px  kind      worth  read   share  pull x,y   roll   error px  95 %   ms  90 %"]
    for length in sorted({r.length_px for r in found}):
        for kind in (*KINDS, "all"):
            group = [r for r in found if r.length_px == length and kind in (r.kind, "all") and r.worth]
            lines.append(_line(length, kind, group))
    return lines


def _line(length: float, kind: str, group: list[Reading]) -> str:
    read = [r for r in group if r.read]
    if not read:
        return f"{length:3.0f}  {kind:9} {len(group):4}  none"
    pulls = np.array([r.pulls for r in read])
    error = np.array([np.hypot(*r.error_px) for r in read])
    ms = 1000.0 * np.array([r.seconds for r in group])
    xy, roll = np.sqrt(np.mean(pulls[:, :2] ** 2)), np.sqrt(np.mean(pulls[:, 2] ** 2))
    return (
        f"{length:3.0f}  {kind:9} {len(group):4} {len(read):5}  {len(read) / len(group):6.3f} {xy:9.2f} {roll:6.2f}"
        f" {np.median(error):9.3f} {np.percentile(error, 95):6.3f} {np.median(ms):5.0f} {np.percentile(ms, 90):5.0f}"
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--frames", type=int, default=8, help="of each length and rig")
    parser.add_argument("--lengths", type=float, nargs="+", default=[4.0, 8.0, 15.0, 30.0, 60.0])
    parser.add_argument("--scenarios", nargs="+", default=["calm", "southern-sky"])
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--failures", action="store_true")
    args = parser.parse_args()
    found = [
        reading
        for scenario in args.scenarios
        for seed in range(1, args.seeds + 1)
        for reading in readings(scenario, seed, args.frames, args.lengths)
    ]
    print("\n".join(table(found)))
    if args.failures:
        for r in found:
            if r.worth and not r.read:
                print(f"{r.length_px:3.0f} {r.kind} {r.screw}: {r.reason}")


if __name__ == "__main__":
    main()
