"""How many guided drifts claim an alignment: `python tests/bench/guided_claims.py [--nights 500] [--only WORD]`.

Every mount is guided and its axis lies 13' off, in any direction; a claim is an axis that by what is stated lies
within 3' with 95 %, larger than any tolerance a night asks for. Wander 0.2 to 1.5", fields of 120 to 400 s, one or
two, a frame every 3 to 10 s, periodic error of 3 to 15", both axes or declination alone; the field turns as it does
on such a mount. The person says nothing, or falsely that guiding is off. Then the declination is nudged by an
arcminute, and the guider takes that back at once, slowly, after its backlash, or loses its star and lets go.
Last, mounts that run free, aligned to 0.5', whose person says that guiding is off: how many are refused, limited to
what a guider would have left to see, or told in full; without and with a nudge. `inside`: of those that are told,
how many have the truth inside the stated 95 %.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from drift_nights import Nudging, guided_mount, mount_off, watched
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.drift.guarded import contradicts, guarded, guarded_covariance, may_be_held
from polewright.core.drift.live import DriftProof, DriftResult, guiding_refusal, measure
from polewright.core.drift.reading import stated_covariance
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.offset import Offset, probability_inside
from polewright.simulate.mount import MountSpec

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
CLAIM_RAD, SURE = 3.0 / ARCMIN_PER_RAD, 0.95
OFF_ARCMIN, ALIGNED_ARCMIN = 13.0, 0.5
NUDGES = {
    "taken back at once": Nudging(back_arcsec_s=4.0),
    "taken back slowly": Nudging(back_arcsec_s=0.5),
    "taken back after 30 s": Nudging(back_arcsec_s=2.0, wait_s=30.0),
    "the guider lets go": Nudging(lets_go=True),
}
INSIDE_95 = 5.991  # chi-square, two degrees of freedom
Draw = Callable[[np.random.Generator, np.ndarray], DriftProof]


def outcome(proof: DriftProof, truth_rad: np.ndarray, guiding_is_off: bool | None) -> tuple[str, bool]:
    """`refused`, `claimed`, `limited` (no claim, because it may be guided) or `open` (no claim, in full); whether the
    truth (2,) lies inside the stated 95 %."""
    found = measure(proof)
    if not isinstance(found, DriftResult) or guiding_refusal(found, guiding_is_off) is not None:
        return "refused", True
    limited = may_be_held(found)
    covariance = stated_covariance(proof, found, math.inf, FLEXURE_PRIOR)
    if limited:
        told = guarded(proof, found)
        if contradicts(told, found, covariance):
            return "refused", True
        covariance = guarded_covariance(told, found)
    offset = Offset(found.east_rad, found.up_rad, covariance, len(proof.samples))
    miss = np.array([found.east_rad, found.up_rad]) - truth_rad
    inside = bool(miss @ np.linalg.solve(np.array(covariance), miss) < INSIDE_95)
    if found.unknown is None and probability_inside(offset, CLAIM_RAD) >= SURE:
        return "claimed", inside
    return "limited" if limited else "open", inside


def drawn_offset(rng: np.random.Generator, off_arcmin: float) -> np.ndarray:
    toward = rng.uniform(0.0, 2.0 * np.pi)
    return off_arcmin * np.array([np.cos(toward), np.sin(toward)])


def mount(rng: np.random.Generator, offset: np.ndarray) -> MountSpec:
    return mount_off(
        50.0,
        *offset,
        periodic_error_arcsec=float(rng.uniform(3.0, 15.0)),
        periodic_error_s=float(rng.choice([240.0, 478.7, 638.0])),
    )


def guided_proof(rng: np.random.Generator, off: np.ndarray, both_axes: bool, nudge: Nudging | None) -> DriftProof:
    """The guider remembers 30 to 80 % of its last error; a nudge goes either way."""
    seconds, cadence_s, wander, memory = (
        float(rng.uniform(*ends)) for ends in ((120.0, 400.0), (3.0, 10.0), (0.2, 1.5), (0.3, 0.8))
    )
    fields = FIELDS[: int(rng.integers(1, 3))]
    if nudge is not None:
        nudge = replace(nudge, arcsec=float(rng.choice([-60.0, 60.0])))
    return guided_mount(mount(rng, off), 50.0, fields, seconds, cadence_s, 0.5, rng, wander, memory, both_axes, nudge)


def free_proof(rng: np.random.Generator, off: np.ndarray, least_s: float, nudge: Nudging | None) -> DriftProof:
    """Scatter of 0.3 to 1"."""
    fields = FIELDS[: int(rng.integers(1, 3))]
    seconds, cadence_s, noise = (float(rng.uniform(*ends)) for ends in ((least_s, 400.0), (3.0, 10.0), (0.3, 1.0)))
    return watched(mount(rng, off), 50.0, fields, seconds, cadence_s, noise, rng, nudge=nudge)


def series() -> dict[str, tuple[Draw, bool | None]]:
    """What is drawn and what the person says, by name."""
    found: dict[str, tuple[Draw, bool | None]] = {}
    for axes, both in (("both axes", True), ("declination", False)):
        for word, said in (("says nothing", None), ("says off", True)):
            found[f"guided in {axes}, {word}"] = partial(guided_proof, both_axes=both, nudge=None), said
        for fate, nudge in NUDGES.items():
            found[f"guided in {axes}, says off, nudge {fate}"] = (
                partial(guided_proof, both_axes=both, nudge=nudge),
                True,
            )
    for least_s in (120.0, 240.0):
        for word, press in (("", None), (", nudged", Nudging())):
            name = f"free, fields of {least_s:.0f} s and more, says off{word}"
            found[name] = partial(free_proof, least_s=least_s, nudge=press), True
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=500)
    parser.add_argument("--only", default="", metavar="WORD")
    args = parser.parse_args()
    for name, (draw, said) in series().items():
        if args.only not in name:
            continue
        rng = np.random.default_rng(13)
        seen = []
        for _ in range(args.nights):
            off = drawn_offset(rng, OFF_ARCMIN if name.startswith("guided") else ALIGNED_ARCMIN)
            seen.append(outcome(draw(rng, off), off / ARCMIN_PER_RAD, said))
        told = Counter(word for word, _ in seen)
        inside = [within for word, within in seen if word != "refused"]
        print(f"{name}: {dict(sorted(told.items()))}, inside {sum(inside)} of {len(inside)}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
