"""How many guided drifts claim an alignment: `python tests/bench/guided_claims.py [--nights 500]`.

Every mount is guided and its axis may be anywhere, 13' off say; a claim is an axis within 3', larger than any
tolerance a night asks for. Wander 0.2 to 1.5", fields of 120 to 400 s, one or two,
a frame every 3 to 10 s, both axes or declination alone.
Then mounts that run free, aligned to 0.5', whose person says that guiding is off: how many are refused.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from drift_nights import guided, mount_off, watched
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.drift.live import DriftProof, DriftResult, guiding_refusal, measure

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
CLAIM_ARCMIN = 3.0


def outcome(proof: DriftProof, guiding_is_off: bool | None) -> str:
    """`refused`, `aligned` or `elsewhere`."""
    found = measure(proof)
    if not isinstance(found, DriftResult) or guiding_refusal(found, guiding_is_off) is not None:
        return "refused"
    return "aligned" if math.hypot(found.east_rad, found.up_rad) * ARCMIN_PER_RAD < CLAIM_ARCMIN else "elsewhere"


def guided_proof(rng: np.random.Generator, declination_only: bool) -> DriftProof:
    """The wander is the sigma of what the guider leaves; it remembers 30 to 80 % of its last error."""
    memory, wander = float(rng.uniform(0.3, 0.8)), float(rng.uniform(0.2, 1.5))
    fields = FIELDS[: int(rng.integers(1, 3))]
    return guided(
        50.0,
        fields,
        float(rng.uniform(120.0, 400.0)),
        float(rng.uniform(3.0, 10.0)),
        0.5,
        rng,
        corrections_arcsec=wander * math.sqrt(1.0 - memory**2),
        memory=memory,
        periodic_error_arcsec=float(rng.uniform(3.0, 15.0)) if declination_only else None,
    )


def free_proof(rng: np.random.Generator, least_s: float = 120.0) -> DriftProof:
    """Periodic error of 3 to 15"."""
    spec = mount_off(
        50.0,
        0.35,
        0.35,
        periodic_error_arcsec=float(rng.uniform(3.0, 15.0)),
        periodic_error_s=float(rng.choice([240.0, 478.7, 638.0])),
    )
    fields = FIELDS[: int(rng.integers(1, 3))]
    seconds, cadence_s, noise = (float(rng.uniform(*ends)) for ends in ((least_s, 400.0), (3.0, 10.0), (0.3, 1.0)))
    return watched(spec, 50.0, fields, seconds, cadence_s, noise, rng)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=500)
    count = parser.parse_args().nights
    rng = np.random.default_rng(13)
    for name, only in (("both axes", False), ("declination alone", True)):
        proofs = [guided_proof(rng, only) for _ in range(count // 2)]
        for word, said in (("nothing", None), ("guiding off, falsely", True)):
            told = Counter(outcome(proof, said) for proof in proofs)
            print(f"guided in {name}, the person says {word}: {dict(told)}", flush=True)
    for least_s in (120.0, 240.0):
        told = Counter(outcome(free_proof(rng, least_s), True) for _ in range(count))
        print(f"free, fields of {least_s:.0f} s and more, the person says guiding off: {dict(told)}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
