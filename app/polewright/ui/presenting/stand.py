"""How to stand the mount up: heading, inclination, and whether clock and scale can be believed."""

from __future__ import annotations

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.advice import Mood
from polewright.core.night.orientation.clock import check_clock, offset_to_set_s
from polewright.core.night.orientation.standing import heading, scale_agrees
from polewright.core.night.states import NightPlan, Running
from polewright.core.plan.tonight import ToleranceOrigin
from polewright.services.magnetic import MagneticDeclination
from polewright.ui.presenting.extras import Extras
from polewright.ui.view_model import BY_COMPASS, BY_TRUE_NORTH, Fact, Orientation
from polewright.words.axis import clock_apart
from polewright.words.clock import CLOCK_UNSTATED, taken_off_words
from polewright.words.numbers import angle_text, number_text
from polewright.words.plan import ORIGINS, SHORT_POLES, plan_words

FRAMES_TO_SET = 3  # chosen: one late file says nothing


def stand_page(state: Running, extras: Extras) -> Orientation:
    """The numbers of the first stage."""
    plan = state.plan
    magnetic = extras.magnetic if isinstance(extras.magnetic, MagneticDeclination) else None
    declination, sigma = (None, 0.5) if magnetic is None else (magnetic.declination_deg, magnetic.sigma_deg)
    told = heading(plan.site, plan.air, plan.target, declination, sigma)
    by_compass = told.true_deg if told.magnetic_deg is None else told.magnetic_deg
    side = "true" if told.magnetic_deg is None else "magnetic"
    north = _north(magnetic)
    air = f"{number_text(told.refraction_arcmin)}′ of it lifted by the air" if told.refraction_arcmin >= 0.05 else ""
    return Orientation(
        heading_magnetic_deg=by_compass,
        heading_true_deg=told.true_deg,
        inclination_deg=told.inclination_deg,
        heading_text=f"{by_compass % 360.0:.0f}° {side}",
        inclination_text=degrees_minutes(told.inclination_deg),
        heading_note=BY_TRUE_NORTH if told.magnetic_deg is None else BY_COMPASS,
        southern=plan.southern,
        facts=(
            Fact(f"true {'south' if plan.southern else 'north'}", f"{told.true_deg:.0f}°", north),
            Fact(f"{SHORT_POLES[plan.target]} pole", degrees_minutes(told.inclination_deg), air),
            _clock(plan, extras),
            _scale(extras),
            _tonight(plan),
            *_earlier(extras),
        ),
    )


def _north(magnetic: MagneticDeclination | None) -> str:
    if magnetic is None:
        return "no compass reading is known here: use a star or a map"
    side = "east" if magnetic.declination_deg >= 0.0 else "west"
    size = number_text(abs(magnetic.declination_deg), 0.1)
    return f"magnetic north lies {size}° {side} of true, ± {number_text(magnetic.sigma_deg, magnetic.sigma_deg)}°"


def _tonight(plan: NightPlan) -> Fact:
    """How accurate tonight has to be, and why."""
    if plan.origin is ToleranceOrigin.PLAN and plan.imaging is not None:
        words = plan_words(plan.imaging.plan)
    else:
        words = f"{ORIGINS[plan.origin]}; E for a plan of your own"
    return Fact("needed", angle_text(plan.tolerance_rad), words)


def clock_to_set_s(plan: NightPlan, extras: Extras) -> float | None:
    """By how much the frames' times are ahead of UTC if this computer's clock is right, s; None where both agree, or
    too few frames have said so."""
    found = check_clock(extras.arrivals) if len(extras.arrivals) >= FRAMES_TO_SET else None
    if found is None or found.late_at_most:
        return None
    return offset_to_set_s(plan.clock_ahead_s + found.ahead_s)


def _clock(plan: NightPlan, extras: Extras) -> Fact:
    found = check_clock(extras.arrivals)
    if found is None and extras.news is not None and extras.news.dated_by_file:
        return Fact("clock", "unknown", CLOCK_UNSTATED)
    if found is None:
        taken = taken_off_words(plan.clock_ahead_s) if plan.clock_ahead_s else "known after the first frame"
        return Fact("clock", "not yet", taken)
    words = "frames and computer agree" if found.doubt is None else clock_apart(found.doubt)
    if plan.clock_ahead_s:
        words = f"{words}; {taken_off_words(plan.clock_ahead_s)}"
    return Fact("clock", f"{found.ahead_s:+.1f} s".replace("-", "−"), words, None if found.agrees else Mood.TROUBLE)


def _scale(extras: Extras) -> Fact:
    scale = None if extras.news is None else extras.news.scale
    if scale is None:
        return Fact("scale", "not yet", "known after the first frame")
    value = f"{number_text(scale.solved_arcsec_px, 0.01 * scale.solved_arcsec_px)}″/px"
    if scale.stated_arcsec_px is None:
        return Fact("scale", value, "found from the stars")
    if scale_agrees(scale.solved_arcsec_px, scale.stated_arcsec_px):
        return Fact("scale", value, "as stated")
    return Fact("scale", value, f"not {number_text(scale.stated_arcsec_px)}″ as stated", Mood.TROUBLE)


def _earlier(extras: Extras) -> tuple[Fact, ...]:
    """What the last nights with this rig say about where to set it down."""
    earlier = extras.earlier
    if earlier is None or not earlier.words:
        return ()
    return (Fact("before", f"{earlier.nights} nights", earlier.words),)


def degrees_minutes(degrees: float) -> str:
    """`52° 20′`."""
    minutes = round(abs(degrees) * ARCMIN_PER_RAD / 57.29577951308232)
    return f"{minutes // 60}° {minutes % 60:02d}′"
