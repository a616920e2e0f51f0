"""`polewright drift FRAME...`: where the mount axis points, from the wandering of the stars while the drive runs."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, assert_never

import numpy as np

from polewright.bootstrap import frame_measurer
from polewright.commands.drift_unsolved import check_fields, unsolved_proof
from polewright.commands.frames_given import measured_one_by_one
from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.options import (
    TARGETS,
    add_camera_options,
    add_site_options,
    air_from,
    other_site,
    site_from,
)
from polewright.commands.output import json_text
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.axis_reasons import SkyImpossible
from polewright.core.drift.compare import Comparison, compare_with_turn
from polewright.core.drift.guarded import Guarded, believed, contradicts, guarded, may_be_held
from polewright.core.drift.hidden import wandering
from polewright.core.drift.live import (
    DriftProof,
    DriftResult,
    PositionDrift,
    add_frame,
    guiding_refusal,
)
from polewright.core.drift.plan import DriftPosition, best_positions, field_rad, predicted_seconds
from polewright.core.drift.reading import hidden_at_best, stated_covariance
from polewright.core.drift.reasons import (
    AllLeftOut,
    DriftRefusal,
    Guided,
    GuidingRefusal,
    NoFramesYet,
    Sign,
    Unknown,
)
from polewright.core.drift.remaining import Remaining, remaining
from polewright.core.drift.stillness import FIELD_S
from polewright.core.errors import FrameReadError, RecordingError, UsageError
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.model import Site, SkyFrame, TargetPole
from polewright.core.not_measurable import NotMeasurable
from polewright.core.offset import Covariance
from polewright.core.sky.places import default_target, standard_atmosphere
from polewright.core.unsolved import ImpossibleSky
from polewright.services.frame_reader.reading import shown
from polewright.services.measuring import place_in_sky
from polewright.services.regular_file import read_regular
from polewright.words.drift import (
    axis_words,
    comparison_words,
    drift_doubt_words,
    drift_refusal_words,
    guiding_words,
    hidden_words,
    reach_words,
    unknown_words,
)
from polewright.words.frames import frame_words
from polewright.words.kinds import told_facts
from polewright.words.numbers import angle_text, arcmin_text, duration_text, number_text, sigma_text
from polewright.words.said import Said

USUAL_NOISE_ARCSEC, USUAL_CADENCE_S = 1.0, 5.0
SINGLE_FRAMES = 0.2  # of all frames; chosen: a wrong site puts a whole field below the horizon
LEFT_OUT_LINES = 3  # chosen: shows whether they all lack the same


@dataclass(frozen=True, eq=False)
class Watched:
    """The proof after all frames; `names` of the frames in it, `left_out` (name, why) of the others."""

    proof: DriftProof
    frames: int
    left_out: tuple[tuple[str, str], ...]
    site_source: str
    warnings: tuple[str, ...] = ()
    impossible: ImpossibleSky | None = None


@dataclass(frozen=True)
class Turn:
    """What `measure --json` has found."""

    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    target: str
    suspect: str | None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """FRAME..., camera, site, what is wanted, and what is known of frames that cannot be solved."""
    add = parser.add_argument
    add("frames", type=Path, nargs="*", metavar="FRAME", help="frames in the order of time, taken while tracking")
    add("--where", action="store_true", help="say where to point and how long it takes; needs no frames")
    add("--side", choices=("east", "west"), default="east", help="side of the meridian that is free (default east)")
    add(
        "--certainty",
        type=float,
        default=1.0,
        metavar="ARCMIN",
        help="how sure both components are to become (default 1)",
    )
    add("--measured", type=Path, metavar="FILE", help="compare with this output of `measure --json`")
    add(
        "--guiding",
        choices=("off", "on"),
        help="whether guiding was off, in both axes; frames that contradict it count for more",
    )
    add(
        "--nudged",
        action="store_true",
        help="the declination was nudged in each field and left there, to show that nothing guides it",
    )
    add(
        "--stood",
        action="store_true",
        help="a pier, or a tripod that has stood for half an hour on firm ground: it gives way no more",
    )
    add_camera_options(parser)
    add_site_options(parser)
    known = parser.add_argument_group("frames that cannot be solved")
    known.add_argument(
        "--field",
        nargs="+",
        action="append",
        metavar="HOURS DEC FRAME...",
        help="hour angle (h, west positive) and declination (deg) at the first of these frames; one --field for each",
    )
    known.add_argument(
        "--position-angle",
        type=float,
        action="append",
        metavar="DEG",
        help="of image up, from north through east; once for all fields, or once for each",
    )
    known.add_argument("--mirrored", action="store_true", help="the picture is a mirror image")


def run(args: argparse.Namespace) -> int:
    """Print the plan, or what the frames say; exit code 3 when they say nothing yet."""
    if args.where:
        return _where(args)
    if bool(args.frames) == bool(args.field):
        raise UsageError("Give the frames, or --field for frames that cannot be solved, or ask --where to point.")
    turn = None if args.measured is None else read_turn(args.measured)
    watched = _watch_fields(args) if args.field else _watch(args)
    result = _result_of(watched)
    off = None if args.guiding is None else args.guiding == "off"
    if isinstance(result, DriftResult):
        rest = guarded(watched.proof, result) if may_be_held(result) else None
        rested_s = math.inf if args.stood else 0.0
        free = stated_covariance(watched.proof, result, rested_s, FLEXURE_PRIOR)
        guided = _guided(result, off, rest, free)
        found = (
            _refused(watched, guided, guiding_words(guided))
            if guided
            else _found(args, watched, result, rest, free, turn)
        )
    else:
        found = _refused(watched, result, drift_refusal_words(result))
    facts, lines = found
    facts |= {
        "target": watched.proof.target.name.lower(),
        "frames_used": watched.frames,
        "frames_left_out": [{"file": name, "reason": why} for name, why in watched.left_out],
    }
    print(json_text(facts) if args.json else "\n".join([*_left_out_lines(watched.left_out), *lines]))
    return EXIT_NOT_MEASURABLE if facts["axis"] is None else EXIT_OK


def _guided(result: DriftResult, off: bool | None, rest: Guarded | None, free: Covariance) -> GuidingRefusal | None:
    """Why the drift is not believed; what right ascension and the turning field say (`rest`, None where the
    declination is free) is believed over the person."""
    refusal = guiding_refusal(result, off)
    if refusal is not None or rest is None:
        return refusal
    return Guided(Sign.TURNS) if contradicts(rest, result, free) else None


def _result_of(watched: Watched) -> DriftResult | DriftRefusal:
    """Frames that were all left out are not the same as none; when many cannot come from this site and time, the
    others cannot be trusted either: a wrong site leaves half of them above its horizon."""
    if watched.impossible is not None:
        return SkyImpossible(watched.impossible)
    result = watched.proof.result
    if isinstance(result, NoFramesYet) and watched.left_out:
        return AllLeftOut(len(watched.left_out))
    return result


def _refused(watched: Watched, why: NotMeasurable, said: Said) -> tuple[dict[str, Any], list[str]]:
    lines = [f"Not measurable: {said.reason}", f"Do this: {said.cure}", *_notes(watched.warnings)]
    return {"axis": None, **told_facts(why, said), "warnings": list(watched.warnings)}, lines


def _left_out_lines(left_out: Sequence[tuple[str, str]]) -> list[str]:
    """One line each, so that the result is not pushed off the screen by frames that all lack the same."""
    lines = [f"{name}: left out: {why}" for name, why in left_out[:LEFT_OUT_LINES]]
    more = len(left_out) - len(lines)
    return lines + ([f"... and {more} more left out (--json names each)."] if more else [])


def _notes(warnings: Sequence[str]) -> list[str]:
    return [f"Note: {text}" for text in warnings]


# where to point


def _where(args: argparse.Namespace) -> int:
    site, _ = site_from(args, None)
    positions = best_positions(site, standard_atmosphere(site), args.side)
    hours = [p.hour_angle_h for p in positions]
    wanted, noise = args.certainty / ARCMIN_PER_RAD, USUAL_NOISE_ARCSEC / ARCSEC_PER_RAD
    each_s = max(predicted_seconds(hours, wanted, noise, USUAL_CADENCE_S), FIELD_S)
    reach = _reach_rad(args, site, positions, args.stood)
    firm = None if args.stood else _reach_rad(args, site, positions, stood=True)
    facts = {
        "positions": [_position_facts(p) for p in positions],
        "seconds_each": each_s,
        "certainty_arcmin": args.certainty,
        "certainty_at_best_arcmin": reach * ARCMIN_PER_RAD,
        "noise_arcsec": USUAL_NOISE_ARCSEC,
        "cadence_s": USUAL_CADENCE_S,
    }
    told = reach_words(reach, wanted, firm)
    lines = [*_where_sentences(positions, each_s, wanted), *([told] if told else [])]
    print(json_text(facts) if args.json else "\n".join(lines))
    return EXIT_OK


def _reach_rad(args: argparse.Namespace, site: Site, positions: Sequence[DriftPosition], stood: bool) -> float:
    """The larger of the two sigmas that frames of these fields cannot make smaller, as run() states them."""
    places = tuple(field_rad(p.hour_angle_h, p.declination_deg, site) for p in positions)
    rested_s = math.inf if stood else 0.0
    hidden = hidden_at_best(site, standard_atmosphere(site), _target(args, site), FLEXURE_PRIOR, rested_s, places)
    return float(np.sqrt(np.diag(np.array(hidden)).max()))


def _position_facts(p: DriftPosition) -> dict[str, Any]:
    return {
        "tells": p.why,
        "hour_angle_h": p.hour_angle_h,
        "declination_deg": p.declination_deg,
        "altitude_deg": p.altitude_deg,
        "refraction_arcmin": p.refraction_arcmin,
    }


def _where_sentences(positions: Sequence[DriftPosition], each_s: float, wanted_rad: float) -> list[str]:
    lines = [
        f"For the {p.why}: {place_text(p.hour_angle_h)}, declination {p.declination_deg:+.0f}°,"
        f" {p.altitude_deg:.0f}° high"
        + (
            f" (refraction alone looks like {abs(p.refraction_arcmin):.1f}′ there; it is allowed for)"
            if _airy(p)
            else ""
        )
        for p in positions
    ]
    return [
        *lines,
        f"Watch each for {duration_text(each_s)} or longer to know both components to {angle_text(wanted_rad)}"
        " by the stars"
        f" (frames of {USUAL_NOISE_ARCSEC:g}″ every {USUAL_CADENCE_S:g} s)"
        + (", and to show that nothing guides." if each_s == FIELD_S else "."),
        "Switch tracking on and guiding off, in both axes; leave the mount alone.",
    ]


def _airy(p: DriftPosition) -> bool:
    return abs(p.refraction_arcmin) >= 0.1


def place_text(hour_angle_h: float) -> str:
    """`on the meridian`, `5 h east of the meridian`."""
    if abs(hour_angle_h) < 0.05:
        return "on the meridian"
    return f"{number_text(abs(hour_angle_h))} h {'west' if hour_angle_h > 0.0 else 'east'} of the meridian"


# what the frames say


def _watch(args: argparse.Namespace) -> Watched:
    """Read, solve and place every frame, in the order of time."""
    first, each = measured_one_by_one(frame_measurer(args), args.frames)
    site, source = site_from(args, first)
    atmosphere = air_from(args, site, first)
    proof = DriftProof(site, atmosphere, _target(args, site), nudged=args.nudged)
    placed: list[SkyFrame] = []
    left_out: list[tuple[str, str]] = []
    impossible: list[ImpossibleSky] = []
    warnings = dict.fromkeys(other_site(args, first))  # each once, in the order in which they came
    for path, item in each:
        if isinstance(item, FrameReadError):
            left_out.append((shown(path.name), str(item)))
            continue
        warnings |= dict.fromkeys(item.warnings)
        sky = place_in_sky(item.frame, item.outcome, site, atmosphere)
        if isinstance(sky, SkyFrame):
            placed.append(sky)
        else:
            impossible += [sky.why] if isinstance(sky.why, ImpossibleSky) else []
            left_out.append((item.frame.name, frame_words(sky.why).whole))
    placed.sort(key=lambda sky: sky.utc_mid)
    for sky in placed:
        proof = add_frame(proof, sky, sky.utc_mid.seconds_since(placed[0].utc_mid))
    return Watched(
        proof, len(placed), tuple(left_out), source, tuple(warnings), _of_the_site(impossible, len(args.frames))
    )


def _of_the_site(impossible: Sequence[ImpossibleSky], frames: int) -> ImpossibleSky | None:
    """The first of them when they are too many to be single frames with a wrong time."""
    return impossible[0] if len(impossible) > frames * SINGLE_FRAMES else None


def _watch_fields(args: argparse.Namespace) -> Watched:
    if args.frames:
        raise UsageError("With --field, name its frames after it and give no others.")
    fields = check_fields(args.field)
    first, _ = measured_one_by_one(frame_measurer(args), [path for field in fields for path in field.frames])
    site, source = site_from(args, first)
    proof = DriftProof(site, air_from(args, site, first), _target(args, site), nudged=args.nudged)
    proof, used, left_out = unsolved_proof(args, fields, proof)
    return Watched(proof, used, left_out, source)


def _target(args: argparse.Namespace, site: Site) -> TargetPole:
    return TARGETS[args.target] if args.target else default_target(site)


def _found(
    args: argparse.Namespace,
    watched: Watched,
    result: DriftResult,
    rest: Guarded | None,
    free: Covariance,
    turn: Turn | None,
) -> tuple[dict[str, Any], list[str]]:
    proof = watched.proof
    seen = wandering(result)
    left = remaining(proof, seen, args.certainty / ARCMIN_PER_RAD)
    by_frames = result.covariance_rad2
    result = believed(replace(result, covariance_rad2=free), rest, by_frames)
    warnings = [*watched.warnings, *map(drift_doubt_words, result.warnings)]
    facts: dict[str, Any] = {
        "axis": {
            "east_arcmin": result.east_rad * ARCMIN_PER_RAD,
            "up_arcmin": result.up_rad * ARCMIN_PER_RAD,
            "total_arcmin": math.hypot(result.east_rad, result.up_rad) * ARCMIN_PER_RAD,
            "covariance_arcmin2": (np.array(result.covariance_rad2) * ARCMIN_PER_RAD**2).tolist(),
            "frames_covariance_arcmin2": (np.array(by_frames) * ARCMIN_PER_RAD**2).tolist(),
            "unguided_covariance_arcmin2": (np.array(free) * ARCMIN_PER_RAD**2).tolist(),
        },
        "unknown": unknown_words(result.unknown),
        "noise_arcsec": result.noise_rad * ARCSEC_PER_RAD,
        "inflation": result.inflation,
        "periodic_error_arcsec": result.drive_wave_rad * ARCSEC_PER_RAD,
        "fields": [_field_facts(p) for p in result.positions],
        "certainty_arcmin": args.certainty,
        "seconds_left": left.seconds if math.isfinite(left.seconds) else None,
        "next_field": left.component or None,
        "warnings": warnings,
    }
    lines = _result_sentences(watched, result)
    if rest is None:
        lines += [_left_sentence(left, args.certainty), *_both_numbers(seen.covariance_rad2, result, args)]
    if turn is not None:
        comparison = _compare(proof, result, turn)
        facts["comparison"] = {
            "east_arcmin": comparison.east_rad * ARCMIN_PER_RAD,
            "up_arcmin": comparison.up_rad * ARCMIN_PER_RAD,
            "chi2": comparison.chi2,
            "agree": comparison.agree,
            "cause": comparison.cause.value,
        }
        lines.append(comparison_words(comparison, result.unknown))
    return facts, lines + _notes(warnings)


def _field_facts(p: PositionDrift) -> dict[str, Any]:
    return {
        "hour_angle_h": math.degrees(p.hour_angle_rad) / 15.0,
        "declination_toward_pole_deg": math.degrees(p.dec_p_rad),
        "frames": p.frames,
        "seconds": p.seconds,
        "drift_arcsec_min": p.dec_drift_rad_s * ARCSEC_PER_RAD * 60.0,
        "sigma_arcsec_min": p.sigma_rad_s * ARCSEC_PER_RAD * 60.0,
    }


def _result_sentences(watched: Watched, result: DriftResult) -> list[str]:
    site, proof = watched.proof.site, watched.proof
    east_sigma, up_sigma = np.sqrt(np.diag(np.array(result.covariance_rad2)))
    lines = [
        f"Site {site.lat_deg:+.3f}, {site.lon_deg:+.3f} deg, {site.elev_m:.0f} m ({watched.site_source});"
        f" target: {proof.target.name.lower()} pole",
    ]
    for number, p in enumerate(result.positions, 1):
        rate = p.dec_drift_rad_s * ARCSEC_PER_RAD * 60.0
        lines.append(
            f"  field {number}      {place_text(math.degrees(p.hour_angle_rad) / 15.0)}, {p.frames} frames in"
            f" {duration_text(p.seconds)}: {rate:+.3f}″ a minute"
            f" ± {p.sigma_rad_s * ARCSEC_PER_RAD * 60.0:.3f} toward the pole"
        )
    lines += [
        "",
        axis_words(result.east_rad, result.up_rad, (east_sigma, up_sigma), result.unknown),
        f"  east         {_arcmin(result.east_rad, east_sigma, result.unknown is not Unknown.AZIMUTH)} on the sky",
        f"  up           {_arcmin(result.up_rad, up_sigma, result.unknown is not Unknown.ALTITUDE)} on the sky",
        f"  drive        periodic error of ± {angle_text(result.drive_wave_rad)}, taken out",
        f"  one frame    {sigma_text(result.noise_rad)} in declination",
    ]
    return lines + ([unknown_words(result.unknown)] if result.unknown else [])


def _left_sentence(left: Remaining, certainty_arcmin: float) -> str:
    wanted = angle_text(certainty_arcmin / ARCMIN_PER_RAD)
    if left.seconds <= 0.0:
        return f"By the stars both components are known to {wanted}."
    if not math.isfinite(left.seconds):
        return f"These fields cannot give both components to {wanted}: ask --where to point."
    parts = [f"this field for {duration_text(left.here_s)} more"] if left.here_s else []
    parts += [f"a field for the {left.component} for {duration_text(left.there_s)}"] if left.there_s else []
    return f"Watch {', then '.join(parts)} to know both to {wanted} by the stars."


def _both_numbers(by_frames: Covariance, result: DriftResult, args: argparse.Namespace) -> list[str]:
    """How sure by the stars and in all; of a component that is not known nothing."""
    stars, whole = (np.sqrt(np.diag(np.array(c))) for c in (by_frames, result.covariance_rad2))
    wanted = args.certainty / ARCMIN_PER_RAD
    match result.unknown:
        case None:
            return [hidden_words("Each", float(stars.max()), float(whole.max()), wanted, args.stood)]
        case Unknown.ALTITUDE:
            return [hidden_words("East or west", float(stars[0]), float(whole[0]), wanted, args.stood)]
        case Unknown.AZIMUTH:
            return [hidden_words("The height", float(stars[1]), float(whole[1]), wanted, args.stood)]
        case Unknown.ONE_DIRECTION:
            return []
        case _:
            assert_never(result.unknown)


def _arcmin(value_rad: float, sigma_rad: float, known: bool) -> str:
    return arcmin_text(value_rad, sigma_rad) if known else "not known"


# beside the turn


def read_turn(path: Path) -> Turn:
    """What `measure --json` has printed; RecordingError when it is something else."""
    try:
        data = json.loads(read_regular(path))
        axis = data["axis"]
        (ee, eu), (ue, uu) = axis["covariance_arcmin2"]
        covariance = tuple(tuple(float(v) / ARCMIN_PER_RAD**2 for v in row) for row in ((ee, eu), (ue, uu)))
        east, up = float(axis["east_arcmin"]) / ARCMIN_PER_RAD, float(axis["up_arcmin"]) / ARCMIN_PER_RAD
        suspect = data.get("suspect")
        turn = Turn(east, up, covariance, str(data["target"]), None if suspect is None else str(suspect))  # type: ignore[arg-type]
    except OSError as exc:
        raise RecordingError(f"{path} cannot be read ({exc.strerror or exc}).") from exc
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as exc:
        raise RecordingError(f"{path} contains no axis. Give a file written by `polewright measure --json`.") from exc
    if not all(math.isfinite(v) for v in (turn.east_rad, turn.up_rad, *sum(turn.covariance_rad2, ()))):
        raise RecordingError(f"{path} contains no axis. Give a file written by `polewright measure --json`.")
    return turn


def _compare(proof: DriftProof, result: DriftResult, turn: Turn) -> Comparison:
    if turn.target != proof.target.name.lower():
        raise UsageError(
            f"The turn was measured against the {turn.target} pole: compare with --target {turn.target}."
        )
    return compare_with_turn(
        result, turn.east_rad, turn.up_rad, turn.covariance_rad2, proof.site, proof.atmosphere, turn.suspect
    )
