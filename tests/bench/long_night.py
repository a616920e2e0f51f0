"""Eight hours at a frame a second, compressed: `python tests/bench/long_night.py [--hours 8] [--existing 1200]`.

Prints memory, handles, threads and the processor time of a poll and of the engine's share of a frame as the night
goes on, then how long its history takes to open. See tests/endurance.py.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from endurance import Sample, endure
from polewright.runtime.course import Course
from polewright.runtime.retrace import retrace_to_the_end
from polewright.services.catalogue import load_catalogue
from polewright.services.night_log import read_night


def tell(s: Sample) -> None:
    """One line of the table."""
    print(
        f"{s.at_s / 3600.0:6.2f} h {s.frames:6d} frames {s.memory_mb:7.1f} MB {s.handles:4d} handles {s.threads:3d}"
        f" threads, a poll {s.poll_ms:6.2f} ms, the engine {s.engine_ms:6.2f} ms a frame",
        flush=True,
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--existing", type=int, default=1200, help="files in the folder before the night")
    parser.add_argument(
        "--poll-every", type=int, default=5, help="seconds between polls: huge folders are polled less"
    )
    args = parser.parse_args()
    catalogue = load_catalogue()  # a night holds it in memory
    with tempfile.TemporaryDirectory() as folder:
        seconds = int(args.hours * 3600)
        found = endure(Path(folder), seconds, max(seconds // 16, 1), args.existing, args.poll_every, tell)
        print(
            f"{found.frames_arrived} frames arrived, {found.faults} faults, stage {found.stage.value}, memory"
            f" {100.0 * found.memory_growth():+.1f} % after the first quarter, log {found.log_bytes / 1e6:.1f} MB,"
            f" {found.frames_recorded} lines"
        )
        begun = time.process_time()
        log = read_night(Path(folder) / "night")
        opened = time.process_time()
        retrace_to_the_end(Course(), log)
        print(f"history opened in {opened - begun:.2f} s, retraced in {time.process_time() - opened:.2f} s")
    assert catalogue.magnitude.size > 0
    return 0 if found.frames_arrived == seconds and found.faults == 0 else 1


if __name__ == "__main__":
    raise SystemExit(main())
