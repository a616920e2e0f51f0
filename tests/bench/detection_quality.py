"""Prints how well detection measures: recall, purity, centroid errors and pulls on seeded synthetic frames.

    python tests/bench/detection_quality.py [pulls] [recall]

SNR is defined in tests/starfields.py. The pull is centroid error over stated error, both axes; the stars wander by
0.03 px, which is what the stated floor stands for.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import starfields as sf
from polewright.services.detector import Detector

FWHM = (1.2, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
SNR = (8, 10, 20, 50, 150, 500)


def pulls(fields: int = 4) -> None:
    """rms pull (and centroid rms, px) per FWHM and SNR; ten bright stars in each frame teach the width."""
    detector = Detector()
    print("pull rms (centroid rms px / stated px; FWHM found / true)")
    print("FWHM   " + "".join(f"{'SNR ' + str(s):>30}" for s in SNR))
    for fwhm in FWHM:
        cells = []
        for snr in SNR:
            pull, error, stated, width = [], [], [], []
            for seed in range(fields):
                field = sf.star_field(
                    seed * 1000 + int(fwhm * 10) + snr, 80, fwhm_px=fwhm, snr=snr, shape=(960, 1280), wander_px=0.03
                )
                for x, y in zip(*sf.places(field.rng, 12, (960, 1280), 90.0)):
                    sf.add_star(field.image, x, y, float(sf.flux_of(100.0, fwhm, 20.0)), fwhm / sf.FWHM_PER_SIGMA)
                stars = detector.detect(field.frame())
                m = sf.matched(field, stars)
                if m.truth.size == 0:
                    continue
                sigma = stars.sigma_px[m.found]
                pull += [m.dx_px / sigma, m.dy_px / sigma]
                error += [m.dx_px, m.dy_px]
                stated.append(sigma)
                width.append(stars.fwhm_px[m.found])
            if not pull:
                cells.append("none found")
                continue
            p, e = np.concatenate(pull), np.concatenate(error)
            s = np.sqrt(np.mean(np.concatenate(stated) ** 2))
            ratio = np.median(np.concatenate(width)) / fwhm
            cells.append(f"{np.sqrt(np.mean(p**2)):9.2f} ({np.sqrt(np.mean(e**2)):.3f}/{s:.3f}; {ratio:.2f})")
        print(f"{fwhm:5.1f}  " + "".join(f"{c:>30}" for c in cells), flush=True)


def recall(fields: int = 6) -> None:
    """Recall in bins of SNR and false stars per frame, few stars (careful pass) and many (quick pass)."""
    detector = Detector()
    bins = [(4.5, 5.5), (7, 9), (9, 11), (18, 22)]
    for label, count in (("careful pass, 24 stars", 24), ("quick pass, 150 stars", 150)):
        print(f"recall, {label}: per FWHM, SNR about 5, 8, 10, 20; centroid rms at SNR 20; false stars a frame")
        for fwhm in (1.5, 2.0, 3.0, 4.0, 6.0):
            seen = {b: [0, 0] for b in bins}
            errors, false = [], 0
            frames = fields * (4 if count < 50 else 1)
            for seed in range(frames):
                field = sf.star_field(
                    7000 + seed, count, fwhm_px=fwhm, snr=(4.5, 60.0), shape=(960, 1280), apart_px=6.0 * fwhm
                )
                stars = detector.detect(field.frame())
                m = sf.matched(field, stars)
                false += m.false.size
                found = np.zeros(field.x_px.size, dtype=bool)
                found[m.truth] = True
                for b in bins:
                    inside = (field.snr >= b[0]) & (field.snr < b[1])
                    seen[b][0] += int(found[inside].sum())
                    seen[b][1] += int(inside.sum())
                twenty = (field.snr[m.truth] >= 18) & (field.snr[m.truth] < 22)
                errors += [m.dx_px[twenty], m.dy_px[twenty]]
            rms = np.sqrt(np.mean(np.concatenate(errors) ** 2))
            rates = "  ".join(f"{a / max(n, 1):.2f}" for a, n in seen.values())
            print(f"  {fwhm:4.1f} px   {rates}   {rms:.3f} px   {false / frames:.2f}", flush=True)


def main() -> None:
    """Print the tables named on the command line, or all."""
    wanted = sys.argv[1:] or ["pulls", "recall"]
    for name in wanted:
        {"pulls": pulls, "recall": recall}[name]()


if __name__ == "__main__":
    main()
