"""Which frame of a capture does not fit, and what probably happened: chi-square, then one mishap at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.axis.fit import AxisFit, chi2_survival, fit_axis
from polewright.core.axis.mishaps import BoolArray, Explanation, explain, places_of, possible_mishaps, repeated_slips
from polewright.core.axis.nuisances import PLACE_RAD
from polewright.core.axis_reasons import AxisDoubt, FramesDisagree, Mishap, MishapFound
from polewright.core.model import FloatArray

WIDEN_BELOW = 0.01  # probability of the chi-square below which it is widened until the frames agree
ACCUSE_BELOW = 1e-5  # and below which something has happened, whose culprit is looked for
_ACCEPT_ABOVE = 0.01  # probability that an explanation must leave
_CLEARLY_BETTER = 8.0  # in chi-square, over the best explanation of another kind or frame
_WORTH_NAMING_RAD = 0.4 / ARCMIN_PER_RAD  # smaller than this is flexure, not a mishap


@dataclass(frozen=True, eq=False)
class Verdict:
    """The fit to believe: `attitudes` (M, 3, 3) that rest on one axis and one camera, those of the present.

    `covariances` (M, 3, 3) include `scatter_rad`, what had to be added to make the frames agree. `kept` (N,) tells
    which of the frames are in it. `chi2` and `dof` test all frames against their own noise, before anything is
    allowed for.
    """

    fit: AxisFit
    attitudes: FloatArray
    covariances: FloatArray
    kept: BoolArray
    chi2: float
    dof: int
    scatter_rad: float = 0.0
    suspect: str | None = None
    warnings: tuple[AxisDoubt, ...] = ()


def judge(
    names: Sequence[str], attitudes: FloatArray, covariances: FloatArray, pole: FloatArray, apart: bool = False
) -> Verdict:
    """Fit N >= 2 attitudes (N, 3, 3); test them; where one mishap clearly explains the misfit, undo it and say so.

    A little misfit widens the covariance. Much of it without a clear explanation becomes scatter: a rotation
    error equal in all three axes, as bending and slipping make it, as large as it takes. That widens the covariance
    and draws the fit toward the unweighted one, which is the robust one. `apart`: the clutch may slip between any two
    frames, even those of one place, as older records were judged.
    """
    fit = fit_axis(attitudes, covariances, pole)
    kept = np.ones(len(names), dtype=bool)
    probability = chi2_survival(fit.chi2, fit.dof)
    if probability >= WIDEN_BELOW:
        return Verdict(fit, attitudes, covariances, kept, fit.chi2, fit.dof)
    places = tuple(range(len(names))) if apart else places_of(attitudes)
    at_ease = None if apart else _as_bearings_are(attitudes, covariances, places, pole)
    if at_ease is not None and chi2_survival(at_ease.fit.chi2, at_ease.fit.dof) >= WIDEN_BELOW:
        return replace(at_ease, chi2=fit.chi2, dof=fit.dof)
    if probability >= ACCUSE_BELOW:
        excess = fit.chi2 / fit.dof
        wider = replace(fit, covariance=fit.covariance * excess)
        return Verdict(wider, attitudes, covariances * excess, kept, fit.chi2, fit.dof)
    plain = _with_scatter(Verdict(fit, attitudes, covariances, kept, fit.chi2, fit.dof), pole)
    plain = _wary_of_slips(plain, explain(repeated_slips(places), attitudes, covariances, pole))
    found = [explain(item, attitudes, covariances, pole) for item in possible_mishaps(places)]
    ranked = sorted((e for e in found if e is not None), key=lambda e: e.score)
    return _ruling(names, plain, ranked)


def _as_bearings_are(
    attitudes: FloatArray, covariances: FloatArray, places: Sequence[int], pole: FloatArray
) -> Verdict:
    """The fit when every place is off by what bearings and hands leave (core/axis/nuisances.py), its frames together:
    a tenth of an arcsecond, as the stars tell, is no measure for whether a mount has slipped."""
    shared = np.bincount(places)[list(places)] * PLACE_RAD**2
    wider = covariances + shared[:, None, None] * np.eye(3)
    fit = fit_axis(attitudes, wider, pole)
    return Verdict(fit, attitudes, wider, np.ones(len(attitudes), dtype=bool), fit.chi2, fit.dof)


def _with_scatter(verdict: Verdict, pole: FloatArray) -> Verdict:
    """The same frames with the least common scatter that brings chi-square down to its degrees of freedom."""
    low, high = 1e-7, 0.2
    for _ in range(26):
        middle = float(np.sqrt(low * high))
        trial = fit_axis(verdict.attitudes, verdict.covariances + middle**2 * np.eye(3), pole)
        low, high = (middle, high) if trial.chi2 > trial.dof else (low, middle)
    covariances = verdict.covariances + high**2 * np.eye(3)
    fit = fit_axis(verdict.attitudes, covariances, pole)
    return replace(verdict, fit=fit, covariances=covariances, scatter_rad=high)


def _wary_of_slips(plain: Verdict, free: Explanation | None) -> Verdict:
    """The covariance widened by how far the axis moves when the declination is left free on every frame.

    A clutch that slips a little with every rotation looks very much like another axis, and leaves small residuals.
    """
    if free is None or free.probability < _ACCEPT_ABOVE:  # frames of one place that differ have not slipped
        return plain
    shift = plain.fit.enu_basis.T @ (free.fit.axis_enu - plain.fit.axis_enu)
    covariance = plain.fit.covariance.copy()
    covariance[:2, :2] += np.outer(shift, shift)
    return replace(plain, fit=replace(plain.fit, covariance=covariance))


def _ruling(names: Sequence[str], plain: Verdict, ranked: Sequence[Explanation]) -> Verdict:
    """The verdict once every mishap has been tried, best first; `plain` is the one that allows for none."""
    best = next((e for e in ranked if e.fit.dof > 0 and e.probability > _ACCEPT_ABOVE), None)
    if best is None or (best.suspicion.mishap is not Mishap.ODD and abs(best.size_rad) < _WORTH_NAMING_RAD):
        return _unexplained(plain)
    rivals = [
        e
        for e in ranked
        if e is not best
        and e.suspicion.mishap is not Mishap.SLIPS  # any single slip is a case of it
        and e.score < best.score + _CLEARLY_BETTER
        and e.probability > 1e-4
    ]
    if not all(_same_culprit(e, best) for e in rivals):
        return _unexplained(plain)
    agreed = min([best, *rivals], key=_plausibility)
    clock = _clock_trouble(agreed, ranked, plain.chi2)
    name = names[0] if _touched(agreed) == {0} else names[agreed.suspicion.index]
    if clock is not None:
        return replace(plain, suspect=name, warnings=(_found(clock, name, len(names), undone=False),))
    accused = None if agreed.suspicion.mishap is Mishap.SLIPS else name
    return replace(
        plain,
        fit=agreed.fit,
        attitudes=agreed.attitudes,
        covariances=agreed.covariances,
        kept=agreed.kept,
        scatter_rad=0.0,
        suspect=accused,
        warnings=(_found(agreed, name, len(names)),),
    )


def _touched(explanation: Explanation) -> set[int]:
    return set(np.flatnonzero(explanation.suspicion.touched(explanation.kept.size)).tolist())


def _same_culprit(a: Explanation, b: Explanation) -> bool:
    """Whether two explanations part the frames in the same way: before and after, or one and the others."""
    touched = _touched(b)
    return _touched(a) in (touched, set(range(b.kept.size)) - touched)


def _plausibility(explanation: Explanation) -> tuple[bool, int, float]:
    """Smaller is likelier: a time that is wrong by no round amount comes last, then fewest unknowns, then the fit."""
    suspicion = explanation.suspicion
    odd_time = suspicion.mishap is Mishap.TIME and not _round_time(explanation.size_rad)
    return odd_time, suspicion.unknowns, explanation.score


def _clock_trouble(agreed: Explanation, ranked: Sequence[Explanation], chi2: float) -> Explanation | None:
    """A clock or time zone that was changed during the capture; which of the times are right is not known then.

    It looks like a moved mount, but for whole hours; refraction changes with time too, so the fit is not perfect.
    """
    if agreed.suspicion.mishap is Mishap.TIME and agreed.suspicion.stays:
        return agreed
    for other in ranked if agreed.suspicion.mishap is Mishap.KICK else ():
        zone = other.suspicion.mishap is Mishap.TIME and other.suspicion.stays and _round_time(other.size_rad)
        if zone and other.fit.chi2 < 0.02 * chi2 and _same_culprit(other, agreed):
            return other
    return None


def _round_time(size_rad: float) -> bool:
    """Whether the sky's turn by this angle takes a whole number of hours, as time zones do."""
    hours = abs(size_rad) / SIDEREAL_RATE_RAD_S / 3600.0
    return bool(hours > 0.9 and abs(hours - round(hours)) < 0.03)


def _unexplained(plain: Verdict) -> Verdict:
    """No single mishap fits, or several do."""
    disagree = FramesDisagree(plain.chi2, plain.dof, plain.scatter_rad, len(plain.attitudes))
    return replace(plain, warnings=(disagree,))


def _found(explanation: Explanation, name: str, count: int, undone: bool = True) -> MishapFound:
    """What probably happened to a capture of `count` frames, and how much of it."""
    what = explanation.suspicion
    return MishapFound(what.mishap, name, abs(explanation.size_rad), what.index, count, what.stays, undone)
