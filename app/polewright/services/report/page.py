"""The page of a report: every number as a person reads it, put into the template. No scripts, no network."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from polewright import __version__
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import TargetPole, Utc
from polewright.core.offset import Covariance, Offset
from polewright.core.sky.timescales import iso_text
from polewright.services.night_folders import local_evening
from polewright.services.report.facts import NightFacts
from polewright.services.report.history import History
from polewright.services.report.pictures import RadialScale, components_in_time, offset_in_time, well
from polewright.services.report.plan_picture import plan_blur
from polewright.services.report.told import drift_record_words, read_or, shift_record_words
from polewright.words.axis import both_words
from polewright.words.cautions import IN_ALL
from polewright.words.clock import taken_off_words
from polewright.words.credits import FOOT
from polewright.words.flexure import bend_words, flexure_words
from polewright.words.numbers import (
    angle_text,
    chance_text,
    duration_text,
    number_text,
    offset_words,
    rate_text,
    sense_text,
    total_text,
)
from polewright.words.plan import plan_words, serves_words
from polewright.words.report import disturbed_words
from polewright.words.rigs import place_text

if TYPE_CHECKING:
    from jinja2 import Template

POLE_NAMES = {
    TargetPole.TRUE: "true pole",
    TargetPole.BETWEEN: "point between true and refracted pole",
    TargetPole.REFRACTED: "refracted pole",
}
MANY = 40  # rows of moves shown


def report_html(facts: NightFacts, history: History, scale: RadialScale) -> str:
    """The whole page as text."""
    from markupsafe import Markup

    started = iso_text(facts.started, 0).replace("T", " ").rstrip("Z") if facts.started else "?"
    return _template().render(
        title=f"Alignment in the night of {_evening(facts)}" if facts.started else f"Alignment {facts.name}",
        subtitle=f"Begun {started} UTC, recorded for {duration_text(facts.ended_s)}",
        verdict=verdict(facts),
        well=Markup(well(facts, scale)),
        offset_plot=Markup(offset_in_time(facts)),
        components_plot=Markup(components_in_time(facts)),
        plan_plot=Markup(plan_blur(facts)),
        facts=_key_facts(facts),
        stages=[(s.name, _minute(s.from_s), duration_text(s.to_s - s.from_s)) for s in facts.stages],
        captures=_captures(facts),
        screws=_screws(facts),
        moves=_moves(facts),
        drift=[_drift_row(d) for d in facts.drift],
        shifts=[(_minute(_number(s, "t_s")), shift_record_words(s)) for s in facts.shifts],
        frames_sentence=_frames_sentence(facts),
        gaps=[(_minute(g.from_s), duration_text(g.to_s - g.from_s), g.frames, g.reason) for g in facts.gaps],
        nights=[_night_row(n) for n in history.nights],
        history_lines=_history_lines(history),
        problems=[*facts.problems, *(f"Left out of the comparison: {s}" for s in history.skipped)],
        cautions=IN_ALL,
        footer=f"Polewright {__version__}. Angles are on the sky unless a screw is named; ± is one sigma. {FOOT}",
    )


def _evening(facts: NightFacts) -> str:
    """The night by the name that its folder bears and the list shows."""
    assert facts.started is not None
    return local_evening(facts.started, 0.0 if facts.site is None else facts.site.lon_deg)


def verdict(facts: NightFacts) -> dict[str, Any]:
    """The main sentence and what belongs to it."""
    pole = POLE_NAMES[facts.target] if facts.target else "pole"
    if facts.final is None:
        return {"main": _disturbed(facts, pole, "") or "The axis was not measured.", "more": []}
    total = total_text(facts.final.total_rad, facts.final.sigma_rad)
    needed = f"Needed: {angle_text(facts.tolerance_rad)}."
    inside = facts.inside
    sure = f" Inside it with {chance_text(inside)} certainty." if inside is not None else ""
    if disturbed := _disturbed(facts, pole, total):
        main = disturbed
    elif facts.proved:
        witness = "by the drift of the stars" if facts.by_drift else "by a second turn"
        main = f"Aligned to {total} of the {pole}, and proved {witness}."
    elif facts.accepted and not facts.moved:
        main = f"Accepted at {total} from the {pole}."
    else:
        main = f"Not finished: {total} from the {pole} at the end of the record."
    east, up = (math.sqrt(max(facts.final.covariance_rad2[i][i], 0.0)) for i in (0, 1))
    components = (
        f"{offset_words(facts.final.east_rad, east).capitalize()}, {offset_words(facts.final.up_rad, up, 'up')}."
    )
    return {"main": main, "more": [components, *_how_sure(facts, facts.final), needed + sure, *_plan(facts)]}


def _how_sure(facts: NightFacts, offset: Offset) -> list[str]:
    supposed = not facts.proved and facts.bend is None and facts.flexure is not None and facts.flexure.supposed
    return [] if offset.budget is None else [f"{both_words(offset.budget, offset.sigma_rad, supposed)}."]


def _disturbed(facts: NightFacts, pole: str, total: str) -> str:
    """That it was proved and then moved; "" where it was not."""
    if facts.proven is None or facts.moved is None:
        return ""
    proved = total_text(facts.proven.offset.total_rad, facts.proven.offset.sigma_rad)
    since = total if facts.measured_since else ""
    return disturbed_words(_clock(facts.proven.utc), proved, pole, _clock(facts.moved), since)


def _clock(utc: Utc) -> str:
    """`21:14`."""
    return iso_text(utc, 0)[11:16]


def _plan(facts: NightFacts) -> list[str]:
    """Tonight's plan, and whether the final error serves it."""
    if facts.imaging is None or facts.final is None or facts.site is None or facts.target is None:
        return []
    final = facts.final
    serves = serves_words(facts.imaging, facts.site, facts.target, final.east_rad, final.up_rad)
    return [f"Plan: {plan_words(facts.imaging.plan)}. {serves}"]


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment

    text = (Path(__file__).parent / "page.html").read_text(encoding="utf-8")
    return Environment(autoescape=True, trim_blocks=True).from_string(text)


