"""Pictures that are no sky: `python tests/bench/no_sky.py FOLDER --cache DIR`; every solution is a false one.

Of each picture in the folder (any that are not of the sky: people, walls, pages, textures, test charts) are tried the
whole, its negative and four crops; and textures that the script makes itself. As the program does it, second looks
included, without a hint and with a stated scale. Prints the false ones, those that cost more than two seconds, and
the processor time of the refusals. `--part 2/5`: every fifth picture, beginning with the second.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from polewright.core.errors import FrameReadError
from polewright.core.model import Frame, PlateSolution
from polewright.services.catalogue import load_catalogue
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import FrameMeasurer, Optics
from polewright.services.second_looks import second_looks
from polewright.services.solver import Solver

OPTICS = (Optics(), Optics(50.0, 5.0), Optics(300.0, 5.0))
LIMIT_S = 2.0  # of processor time for a refusal


def textures(count: int, seed: int) -> Iterator[tuple[str, np.ndarray]]:
    """Dots, lattices, lines, clouds of blobs and their mixtures, (480, 640) uint16."""
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[0:480, 0:640]
    for k in range(count):
        image = 500.0 + 20.0 * rng.normal(size=(480, 640))
        kind = k % 5
        if kind == 0:  # dots at random, of one brightness
            image[rng.integers(4, 476, 80), rng.integers(4, 636, 80)] += 3000.0
        elif kind == 1:  # a lattice, slightly turned
            a = rng.uniform(0.0, 0.3)
            u, v = columns * np.cos(a) - rows * np.sin(a), columns * np.sin(a) + rows * np.cos(a)
            image += 2000.0 * ((u % 61.0 < 2.5) & (v % 47.0 < 2.5))
        elif kind == 2:  # crossing lines
            image += 800.0 * ((columns * rng.uniform(0.5, 2.0) + rows) % 53.0 < 2.0) * (rng.random((480, 640)) < 0.3)
        elif kind == 3:  # blobs that crowd together
            x, y = 320.0 + 90.0 * rng.normal(size=150), 240.0 + 70.0 * rng.normal(size=150)
            for a, b in zip(x, y):
                image += rng.uniform(200.0, 3000.0) * np.exp(-((columns - a) ** 2 + (rows - b) ** 2) / 4.0)
        else:  # coarse grain
            grain = rng.normal(size=(120, 160)).repeat(4, axis=0).repeat(4, axis=1)
            image += 300.0 * np.maximum(grain, 1.0)
        yield f"texture {k}", np.clip(image, 0, 65535).astype(np.uint16)


def pieces(name: str, pixels: np.ndarray, rng: np.random.Generator) -> Iterator[tuple[str, np.ndarray]]:
    """The picture, its negative, and four crops of half its size."""
    yield name, pixels
    yield f"{name}, negative", pixels.max() - pixels
    height, width = pixels.shape[0] // 2, pixels.shape[1] // 2
    for k in range(4):
        y, x = rng.integers(0, height + 1), rng.integers(0, width + 1)
        yield f"{name}, crop {k}", np.ascontiguousarray(pixels[y : y + height, x : x + width])


def pictures(folder: Path | None, made: int, seed: int) -> Iterator[tuple[str, np.ndarray]]:
    """All that is tried."""
    rng = np.random.default_rng(seed)
    yield from textures(made, seed)
    for path in sorted(folder.rglob("*")) if folder is not None else []:
        try:
            pixels = read_frame(path, utc_offset_hours=0.0).pixels
        except FrameReadError:
            continue
        if min(pixels.shape) >= 100:
            yield from pieces(path.name, pixels, rng)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--textures", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--part", default="1/1")
    parser.add_argument("--cache", type=Path, required=True)
    args = parser.parse_args()
    solver, tried, false, took = Solver(load_catalogue(), args.cache), 0, 0, []
    part, parts = map(int, args.part.split("/"))
    for k, (name, pixels) in enumerate(pictures(args.folder, args.textures, args.seed)):
        if k % parts != part - 1:
            continue
        optics = OPTICS[k % len(OPTICS)]
        measurer = FrameMeasurer(Detector(), solver, time.process_time, optics, look_again=second_looks)
        start = time.process_time()
        got = measurer.place(Frame(name, pixels, None)).outcome
        took.append(time.process_time() - start)
        tried += 1
        if took[-1] > LIMIT_S:
            print(f"{took[-1]:.2f} s {name} {pixels.shape}, {optics}", flush=True)
        if isinstance(got, PlateSolution):
            false += 1
            print(f"FALSE {name}: log odds {got.log_odds:.1f}, {len(got.matched)} matched, {got.path}", flush=True)
        if tried % 50 == 0:
            print(f"{tried} pictures, {false} false", flush=True)
    spent = np.array(took[3:])
    middle, most = np.percentile(spent, (50, 95))
    print(f"{tried} pictures, {false} false; median {middle:.2f} s, 95 % {most:.2f} s, longest {spent.max():.2f} s")


if __name__ == "__main__":
    main()
