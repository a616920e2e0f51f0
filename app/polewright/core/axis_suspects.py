"""Which frame of a capture does not fit, and what probably happened: chi-square, then one mishap at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.axis_fit import AxisFit, chi2_survival, fit_axis
from polewright.core.axis_mishaps import BoolArray, Explanation, Mishap, explain, possible_mishaps
from polewright.core.model import FloatArray

INFLATE_BELOW = 0.01  # probability of the chi-square below which the covariance is widened by it
ACCUSE_BELOW = 1e-3  # and below which a culprit is looked for
_ACCEPT_ABOVE = 0.01  # probability that an explanation must leave
_CLEARLY_BETTER = 8.0  # in chi-square, over the best explanation of another kind or frame
_WORTH_NAMING_RAD = 0.4 / ARCMIN_PER_RAD  # smaller than this is flexure, not a mishap


@dataclass(frozen=True, eq=False)
class Verdict:
    """The fit to believe: `attitudes` (M, 3, 3) that rest on one axis and one camera, those of the present.

    `widened` is the factor (>= 1) that its covariance has been multiplied with. `kept` (N,) are the frames in it.
    """

    fit: AxisFit
    attitudes: FloatArray
    covariances: FloatArray
    kept: BoolArray
    widened: float
    suspect: str | None
    warnings: tuple[str, ...]


def judge(names: Sequence[str], attitudes: FloatArray, covariances: FloatArray, pole: FloatArray) -> Verdict:
    """Fit N >= 2 attitudes (N, 3, 3); test them; where one mishap clearly explains the misfit, undo it and say so."""
    fit = fit_axis(attitudes, covariances, pole)
    probability = chi2_survival(fit.chi2, fit.dof)
    everything = np.ones(len(names), dtype=bool)
    if probability >= INFLATE_BELOW:
        return Verdict(fit, attitudes, covariances, everything, 1.0, None, ())
    widened = fit.chi2 / fit.dof
    if probability >= ACCUSE_BELOW:
        return Verdict(fit, attitudes, covariances, everything, widened, None, ())
    found = [explain(item, attitudes, covariances, pole) for item in possible_mishaps(len(names))]
    ranked = sorted((e for e in found if e is not None), key=lambda e: e.score)
    return _ruling(names, Verdict(fit, attitudes, covariances, everything, widened, None, ()), ranked)


def _ruling(names: Sequence[str], plain: Verdict, ranked: Sequence[Explanation]) -> Verdict:
    """The verdict once every mishap has been tried, best first."""
    best = next((e for e in ranked if e.fit.dof > 0 and e.probability > _ACCEPT_ABOVE), None)
    if best is None or (best.suspicion.mishap is not Mishap.ODD and abs(best.size_rad) < _WORTH_NAMING_RAD):
        return _unexplained(plain)
    rivals = [e for e in ranked if e is not best and e.score < best.score + _CLEARLY_BETTER and e.probability > 1e-4]
    if any(not _same_culprit(e, best) for e in rivals):
        return _unexplained(plain)
    name = names[best.suspicion.index]
    agreed = _most_specific([best, *rivals])
    text = _sentence(agreed, name, names)
    widened = max(1.0, best.fit.chi2 / best.fit.dof) if best.probability < INFLATE_BELOW else 1.0
    return Verdict(best.fit, best.attitudes, best.covariances, best.kept, widened, name, (text,))


def _same_culprit(a: Explanation, b: Explanation) -> bool:
    """Whether two explanations blame the same frame. One that stays from the last frame on is that frame's own."""
    return a.suspicion.index == b.suspicion.index


def _most_specific(explanations: Sequence[Explanation]) -> Explanation:
    """Of those that blame the same frame, the one that says most: fewest unknowns, then the best fit."""
    return min(explanations, key=lambda e: (e.suspicion.unknowns, e.score))


def _unexplained(plain: Verdict) -> Verdict:
    """No single mishap fits, or several do."""
    chi2, dof = plain.fit.chi2, plain.fit.dof
    more = " Take one or two more frames: with them the culprit can be named." if len(plain.attitudes) < 5 else ""
    text = (
        f"The frames disagree by {np.sqrt(chi2 / dof):.1f} times their noise (chi-square {chi2:.0f} for {dof}): the"
        " declination slipped, the tripod moved, a time is wrong, or the tube bends. The uncertainty has been widened"
        f" to cover it.{more}"
    )
    return Verdict(
        plain.fit, plain.attitudes, plain.covariances, plain.kept, plain.widened, None, (*plain.warnings, text)
    )


def _sentence(explanation: Explanation, name: str, names: Sequence[str]) -> str:
    """What probably happened, how much, and what has been done about it."""
    suspicion = explanation.suspicion
    amount = f"{abs(explanation.size_rad) * ARCMIN_PER_RAD:.1f}'"
    if suspicion.mishap is Mishap.SLIP and suspicion.stays:
        return (
            f"The declination slipped by about {amount} before {name}; it has been allowed for. Tighten the"
            " declination clutch and take the capture again to be sure."
        )
    if suspicion.mishap is Mishap.SLIP:
        return (
            f"{name} does not fit: its declination is off by about {amount} (a slipping clutch, a touched tube). It"
            " has been allowed for. Take this frame again."
        )
    if suspicion.mishap is Mishap.KICK:
        return (
            f"The mount itself moved by about {amount} before {name} (a kicked or sinking tripod, a screw). The axis"
            " shown is the one after it. Let the tripod settle and take the capture again."
        )
    if suspicion.mishap is Mishap.TIME:
        seconds = abs(explanation.size_rad) / SIDEREAL_RATE_RAD_S
        which = f"from {name} on" if suspicion.stays else f"of {name}"
        return (
            f"The time {which} seems wrong by about {_duration(seconds)} against the other frames; it has been"
            " allowed for. Check the clock and the time zone of the camera software."
        )
    return (
        f"{name} does not fit the other {len(names) - 1} frames and was left out (declination slip, kicked tripod,"
        " wind or a wrong time). Take this frame again."
    )


def _duration(seconds: float) -> str:
    return f"{seconds / 60.0:.0f} min" if seconds >= 120.0 else f"{seconds:.0f} s"