def _key_facts(facts: NightFacts) -> list[tuple[str, str]]:
    site, camera = facts.site, facts.camera
    rows = []
    if site is not None:
        rows.append(("Site", f"{place_text(site)}, {site.elev_m:.0f} m"))
    if facts.clock_ahead_s:
        rows.append(("Clock", taken_off_words(facts.clock_ahead_s)))
    if camera is not None:
        field = f"{camera.width_px * camera.scale_arcsec_px / 3600.0:.1f}° × "
        field += f"{camera.height_px * camera.scale_arcsec_px / 3600.0:.1f}°"
        rows += [
            ("Camera", f"{camera.width_px} × {camera.height_px} px{', mirrored' if camera.mirrored else ''}"),
            ("Scale, field", f"{camera.scale_arcsec_px:.2f}″ per pixel, {field}"),
        ]
    if facts.first is not None:
        rows.append(("At first", total_text(facts.first.offset.total_rad, facts.first.offset.sigma_rad)))
    rows.append(("Moves", str(_made(facts))))
    if facts.aligned_s is not None:
        rows.append(("Time to align", duration_text(facts.aligned_s)))
    if facts.lock_shift_rad is not None:
        rows.append(("Locking moved it", angle_text(math.hypot(*facts.lock_shift_rad))))
    if facts.flexure is not None:
        rows.append(("How the rig bends", flexure_words(facts.flexure)))
    if facts.bend is not None:
        rows.append(("Tonight's turns showed", bend_words(facts.bend)))
    rows.append(("Frames", f"{facts.frames_solved} solved, {facts.frames_unsolved} not"))
    return rows


def _captures(facts: NightFacts) -> list[tuple[str, str, str, str, int]]:
    rows = []
    for r in facts.readings:
        if r.source == "frame":
            continue
        east, up = (math.sqrt(max(r.offset.covariance_rad2[i][i], 0.0)) for i in (0, 1))
        rows.append(
            (
                _minute(r.t_s),
                r.source,
                offset_words(r.offset.east_rad, east),
                offset_words(r.offset.up_rad, up, "up"),
                r.offset.readings,
            )
        )
    return rows


def _screws(facts: NightFacts) -> list[tuple[str, str, str, int]]:
    rows = []
    for screw, rate in facts.rates.items():
        moves = facts.moves.get(screw, ())
        if rate is None:
            if moves:
                rows.append((screw, "nobody said how far, so no rate was learned", "", len(moves)))
            continue
        way = {"azimuth": ("clockwise", "anticlockwise"), "altitude": ("up", "down")}[screw]
        worth = f"{rate_text(rate.arcmin_per_turn, rate.sigma_arcmin)}, {way[0 if rate.arcmin_per_turn > 0 else 1]}"
        slack = f"{number_text(rate.backlash_turns, rate.sigma_backlash)} turn"
        rows.append((screw, worth, slack, len(moves)))
    return rows


