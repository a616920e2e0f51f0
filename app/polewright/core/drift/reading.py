"""Drift watched in the night, as plain frozen values: the frames' places, and what they say so far."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.drift.guarded import Guarded, believed, contradicts, guarded, may_be_held
from polewright.core.drift.hidden import hidden_from_frames, wandering, whole_covariance, without_taught
from polewright.core.drift.live import DriftProof, DriftResult, DriftSample, guiding_refusal, measure
from polewright.core.drift.nudge import Nudge
from polewright.core.drift.reasons import DriftDoubt, DriftRefusal, Guided, Sign, Unknown
from polewright.core.drift.remaining import cadence_s, remaining
from polewright.core.drift.stillness import FIELD_S
from polewright.core.flexure import Flexure
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.offset import WORTH_SHARE, Covariance, covariance_of
from polewright.core.sky.places import hemisphere_sign

Side = Literal["east", "west"]
DRIFT_SHARE = 1.0 / 3.0  # of the tolerance: a drift this sure, in all, has a say
FINEST_RAD = 3.0 / ARCSEC_PER_RAD  # air and flexure: nobody is asked to watch for more
CREEP_RAD_S = 2.0 / ARCSEC_PER_RAD / 3600.0  # a base on firm ground; 1"/h of it fakes 3.8" of axis error
# soil gives way under a leg for hours: each way; chosen, half of what a tripod does that was just set down
SOIL_RAD_S = 0.2 / ARCSEC_PER_RAD / 60.0
SETTLING_RAD_S, SETTLING_S = 4.0 / ARCSEC_PER_RAD / 600.0, 600.0  # a tripod just set down; common practice, no source
CLEARLY = 1.05  # times what is wanted: less is told as the same number (chosen)
CREEP_SHARE = math.sqrt(WORTH_SHARE**2 - DRIFT_SHARE**2)  # of the tolerance: what creep may add to the scatter
LEAST_FRAMES, LEAST_S = 10, 40.0  # of a field: a scatter known from fewer may look too small
EVENLY_RAD_S = 1e-9  # of fields that are equally sure, whatever their number (chosen)
# declination beyond which east and west of the meridian lose their meaning (chosen)
NEAR_POLE_RAD = math.radians(80.0)


@dataclass(frozen=True)
class DriftField:
    """What one field shows: where (hour angle west positive, declination toward the elevated pole), how much of it,
    and how fast the stars move toward the elevated pole for the axis found; sigma from this field alone."""

    hour_angle_rad: float
    dec_p_rad: float
    frames: int
    seconds: float
    dec_drift_rad_s: float
    sigma_rad_s: float


@dataclass(frozen=True)
class DriftReading:
    """The axis against the target pole by drift, from the first `samples` frames: the plain part of a DriftResult.

    `here_s`, `there_s`: how much longer to watch this field, then another one, for the certainty wanted; `component`
    is what the other one is to tell. `held`: it was guided, by `sign`; such a drift proves nothing. `nudge`: what
    became of one. `free_rad2`: the covariance if nothing guided, where a guider may have held the declination and
    the covariance allows for that; else None. `stars_rad2`: by the scatter of the frames alone.
    """

    samples: int
    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    noise_rad: float
    drive_wave_rad: float
    cadence_s: float
    fields: tuple[DriftField, ...]
    here_s: float = 0.0
    there_s: float = 0.0
    component: str = ""
    unknown: Unknown | None = None
    warnings: tuple[DriftDoubt, ...] = ()
    disturbed: bool = False
    held: bool = False
    sign: Sign | None = None
    nudge: Nudge | None = None
    free_rad2: Covariance | None = None
    stars_rad2: Covariance | None = None

    @property
    def sigma_rad(self) -> float:
        """Total sigma: root of the trace."""
        return math.sqrt(max(self.covariance_rad2[0][0] + self.covariance_rad2[1][1], 0.0))

    @property
    def known(self) -> bool:
        """Both components are known, however roughly, and nothing disturbed the mount."""
        return self.unknown is None and not self.disturbed and bool(self.fields)

    @property
    def open(self) -> bool:
        """The declination may have been guided, and a nudge would tell."""
        return self.free_rad2 is not None

    @property
    def complete(self) -> bool:
        """Known as surely as wanted, if nothing guides: by the field that is watched and another one. What a nudge
        leaves of a field before it may stay too short for ever."""
        long = [f.frames >= LEAST_FRAMES and f.seconds >= LEAST_S for f in self.fields]
        enough = long[-1:] != [False] and sum(long) >= min(2, len(long))
        return self.known and enough and self.here_s + self.there_s <= 0.0


def wanted_rad(tolerance_rad: float) -> float:
    """How sure each component is to become, for a tolerance."""
    return max(DRIFT_SHARE * tolerance_rad / math.sqrt(2.0), FINEST_RAD)


def read_drift(
    samples: Sequence[DriftSample],
    site: Site,
    air: Atmosphere,
    target: TargetPole,
    wanted: float,
    rested_s: float,
    flexure: Flexure | None = None,
    nudged: bool = False,
) -> DriftReading | DriftRefusal:
    """What the frames say, and how much longer to watch until each component is known to `wanted` rad.

    A base that creeps moves stars as a wrong axis does, and no frame tells the two apart: the covariance grows by
    what a tripod may do that has stood for `rested_s`. The time left counts what the frames show.
    Without `flexure` (records of before) it knows neither slow wander nor tube nor air nor the turning of the field,
    and asks for no field of four minutes; with it a field lasts until it can show that nothing guides, and what does
    not show it then is held.
    """
    seen = samples if flexure is not None else [replace(sample, camera_x_enu=None) for sample in samples]
    proof = DriftProof(site, air, target, tuple(seen), nudged=nudged)
    result = measure(proof)
    if not isinstance(result, DriftResult):
        return result
    told = _told(proof, result, flexure)
    left = remaining(replace(proof, result=told), told, wanted)
    untold_s = 0.0 if flexure is None else _untold_s(result)
    stated = replace(told, covariance_rad2=_stated(proof, told, rested_s, flexure))
    rest = guarded(proof, result) if flexure is not None and may_be_held(result) else None
    sign = None if flexure is None else _sign(result, rest, stated.covariance_rad2)
    return DriftReading(
        samples=len(samples),
        east_rad=float(told.east_rad),
        up_rad=float(told.up_rad),
        covariance_rad2=believed(stated, rest, told.covariance_rad2).covariance_rad2,
        noise_rad=float(result.noise_rad),
        drive_wave_rad=float(result.drive_wave_rad),
        cadence_s=cadence_s(proof),
        fields=_fields(result),
        here_s=max(float(left.here_s), untold_s),
        there_s=float(left.there_s),
        component=left.component,
        unknown=result.unknown,
        warnings=result.warnings,
        disturbed=result.disturbed,
        held=sign is not None or (flexure is None and result.held),
        sign=sign,
        nudge=result.nudge,
        free_rad2=None if rest is None else stated.covariance_rad2,
        stars_rad2=None if flexure is None else told.covariance_rad2,
    )


def _untold_s(result: DriftResult) -> float:
    """How much longer the present field lasts until it can show whether anything guides."""
    if result.nudge is Nudge.TOO_EARLY:
        return result.nudge_left_s
    return 0.0 if result.runs or not may_be_held(result) else max(FIELD_S - result.positions[-1].seconds, 0.0)


def _sign(result: DriftResult, rest: Guarded | None, stated: Covariance) -> Sign | None:
    """What shows that something guides; the frames are believed over the person, who has said that nothing does."""
    why = guiding_refusal(result, guiding_is_off=True)
    if isinstance(why, Guided):
        return why.sign
    return Sign.TURNS if rest is not None and contradicts(rest, result, stated) else None


def stated_covariance(proof: DriftProof, result: DriftResult, rested_s: float, flexure: Flexure | None) -> Covariance:
    """All that the axis of a drift is doubted by: what its frames show and what they hide."""
    return _stated(proof, _told(proof, result, flexure), rested_s, flexure)


def hidden_at_best(
    site: Site,
    air: Atmosphere,
    target: TargetPole,
    flexure: Flexure,
    rested_s: float,
    places: tuple[tuple[float, float], ...],
) -> Covariance:
    """Covariance (2, 2), rad^2, of (east, up) that is left when these fields (hour angle, declination toward the
    elevated pole, rad) have been watched for ever: base, tube and air."""
    fields = [DriftField(hour, dec, 0, 0.0, 0.0, EVENLY_RAD_S) for hour, dec in places]
    faked = covariance_of(hidden_from_frames(DriftProof(site, air, target), fields, flexure))
    return _with_creep(faked, creep_rad_s(rested_s), _north(site))


def _told(proof: DriftProof, result: DriftResult, flexure: Flexure | None) -> DriftResult:
    return result if flexure is None else without_taught(proof, wandering(result), flexure)


def _stated(proof: DriftProof, told: DriftResult, rested_s: float, flexure: Flexure | None) -> Covariance:
    if flexure is None:
        return _with_creep(told.covariance_rad2, creep_rad_s(rested_s, CREEP_RAD_S), 1.0)
    return _with_creep(whole_covariance(proof, told, flexure), creep_rad_s(rested_s), _north(proof.site))


def creep_rad_s(rested_s: float, lasting_rad_s: float = SOIL_RAD_S) -> float:
    """How fast, each way, a base may lean that has stood for so long; for ever (`inf`) is on firm ground."""
    lasting = CREEP_RAD_S if math.isinf(rested_s) else lasting_rad_s
    return math.hypot(lasting, SETTLING_RAD_S * math.exp(-max(rested_s, 0.0) / SETTLING_S))


def _with_creep(covariance: Covariance, creep_rad_s: float, north: float) -> Covariance:
    """Legs that sink tilt the base about level axes: about the one to the east all of it is a turn across the axis,
    east of it; about the one to the north the sine of the latitude (`north`) is, above it."""
    faked = creep_rad_s / SIDEREAL_RATE_RAD_S
    (ee, eu), (ue, uu) = covariance
    return (ee + faked**2, eu), (ue, uu + (faked * north) ** 2)


def _north(site: Site) -> float:
    return math.sin(math.radians(abs(site.lat_deg)))


def rest_needed_s(tolerance_rad: float, lasting_rad_s: float = SOIL_RAD_S) -> float:
    """How long a tripod must have stood until a drift can prove this tolerance; no longer than makes a difference."""
    allowed_rad_s = CREEP_SHARE * tolerance_rad / math.sqrt(2.0) * SIDEREAL_RATE_RAD_S
    settling = math.sqrt(max(allowed_rad_s**2 - lasting_rad_s**2, lasting_rad_s**2))
    return max(SETTLING_S * math.log(SETTLING_RAD_S / settling), 0.0)


def _fields(result: DriftResult) -> tuple[DriftField, ...]:
    return tuple(
        DriftField(
            float(p.hour_angle_rad), float(p.dec_p_rad), p.frames, p.seconds, float(p.dec_drift_rad_s), p.sigma_rad_s
        )
        for p in result.positions
    )


def places_rad(directions_enu: ArrayLike, pole_altitude_rad: float, site: Site) -> FloatArray:
    """Hour angle (west positive) and declination toward the elevated pole, rad, (..., 2), of directions (..., 3) in
    ENU."""
    side = hemisphere_sign(site)
    meridian = np.array([0.0, -side * math.sin(pole_altitude_rad), math.cos(pole_altitude_rad)])
    s = np.asarray(directions_enu, dtype=float)
    declination = np.arcsin(np.clip(s @ pole_of(pole_altitude_rad, side), -1.0, 1.0))
    return np.stack([np.arctan2(-s[..., 0], s @ meridian), declination], axis=-1)


def place_rad(direction_enu: ArrayLike, pole_altitude_rad: float, site: Site) -> tuple[float, float]:
    """The same of one direction (3,)."""
    hour, declination = places_rad(direction_enu, pole_altitude_rad, site)
    return float(hour), float(declination)


def pole_of(pole_altitude_rad: float, side: float) -> FloatArray:
    """Unit vector (3,), ENU, of a pole on the meridian; `side` +1 north, -1 south."""
    return np.array([0.0, side * math.cos(pole_altitude_rad), math.sin(pole_altitude_rad)])


def tells(hour_angle_rad: float, dec_p_rad: float) -> str:
    """What a field tells: "azimuth", "altitude", "both", or "" where it is of little use."""
    if dec_p_rad > NEAR_POLE_RAD:
        return "both"
    along, across = abs(math.sin(hour_angle_rad)), abs(math.cos(hour_angle_rad))
    if along <= math.sin(math.radians(15.0)):
        return "azimuth"
    return "altitude" if across <= math.cos(math.radians(52.5)) else ""
