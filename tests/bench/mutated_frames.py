"""Mutated frame files at size, as the program reads them: `python tests/bench/mutated_frames.py --inputs 500000`.

Every family and every method of tile compression; bytes flipped, cut, overwritten, left out, and header cards that
lie (structure of compressed images above all). What comes out must be a frame or a refusal; the helper may be given
up, the program may not wait, grow or die. Every twentieth frame that was read is measured as well. Prints a line
every 10,000 inputs: how many were read, refused and given up, the slowest, and the memory of both processes.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "fuzz"))
from test_damaged_frames import SOUND, damaged

from hostile_frames import compressed
from polewright.core.errors import FrameReadError
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.detector import Detector

METHODS = ("RICE_1", "GZIP_1", "GZIP_2", "HCOMPRESS_1", "NOCOMPRESS", "PLIO_1")
LIES = (
    b"-1",
    b"0",
    b"1",
    b"-5",
    b"2",
    b"3",
    b"7",
    b"8",
    b"64",
    b"999",
    b"65536",
    b"2147483647",
    b"-2147483648",
    b"1E30",
)
MEASURED_EVERY, TOLD_EVERY = 20, 10_000
PATIENCE_S = 40.0  # a helper that is given up takes its budget: 10 s of work, more on a busy machine


def lying(sound: bytes, rng: np.random.Generator) -> bytes:
    """One to three header cards with another value."""
    data = bytearray(sound)
    cards = [at for at in range(0, min(len(data), 20_000) - 80, 80) if data[at + 8 : at + 10] == b"= "]
    for at in rng.choice(cards, min(len(cards), int(rng.integers(1, 4)))) if cards else ():
        data[int(at) + 10 : int(at) + 30] = LIES[int(rng.integers(len(LIES)))].rjust(20)
    return bytes(data)


def sound_files() -> dict[str, bytes]:
    """One of each kind; compressed FITS, where the trouble was, six times."""
    files = {name: make() for name, make in SOUND.items()}
    return files | {f"{method.lower()}.fits.fz": compressed(method) for method in METHODS}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=500_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng, files, helper = np.random.default_rng(args.seed), sound_files(), HelperProcess()
    reader = ContainedReader(helper)
    detector, names = Detector(reader.find_stars), sorted(files)
    came: Counter[str] = Counter()
    slowest, begun, wrong = (0.0, ""), time.monotonic(), 0
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        for number in range(args.inputs):
            name = names[int(rng.integers(len(names)))]
            content = (lying if "fits" in name and rng.random() < 0.6 else damaged)(files[name], rng)
            path = Path(folder) / name
            path.write_bytes(content)
            start = time.monotonic()
            try:
                frame = reader.read(path)
                came["read"] += 1
                if came["read"] % MEASURED_EVERY == 0:
                    detector.detect(frame)
                    came["measured"] += 1
            except FrameReadError as error:
                given_up = "is not usable" in str(error)
                came[f"given up: {error.__cause__}" if given_up else "refused"] += 1
                if given_up:
                    keep(args.seed, number, name, content)
            except Exception as error:
                wrong += 1
                print(f"input {number}, {name}: {error!r}", flush=True)
                keep(args.seed, number, name, content)
            slowest = max(slowest, (time.monotonic() - start, f"{number} {name}"))
            if (number + 1) % TOLD_EVERY == 0 or number + 1 == args.inputs:
                tell(number + 1, came, slowest, time.monotonic() - begun)
    helper.close()
    return 1 if wrong or slowest[0] > PATIENCE_S else 0


def keep(seed: int, number: int, name: str, content: bytes) -> None:
    """Leave the file here, to be looked at."""
    Path(f"mutated-{seed}-{number}-{name}").write_bytes(content)


def tell(inputs: int, came: Counter[str], slowest: tuple[float, str], seconds: float) -> None:
    """One line so far."""
    own, helpers = (
        resource.getrusage(who).ru_maxrss / 1024.0 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    told = ", ".join(f"{what} {count}" for what, count in sorted(came.items()))
    print(
        f"{inputs} in {seconds:.0f} s: {told}; slowest {slowest[0]:.2f} s ({slowest[1]}); peak {own:.0f} MB here,"
        f" {helpers:.0f} MB in a helper",
        flush=True,
    )


if __name__ == "__main__":
    raise SystemExit(main())
