"""Captures through lenses that bend: star lists of seeded frames, in the observed sky, with the truth.

Four drawings of the angle t from the axis: straight tan t, equidistant t, stereographic 2 tan(t/2), equal areas
2 sin(t/2) (definitions of geometrical optics); each off the middle of the sensor, with tilted elements and a bend of
its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

import starfields as sf
from polewright.core.angles import ARCMIN_PER_RAD, rotation_about, unit
from polewright.core.axis.estimate import estimate_axis
from polewright.core.axis.lens_stars import Wide
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.matching.hint import SolveHint
from polewright.core.model import (
    AxisEstimate,
    Camera,
    FloatArray,
    PlateSolution,
    Site,
    SkyFrame,
    StarList,
    TargetPole,
    Utc,
)
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.places import observed_enu, standard_atmosphere, true_pole_enu
from polewright.core.sky.timescales import iso_text
from sky_solver import shared_solver
from solver_fields import star_list

WIDTH_PX, HEIGHT_PX = 1600, 1200
SITE = Site(52.0, 10.0, 100.0)
AIR = standard_atmosphere(SITE)
MIDDLE = 0.35  # of each side: what is solved first, as in services/second_looks.py
START = Utc(2461000.5, 0.85)  # by night
DRAWINGS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "straight": lambda t: np.asarray(np.tan(t)),
    "equidistant": lambda t: t,
    "stereographic": lambda t: np.asarray(2.0 * np.tan(0.5 * t)),
    "equal areas": lambda t: np.asarray(2.0 * np.sin(0.5 * t)),
}


@dataclass(frozen=True)
class Bending:
    """A lens: its drawing, how wide the frame is (deg), a bend besides (r (1 + bend t^2)), middle off (px), tilt."""

    drawing: str
    width_deg: float
    bend: float = 0.02
    off_px: tuple[float, float] = (9.0, -6.0)
    tilt: tuple[float, float] = (0.0006, -0.0004)
    mirrored: bool = False

    def radius(self, t: FloatArray) -> FloatArray:
        """On the sensor, in focal lengths."""
        return np.asarray(DRAWINGS[self.drawing](t) * (1.0 + self.bend * t * t))

    @property
    def focal_px(self) -> float:
        return float(0.5 * WIDTH_PX / self.radius(np.array(np.radians(0.5 * self.width_deg))))

    def pixels(self, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Of unit vectors (N, 3) in camera axes; NaN beyond the lens."""
        across = np.hypot(v[:, 0], v[:, 1])
        t = np.arctan2(across, v[:, 2])
        farthest = np.radians(88.0 if self.drawing == "straight" else 100.0)
        u = v[:, :2] * (self.radius(np.minimum(t, farthest)) / np.maximum(across, 1e-12))[:, None]
        r2, (p1, p2) = np.sum(u * u, axis=1), self.tilt
        x = u[:, 0] + p1 * (r2 + 2 * u[:, 0] ** 2) + 2 * p2 * u[:, 0] * u[:, 1]
        y = u[:, 1] + p2 * (r2 + 2 * u[:, 1] ** 2) + 2 * p1 * u[:, 0] * u[:, 1]
        sign = -1.0 if self.mirrored else 1.0
        x = sign * (x * self.focal_px) + self.off_px[0] + 0.5 * (WIDTH_PX - 1)
        y = y * self.focal_px + self.off_px[1] + 0.5 * (HEIGHT_PX - 1)
        return np.where(t < farthest, x, np.nan), y


@dataclass(frozen=True, eq=False)
class Capture:
    """Star lists and times of frames between which the axis `axis_enu` was turned; it stands `offset_rad` (east, up)
    from the true pole."""

    lists: list[StarList]
    utc: list[Utc]
    offset_rad: FloatArray


def capture(
    catalogue: Catalogue,
    lens: Bending,
    rng: np.random.Generator,
    frames: int = 5,
    span_deg: float = 80.0,
    noise_px: float = 0.15,
    strays: int = 20,
    most: int = 220,
) -> Capture:
    """Frames `span_deg` about an axis a degree or so off the pole."""
    pole = true_pole_enu(SITE)
    east = np.array([1.0, 0.0, 0.0])
    up = np.cross(east, pole)
    up = up if up[2] > 0 else -up
    offset = np.radians(rng.normal(size=2) * 0.7)
    axis = unit(pole + offset[0] * east + offset[1] * up)
    z = unit(pole + np.array([0.0, -0.6, 0.5]) + 0.15 * rng.normal(size=3))
    x = unit(np.cross(z, rng.normal(size=3)))
    first = np.stack([x, np.cross(z, x), z], axis=1)
    stars = catalogue.vectors_at(2026.0, slice(0, 12000))
    light = catalogue.magnitude[:12000] + rng.normal(size=12000) * 0.3
    lists, times = [], []
    for k in range(frames):
        turn = np.radians(span_deg) * (k / (frames - 1) - 0.5)
        utc = START.plus_seconds(60.0 * k)
        enu = observed_enu(stars, utc, SITE, standard_atmosphere(SITE))
        px, py = lens.pixels(enu @ (rotation_about(axis, float(turn)) @ first))
        there = (enu[:, 2] > 0.09) & (px > 0) & (px < WIDTH_PX - 1) & (py > 0) & (py < HEIGHT_PX - 1)
        order = np.flatnonzero(there)
        order = order[np.argsort(light[order])][:most]
        order = order[rng.random(order.size) > 0.1]
        sx, sy = rng.random(strays) * WIDTH_PX, rng.random(strays) * HEIGHT_PX
        places = np.column_stack([np.r_[px[order], sx], np.r_[py[order], sy]])
        places += rng.normal(size=places.shape) * noise_px
        by_light = np.argsort(np.r_[light[order], rng.choice(light[order], strays)], kind="stable")
        lists.append(star_list(places[by_light, 0], places[by_light, 1], noise_px, WIDTH_PX, HEIGHT_PX))
        times.append(utc)
    return Capture(lists, times, offset)


