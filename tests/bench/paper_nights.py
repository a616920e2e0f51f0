"""Many nights on paper, printed as a distribution: python tests/bench/paper_nights.py --nights 300 --hand 0.2"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from paper_night import PaperNight, nights
from polewright.core.screws.angles import Screw


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hand", type=float, default=0.2)
    parser.add_argument("--reports", type=float, default=0.95)
    parser.add_argument("--told", action="store_true", help="turns are reported as told, not read off the screw head")
    parser.add_argument("--tolerance", type=float, default=30.0)
    parser.add_argument("--latitude", type=float, default=52.0)
    parser.add_argument("--known", action="store_true", help="the screws' rates are known from earlier nights")
    parser.add_argument("--lessons", action="store_true", help="the person asks for a lesson on each screw")
    args = parser.parse_args()
    settings = {
        "hand_error": args.hand,
        "reports": args.reports,
        "reading_error": None if args.told else 0.03,
        "tolerance_arcsec": args.tolerance,
        "latitude_deg": args.latitude,
        "known": args.known,
        "lessons": args.lessons,
    }
    report(list(nights(args.nights, args.seed, **settings)), args.tolerance)


def report(played: list[PaperNight], tolerance_arcsec: float) -> None:
    done = [n for n in played if n.state.proved]
    errors = np.array([n.error_arcsec() for n in done])
    print(f"{len(played)} nights, {len(done)} proved, {sum(n.false_done for n in played)} false done")
    for name, values in (
        ("start, deg", [n.start_arcsec / 3600.0 for n in played]),
        ("goes", [n.state.handling.goes for n in done]),
        ("turns", [n.state.handling.turns_made for n in done]),
        ("hand turns", [n.hand_turns for n in done]),
        ("minutes", [n.t / 60.0 for n in done]),
        ("final error, arcsec", list(errors)),
    ):
        print(f"{name:20}", *(f"{q}%: {np.percentile(values, q):8.2f}" for q in (5, 50, 90, 95, 100)))
    print(f"{'inside tolerance':20} {np.mean(errors <= tolerance_arcsec):.4f}")
    for screw in Screw:
        rates = [(n.state.rate(screw), n.true_screw(screw)) for n in done]
        off = [abs(r.arcmin_per_turn / s.rate - 1.0) for r, s in rates if r is not None]
        pulls = [(r.arcmin_per_turn - s.rate) / r.sigma_arcmin for r, s in rates if r is not None]
        back = [abs(r.backlash_turns / s.backlash - 1.0) for r, s in rates if r is not None]
        print(
            f"{screw.value:9} rate off: ",
            *(f"{q}%: {np.percentile(off, q):6.3f}" for q in (50, 68, 90, 95)),
            end="  ",
        )
        print(
            f"pull rms {np.sqrt(np.mean(np.square(pulls))):.2f}, within 2 sigma {np.mean(np.abs(pulls) < 2):.3f}",
            end="  ",
        )
        print("backlash off:", *(f"{q}%: {np.percentile(back, q):6.3f}" for q in (50, 95)), end="  ")
        print(f"rates within 5 % {np.mean(np.array(off) <= 0.05):.3f}", end=", ")
        print(f"backlash within 20 % {np.mean(np.array(back) <= 0.2):.3f}")
    for night in played:
        if not night.state.proved:
            print(
                "not proved: seed",
                night.seed,
                night.state.stage,
                f"{night.t:.0f} s, {night.error_arcsec():.0f} arcsec",
            )


if __name__ == "__main__":
    main()