def _made(facts: NightFacts) -> int:
    """Turns of the screws: those told, and those that only the frames showed."""
    told = sum(1 for d in facts.deeds if d.turns is not None)
    return told + sum(m.guessed for moves in facts.moves.values() for m in moves)


def _moves(facts: NightFacts) -> list[tuple[str, str, str, str, str]]:
    rows = []
    for screw, moves in facts.moves.items():
        for m in moves:
            turns = f"{m.turns:+.2f}{'' if m.sure else ' (as asked)'}"
            if m.guessed:
                turns = f"{sense_text(m.turns)}, turned, not reported"
            rows.append(
                (
                    screw,
                    turns,
                    f"{m.before_arcmin:+.2f}′",
                    f"{m.after_arcmin:+.2f}′",
                    f"{m.moved_arcmin:+.2f} ± {number_text(m.sigma_arcmin)}′",
                )
            )
    return rows[:MANY]


def _drift_row(data: dict[str, object]) -> tuple[str, str, str, str]:
    (ee, _), (_, uu) = read_or(Covariance, data.get("covariance_rad2"), ((0.0, 0.0), (0.0, 0.0)))
    sigmas = [math.sqrt(max(variance, 0.0)) for variance in (ee, uu)]
    return (
        _minute(_number(data, "t_s")),
        offset_words(_number(data, "east_rad"), sigmas[0]),
        offset_words(_number(data, "up_rad"), sigmas[1], "up"),
        drift_record_words(data),
    )


def _number(data: dict[str, object], name: str) -> float:
    return read_or(float, data.get(name), math.nan)


def _frames_sentence(facts: NightFacts) -> str:
    rms = [r.frame.rms_arcsec for r in facts.readings if r.frame is not None]
    stars = [r.frame.stars_matched for r in facts.readings if r.frame is not None]
    text = f"{facts.frames_solved} frames were solved and {facts.frames_unsolved} were not."
    if rms:
        middle = len(rms) // 2
        text += f" Typically {sorted(stars)[middle]} stars matched, residual {number_text(sorted(rms)[middle])}″."
    return text + ("" if facts.gaps else " No gap in the sky.")


def _night_row(night: NightFacts) -> tuple[str, str, str, str, str, str, str]:
    result = "proved" if night.proved else "accepted" if night.accepted else "not finished"
    final = total_text(night.final.total_rad, night.final.sigma_rad) if night.final else "–"
    rates = []
    for screw in ("azimuth", "altitude"):
        rate = night.rates.get(screw)
        rates.append(f"{number_text(rate.arcmin_per_turn, rate.sigma_arcmin)}′" if rate else "–")
    moves = _made(night)
    minutes = duration_text(night.aligned_s) if night.aligned_s is not None else "–"
    return night.name, result, final, minutes, str(moves), rates[0], rates[1]


def _history_lines(history: History) -> list[str]:
    lines = [
        f"The {rate.screw} screw: {number_text(abs(rate.mean_arcmin))}′ a turn over {rate.nights} nights,"
        f" agreeing to {number_text(100.0 * rate.scatter)} %."
        for rate in history.rates
        if rate.nights > 1
    ]
    if history.median_minutes is not None and len(history.nights) > 1:
        lines.append(f"Half of the alignments took less than {duration_text(60.0 * history.median_minutes)}.")
    if history.hint:
        lines.append(history.hint)
    return lines or ["This is the first night with this rig: later ones will be compared with it."]


def _minute(t_s: float) -> str:
    minutes, seconds = divmod(round(t_s), 60) if math.isfinite(t_s) else (0, 0)
    return f"{minutes}:{seconds:02d}"


def plain_result(facts: NightFacts) -> dict[str, Any]:
    """The result as plain values, under the names that the JSON output promises."""
    final = facts.final
    return {
        "night": facts.name,
        "proved": facts.proved,
        "accepted": facts.accepted,
        "east_arcmin": final.east_rad * ARCMIN_PER_RAD if final else None,
        "up_arcmin": final.up_rad * ARCMIN_PER_RAD if final else None,
        "total_arcmin": final.total_rad * ARCMIN_PER_RAD if final else None,
        "sigma_arcmin": final.sigma_rad * ARCMIN_PER_RAD if final else None,
        "tolerance_arcmin": facts.tolerance_rad * ARCMIN_PER_RAD,
        "probability_inside": facts.inside,
        "minutes_to_align": facts.aligned_s / 60.0 if facts.aligned_s is not None else None,
        "moves": _made(facts),
        "frames_solved": facts.frames_solved,
        "frames_unsolved": facts.frames_unsolved,
        "clock_ahead_s": facts.clock_ahead_s,
    }
