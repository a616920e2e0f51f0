"""Hard fields in one table: `python tests/bench/hard_fields.py --cache DIR [--frames N] [WORD]`.

Frames are rendered by the simulator (its own sky, catalogue errors, cheap sensor), written to files and go through
reader, detector and solver. `able` counts the frames that hold enough information: the log-odds that a perfect
detector and a perfect search would reach, from the stars of signal to noise 8 and more on the frame (the program's
own measure of evidence, core/matching/evidence.py), must exceed what is asked for acceptance by ln 1000. What must be
99 % is `solved of able`; the others may be refused; `wrong` must be 0. Latitudes are whole captures of three
frames: error of the axis, and how often it lies within five sigma.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.model import SkyFrame, StarList

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from polewright.core.angles import ARCSEC_PER_RAD, sky_to_vector
from polewright.core.axis.estimate import estimate_axis
from polewright.core.errors import UsageError
from polewright.core.matching.evidence import ACCEPTED_LOG_ODDS, Prior, log_likelihood_ratio, log_share_of_prior
from polewright.core.matching.hint import SolveHint
from polewright.core.model import AxisEstimate, Frame, PlateSolution, Site, SkyPosition, Sourced, TargetPole
from polewright.core.sky.places import default_target, standard_atmosphere
from polewright.services.catalogue import load_catalogue
from polewright.services.clock import SystemClock
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import FrameMeasurer, place_in_sky
from polewright.services.solver import Solver
from polewright.simulate.camera import CameraSpec
from polewright.simulate.fits_file import fits_bytes
from polewright.simulate.night import utc_of
from polewright.simulate.rig import Exposure, SimulatedRig
from polewright.simulate.scenarios import SCENARIOS, Scenario
from polewright.simulate.view import star_width_px
from simulated_star_lists import observe_stars, signal_to_noise
from solver_fields import EPOCH_YEAR, FieldRecipe, error_px, is_right, make_field

CALM = SCENARIOS["calm"]
GUIDE = CALM.camera
APS = CameraSpec("Lantern Three", 1600, 1200, 4.5, aperture_mm=12.0, vignetting=0.35, full_well_e=30000.0, number=3)
SURE_LOG_ODDS = ACCEPTED_LOG_ODDS + np.log(1000.0)
SEEN_SNR = 8.0
LONG = replace(GUIDE, focal_length_mm=550.0, stated_focal_length_mm=550.0, aperture_mm=80.0)
GALACTIC_POLE = sky_to_vector(np.radians(192.85948), np.radians(27.12825))  # J2000, IAU 1958 system


def lens(focal_mm: float, barrel: float) -> CameraSpec:
    """A camera lens of f/4 on the larger sensor."""
    return replace(
        APS, focal_length_mm=focal_mm, stated_focal_length_mm=focal_mm, aperture_mm=focal_mm / 4.0, barrel1=barrel
    )


@dataclass(frozen=True)
class Hard:
    """A kind of frame: the scene, where it points, how its file is written."""

    name: str
    scenario: Scenario
    exposure_s: float = 2.0
    toward: Callable[[np.random.Generator], np.ndarray] | None = None  # ICRS direction, None: anywhere
    jpeg: bool = False


def plane(rng: np.random.Generator) -> np.ndarray:
    """Within 3 degrees of the galactic plane, in the part that stands high on a November evening."""
    while True:
        v = rng.normal(size=3)
        v /= np.linalg.norm(v)
        if abs(v @ GALACTIC_POLE) < np.sin(np.radians(3.0)):
            return np.asarray(v)


def pole(rng: np.random.Generator) -> np.ndarray:
    """Within half a degree of the celestial pole."""
    v = np.array([*rng.normal(size=2) * np.radians(0.25), 1.0])
    return np.asarray(v / np.linalg.norm(v))


SHARP = replace(CALM, blur_px=0.8, seeing_arcsec=3.0)
CASES = (
    Hard("guide scope, 1.5 degrees, anywhere", CALM),
    Hard("dense Milky Way, 1.5 degrees, 8 s", CALM, 8.0, plane),
    Hard("dense Milky Way, 7 degrees, 8 s", replace(CALM, camera=lens(85.0, -0.01)), 8.0, plane),
    Hard("on the pole, 1.5 degrees", CALM, 2.0, pole),
    Hard("long, 0.5 degrees, no hint", replace(CALM, camera=LONG), 4.0),
    Hard("lens 50 mm", replace(CALM, camera=lens(50.0, -0.03))),
    Hard("lens 24 mm", replace(CALM, camera=lens(24.0, -0.08))),
    Hard("lens 14 mm", replace(CALM, camera=lens(14.0, -0.12))),
    Hard("undersampled, 1.2 px", SHARP),
    Hard("defocused, 15 px", replace(CALM, defocus_px=7.5), 6.0),
    Hard("8-bit JPEG", CALM, 4.0, jpeg=True),
    Hard("colour (Bayer RGGB)", replace(CALM, camera=replace(GUIDE, bayer="RGGB")), 4.0),
)  # fmt: skip


@dataclass
class Tally:
    """What came of the frames of one case."""

    frames: int = 0
    able: int = 0
    solved: int = 0
    solved_able: int = 0
    wrong: int = 0
    errors_px: list[float] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)

    def line(self, name: str) -> str:
        """One row of the table."""
        rate = f"{100.0 * self.solved_able / self.able:.1f}" if self.able else "-"
        error = (
            f"{np.median(self.errors_px):.3f} / {np.percentile(self.errors_px, 95):.3f}" if self.errors_px else "-"
        )
        return (
            f"| {name} | {self.frames} | {self.able} | {rate} % | {self.solved - self.solved_able} of"
            f" {self.frames - self.able} | {self.wrong} | {error} |"
        )


def reachable_log_odds(scenario: Scenario, stars: int, solid_angle_sr: float = 4.0 * np.pi) -> float:
    """Log-odds when each of `stars` real stars on the frame is measured and matched, and nothing else is there."""
    if stars < 4:
        return -np.inf
    camera = scenario.camera
    area = float(camera.width_px * camera.height_px)
    sigma = np.full(stars, 0.08 * star_width_px(scenario) + 0.05)
    likelihood = log_likelihood_ratio(np.zeros((1, stars)), sigma, np.array([stars]), area)
    radius = np.hypot(camera.width_px, camera.height_px) / np.sqrt(12.0)
    point, turn = sigma[0] / np.sqrt(stars) / camera.focal_px, sigma[0] / np.sqrt(stars) / radius
    share = log_share_of_prior(Prior(solid_angle_sr, 0.1, 2), np.diag(np.square([point, point, turn, turn])))
    return float(np.max(likelihood)) + share


def frames_of(case: Hard, count: int, seed: int, folder: Path) -> Iterator[tuple[Path, Exposure, SimulatedRig, int]]:
    """Rendered frames in files, each with its truth and the number of stars that can be seen on it."""
    rng = np.random.default_rng([seed, len(case.name)])
    made = 0
    while made < count:
        rig = SimulatedRig(case.scenario, int(rng.integers(1 << 30)))
        try:
            start = _point(rig, case, rng)
        except UsageError:
            continue  # below the horizon
        exposure = rig.take(start, case.exposure_s)
        view = exposure.view
        x, y, camera = view.x_px.mean(axis=0), view.y_px.mean(axis=0), case.scenario.camera
        inside = (x > 4) & (x < camera.width_px - 5) & (y > 4) & (y < camera.height_px - 5)
        seen = int(np.sum(inside & (signal_to_noise(case.scenario, view) > SEEN_SNR)))
        path = folder / f"{made}.{'jpg' if case.jpeg else 'fits'}"
        _write(path, exposure, case.jpeg)
        made += 1
        yield path, exposure, rig, seen
        path.unlink()


def _point(rig: SimulatedRig, case: Hard, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    start = rig.night.start
    if case.toward is None:
        enu = rng.normal(size=3)
        enu /= np.linalg.norm(enu)
    else:
        icrs = case.toward(rng)
        axes = np.stack([rig.sky(start).icrs_of(axis) for axis in np.eye(3)])
        enu = axes @ icrs
    altitude, azimuth = np.degrees(np.arcsin(enu[2])), np.degrees(np.arctan2(enu[0], enu[1]))
    if altitude < 25.0:
        raise UsageError("too low")
    done = rig.point_horizontal(float(azimuth), float(altitude), start)
    rig.set_tracking(True, done)
    return done.plus_seconds(20.0)


def _write(path: Path, exposure: Exposure, jpeg: bool) -> None:
    if not jpeg:
        path.write_bytes(fits_bytes(exposure.pixels, exposure.header))
        return
    from PIL import Image

    low, high = np.percentile(exposure.pixels, [1.0, 50.0])
    eight = np.clip((exposure.pixels - low) / max(high - low, 1.0) * 12.0 + 6.0, 0, 255).astype(np.uint8)
    Image.fromarray(eight).save(path, "JPEG", quality=85)


def rendered(case: Hard, count: int, cache: Path) -> Tally:
    """All frames of one case through reader, detector and solver."""
    tally, detector, solver = Tally(), Detector(), Solver(load_catalogue(), cache)
    camera = case.scenario.camera
    with tempfile.TemporaryDirectory() as folder:
        for path, exposure, _, seen in frames_of(case, count, 5, Path(folder)):
            stars = detector.detect(read_frame(path))
            got = solver.solve(stars, EPOCH_YEAR, SolveHint(scale_arcsec_px=camera.scale_arcsec_px))
            able = reachable_log_odds(case.scenario, seen) > SURE_LOG_ODDS
            tally.frames += 1
            tally.able += able
            if not isinstance(got, PlateSolution):
                if able:
                    tally.missed.append(f"{seen} stars there, {len(stars)} found: {got.why}")
                continue
            centre = exposure.view.centre
            away = np.linalg.norm(_vector(got.centre) - _vector(centre)) * camera.focal_px
            if away > 3.0 or got.mirrored != camera.mirrored:
                tally.wrong += 1
            else:
                tally.solved += 1
                tally.solved_able += able
                tally.errors_px.append(float(away))
    return tally


def _vector(place: SkyPosition) -> np.ndarray:
    return sky_to_vector(np.radians(place.ra_deg), np.radians(place.dec_deg))


def sparse(count: int, real: int, cache: Path) -> Tally:
    """Star lists of half a degree with `real` stars and five strays, the pointing known to a degree."""
    catalogue = load_catalogue()
    solver, rng, tally = Solver(catalogue, cache, search_other_scales=False), np.random.default_rng(real), Tally()
    recipe = FieldRecipe(0.5, spurious=5, missing=0.0, limit_stars=real, fewest_catalogue_stars=real)
    cap = 2.0 * np.pi * (1.0 - np.cos(np.radians(1.5)))
    scenario = replace(CALM, camera=replace(GUIDE, focal_length_mm=550.0))
    while tally.frames < count:
        made = make_field(catalogue, recipe, rng)
        if made is None:
            continue
        off = rng.normal(size=3) * np.radians(0.6)
        near = made.camera_to_sky[:, 2] + off
        near /= np.linalg.norm(near)
        place = SkyPosition(
            float(np.degrees(np.arctan2(near[1], near[0])) % 360), float(np.degrees(np.arcsin(near[2])))
        )
        got = solver.solve(
            made.stars, EPOCH_YEAR, SolveHint(made.stated_scale_arcsec_px, near=place, near_radius_deg=1.5)
        )
        able = reachable_log_odds(scenario, real, cap) > SURE_LOG_ODDS
        tally.frames += 1
        tally.able += able
        if isinstance(got, PlateSolution) and is_right(made, got):
            tally.solved += 1
            tally.solved_able += able
            tally.errors_px.append(error_px(made, got))
        elif isinstance(got, PlateSolution):
            tally.wrong += 1
    return tally


LATITUDES = (0.0, 2.0, 52.0, 70.0, 89.0, -2.0, -35.0, -70.0)


def captures(lat: float, count: int, cache: Path, target: TargetPole | None = None) -> str:
    """Whole captures of star lists over 90 degrees at one latitude, against a pole (None: the default one)."""
    scenario = replace(
        CALM,
        site=Site(lat, 10.0, 100.0),
        start="2026-06-20T20:00:00" if lat < -60.0 else CALM.start,
        declination_toward_pole_deg=min(45.0, abs(lat) + 25.0) if abs(lat) < 20.0 else 50.0,
    )
    solver, errors, sigmas, inside = Solver(load_catalogue(), cache), [], [], 0
    for seed in range(count):
        rig = SimulatedRig(scenario, seed)
        rng = np.random.default_rng(seed)
        side = -1.0 if rig.night.southern else 1.0
        now = rig.point(-3.0, side * scenario.declination_toward_pole_deg, utc_of(scenario.start))
        rig.set_tracking(True, now)
        lists: dict[str, StarList] = {}
        measurer = FrameMeasurer(_Given(lists), solver, SystemClock().monotonic_s)
        placed = []
        for k in range(3):
            now = (rig.rotate_ra(45.0, now) if k else now).plus_seconds(8.0)
            lists[f"{k}"] = observe_stars(rig, now, 2.0, rng).stars
            camera = scenario.camera
            frame = Frame(
                f"{k}",
                np.broadcast_to(np.zeros(1, dtype=np.uint16), (camera.height_px, camera.width_px)),
                Sourced(now.plus_seconds(1.0), "truth"),
                scale_arcsec_px=Sourced(camera.scale_arcsec_px, "stated"),
            )
            placed.append(
                place_in_sky(frame, measurer.place(frame).outcome, scenario.site, standard_atmosphere(scenario.site))
            )
        good = [p for p in placed if isinstance(p, SkyFrame)]
        target = default_target(scenario.site) if target is None else target
        found = estimate_axis(good, scenario.site, standard_atmosphere(scenario.site), target)
        if isinstance(found, AxisEstimate):
            poles = rig.axis(now)
            bare, lifted = np.array(poles.from_true_pole_arcmin), np.array(poles.from_refracted_pole_arcmin)
            truth = np.radians((bare + target.value * (lifted - bare)) / 60.0)
            error = np.array([found.east_rad, found.up_rad]) - truth
            total = np.array(found.covariance_rad2) + np.eye(2) * (2.0 / ARCSEC_PER_RAD) ** 2
            inside += error @ np.linalg.solve(total, error) < 25.0
            errors.append(float(np.linalg.norm(error)) * ARCSEC_PER_RAD)
            sigmas.append(float(np.sqrt(np.trace(found.covariance_rad2))) * ARCSEC_PER_RAD)
    told = (
        f"{np.median(errors):.1f} / {np.percentile(errors, 95):.1f} | {np.median(sigmas):.1f}" if errors else "- | -"
    )
    return (
        f"| latitude {lat:+.0f} | {count} | {len(errors)} | {told} | {100.0 * inside / max(len(errors), 1):.0f} % |"
    )


class _Given:
    """A detector that knows the star lists."""

    def __init__(self, lists: dict[str, StarList]) -> None:
        self._lists = lists

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        return self._lists[frame.name]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("word", nargs="?", default="")
    parser.add_argument("--frames", type=int, default=40)
    parser.add_argument("--cache", type=Path, required=True)
    args = parser.parse_args()
    print("| frames | N | able | solved of able | solved of the others | wrong | error median / 95 %, px |")
    print("|---|---|---|---|---|---|---|")
    for real in (6, 7, 8, 10):
        if args.word in "sparse":
            print(
                sparse(args.frames, real, args.cache).line(f"sparse 0.5 degrees, {real} stars + 5 strays, hint"),
                flush=True,
            )
    for case in CASES:
        if args.word in case.name:
            tally = rendered(case, args.frames, args.cache)
            print(tally.line(case.name), flush=True)
            for text in tally.missed[:6]:
                print(f"      {text}")
    print(
        "| captures | N | measured | axis error median / 95 %, arcsec | sigma | within 5 sigma (2 arcsec of model) |"
    )
    print("|---|---|---|---|---|---|")
    for lat in LATITUDES:
        if args.word in "latitude":
            print(captures(lat, args.frames, args.cache), flush=True)


if __name__ == "__main__":
    main()
