"""Frames placed by the stars of a neighbour: `python tests/bench/neighbour_frames.py [--pairs N] [--strangers N]`.

Pairs of frames of one field of 0.35 degrees, seven of whose stars a catalogue knows (tests/neighbouring_fields.py):
how many are placed, how many wrongly (must be 0), the errors in stated sigmas along x, y and in roll (should be 1),
the processor time; then frames that are none of its neighbours, every one of which must be refused.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from neighbouring_fields import Sky, SkyRecipe, error_in_sigmas, off_px
from polewright.core.matching.neighbour import neighbour_of, placed_by

CASES = {
    "moved 20 px": (SkyRecipe(), 20.0, 0.0),
    "guided, not moved": (SkyRecipe(known=9), 0.0, 0.0),
    "moved half a pixel, 60 hot pixels": (SkyRecipe(known=9, hot=60), 0.5, 0.0),
    "moved 300 px, turned 30 degrees": (SkyRecipe(), 300.0, 0.52),
    "moved half a field": (SkyRecipe(), 640.0, 0.0),
    "60 strays": (SkyRecipe(strays=60), 20.0, 0.0),
    "4 stars that no catalogue knows": (SkyRecipe(known=6, unknown=4, strays=5, hot=5), 20.0, 0.0),
}
STRANGERS = {
    "another field": SkyRecipe(hot=0),
    "another field, 150 strays": SkyRecipe(hot=0, strays=150),
    "noise alone": SkyRecipe(known=0, unknown=0, strays=80, hot=0),
    "hot pixels alone": SkyRecipe(hot=60),
    "three stars between clouds": SkyRecipe(hot=30),
}


def pairs(name: str, count: int) -> None:
    """One row of the first table."""
    recipe, move, turn = CASES[name]
    rng = np.random.default_rng(len(name))
    pulls, spent, wrong, tried = [], [], 0, 0
    while tried < count:
        sky = Sky(recipe, rng)
        first = sky.solved()
        if first is None:
            continue
        tried += 1
        there = sky.moved(move, turn)
        seen = sky.seen(there)[0]
        start = time.process_time()
        got = placed_by(neighbour_of(*first), seen)
        spent.append(time.process_time() - start)
        if got is not None:
            wrong += off_px(got, there) > 3.0
            pulls.append(error_in_sigmas(got, there))
    x, y, roll = np.sqrt(np.mean(np.square(pulls), axis=0))
    print(
        f"| {name} | {tried} | {len(pulls)} | {wrong} | {x:.2f} {y:.2f} {roll:.2f}"
        f" | {1e3 * np.median(spent):.1f} / {1e3 * max(spent):.1f} |",
        flush=True,
    )


def strangers(name: str, count: int) -> None:
    """One row of the second table."""
    rng = np.random.default_rng(len(name))
    placed = tried = 0
    while tried < count:
        sky = Sky(STRANGERS[name] if STRANGERS[name].known else SkyRecipe(), rng)
        first = sky.solved()
        if first is None:
            continue
        tried += 1
        if "alone" in name and "hot" in name:
            seen = sky.seen(sky.attitude, most_stars=0)[0]
        elif "three" in name:
            seen = sky.seen(sky.moved(15.0), most_stars=3)[0]
        else:
            other = Sky(STRANGERS[name], rng)
            seen = other.seen(other.attitude)[0]
        placed += placed_by(neighbour_of(*first), seen) is not None
    print(f"| {name} | {tried} | {placed} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--strangers", type=int, default=300)
    args = parser.parse_args()
    print("| pairs | N | placed | wrong | errors in sigmas: x, y, roll | median / longest, ms |")
    print("|---|---|---|---|---|---|")
    for name in CASES:
        pairs(name, args.pairs)
    print("| none of its neighbours | N | placed |\n|---|---|---|")
    for name in STRANGERS:
        strangers(name, args.strangers)


if __name__ == "__main__":
    main()