def middle_of(stars: StarList) -> tuple[StarList, int, int]:
    """The list of the middle of the frame, as the second look makes it, and its corner."""
    width, height = round(stars.width_px * MIDDLE), round(stars.height_px * MIDDLE)
    x0, y0 = (stars.width_px - width) // 2, (stars.height_px - height) // 2
    inside = (np.abs(stars.x_px - x0 - width / 2) < width / 2) & (np.abs(stars.y_px - y0 - height / 2) < height / 2)
    columns = {k: getattr(stars, k)[inside] for k in ("sigma_px", "flux_adu", "snr", "fwhm_px", "flags")}
    x, y = stars.x_px[inside] - x0, stars.y_px[inside] - y0
    return replace(stars, width_px=width, height_px=height, x_px=x, y_px=y, **columns), x0, y0


def solved(stars: StarList, known: Camera | None) -> PlateSolution:
    """By the middle of the frame, as the program solves what bends much."""
    part, x0, y0 = middle_of(stars)
    camera = known and replace(known, width_px=part.width_px, height_px=part.height_px)
    got = shared_solver().solve(part, 2026.0, SolveHint(camera=camera))
    assert isinstance(got, PlateSolution), got
    whole = replace(got.camera, width_px=stars.width_px, height_px=stars.height_px)
    return replace(
        got, camera=whole, matched=replace(got.matched, x_px=got.matched.x_px + x0, y_px=got.matched.y_px + y0)
    )


def wide_frames(taken: Capture) -> list[Wide]:
    known, frames = None, []
    for k, (stars, utc) in enumerate(zip(taken.lists, taken.utc)):
        solution = solved(stars, known)
        known = solution.camera
        frames.append(Wide(sky_frame(str(k), utc, SITE, AIR, solution, 1.0), solution, stars))
    return frames


def error_arcmin(frames: list[SkyFrame], taken: Capture) -> tuple[np.ndarray, np.ndarray]:
    """Error (2,) of the axis and its stated sigmas (2,), arcmin."""
    found = estimate_axis(frames, SITE, AIR, TargetPole.TRUE)
    assert isinstance(found, AxisEstimate), found
    error = np.array([found.east_rad, found.up_rad]) - taken.offset_rad
    return error * ARCMIN_PER_RAD, np.sqrt(np.diag(found.covariance_rad2)) * ARCMIN_PER_RAD


def picture(stars: StarList, rng: np.random.Generator) -> NDArray[np.uint16]:
    """The frame (H, W) itself: stars 2.5 px wide whose light falls with their rank as that of the sky does (so many
    stars as are brighter, to the power of -0.8), over a glow that rises towards one side, noise and hot pixels."""
    noise = 20.0
    rank = np.arange(1.0, len(stars) + 1.0)
    image = np.full((HEIGHT_PX, WIDTH_PX), 1000.0) + np.linspace(0.0, 300.0, HEIGHT_PX)[:, None]
    for x, y, flux in zip(stars.x_px, stars.y_px, sf.flux_of(900.0 * rank**-0.8, 2.5, noise)):
        sf.add_star(image, float(x), float(y), float(flux), 2.5 / sf.FWHM_PER_SIGMA)
    image += rng.normal(size=image.shape) * np.sqrt(noise**2 + (image - 1000.0))
    image[rng.integers(0, HEIGHT_PX, 60), rng.integers(0, WIDTH_PX, 60)] += 3000.0
    return np.clip(np.rint(image), 0, 65535).astype(np.uint16)


def write_frames(taken: Capture, folder: Path, kind: str, rng: np.random.Generator) -> list[str]:
    """The frames of a capture as "fits" or "jpeg" files, ten seconds each; their paths."""
    writes = {"fits": _write_fits, "jpeg": _write_jpeg}[kind]
    paths = [str(folder / f"{k}.{kind}") for k in range(len(taken.lists))]
    for path, stars, utc in zip(paths, taken.lists, taken.utc):
        writes(path, picture(stars, rng), iso_text(utc.plus_seconds(-5.0)))
    return paths


def _write_fits(path: str, image: NDArray[np.uint16], start: str) -> None:
    from astropy.io import fits

    fits.writeto(path, image, fits.Header({"DATE-OBS": start, "EXPTIME": 10.0}))


def _write_jpeg(path: str, image: NDArray[np.uint16], start: str) -> None:
    """Eight bits of the darkest 1300 levels, as a camera's own curve would keep them."""
    exif = Image.Exif()
    local = start[:19].replace("-", ":").replace("T", " ")
    exif.get_ifd(0x8769).update({0x9003: local, 0x9011: "+00:00", 0x829A: 10.0})
    levels = np.clip((image.astype(np.float64) - 900.0) / 6.0, 0, 255).astype(np.uint8)
    Image.fromarray(levels).save(path, "JPEG", quality=95, exif=exif)
