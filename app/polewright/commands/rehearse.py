"""`polewright rehearse`: practise a whole alignment on a simulated mount, or watch it being done."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from polewright.bootstrap import build_measurer
from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.output import json_text
from polewright.commands.window import open_window
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import UsageError
from polewright.core.night.advice import Errand
from polewright.core.night.witness import told_offset
from polewright.practice.by_drift import ByDrift
from polewright.practice.hand import Seat, Told
from polewright.practice.rehearsal import HANDS, Rehearsal, Score, ScrewScore, rehearse_with_files
from polewright.practice.world import TrueOffset
from polewright.runtime.engine import NightEngine
from polewright.runtime.story import Story
from polewright.services.rehearsal_folders import rehearsal_folder
from polewright.simulate.night import scenario_named
from polewright.simulate.scenarios import SCENARIOS
from polewright.words.coach import say
from polewright.words.numbers import angle_text, counted, number_text, offset_words, rate_text

if TYPE_CHECKING:
    from polewright.ui.driving.night_shots import NightShots

IMAGE_S = 60.0  # of the imaging run, for its picture


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which night, and who turns the screws."""
    parser.add_argument("--scenario", default="first-night", metavar="NAME", help=f"one of: {', '.join(SCENARIOS)}")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another number, another mount and error")
    parser.add_argument("--hand", choices=tuple(HANDS), help="a simulated hand turns the screws, and no window opens")
    parser.add_argument(
        "--by-drift",
        choices=("proof", "all"),
        help="prove by drift; all: measure by drift too, as if the RA axis could not be turned",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object a line instead of sentences")
    parser.add_argument("--shots", type=Path, metavar="DIR", help="write pictures of the window at every stage")
    parser.add_argument("--sizes", default="1280x800,1920x1080", metavar="WxH,...", help="sizes of these pictures")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep frames and record of the night in this folder")


def run(args: argparse.Namespace) -> int:
    """Rehearse to the end; exit code 3 when the alignment was not reached."""
    scenario_named(args.scenario)
    if args.hand is None:
        return _in_the_window(args)
    if args.keep is not None:
        return _rehearse(args, _empty(args.keep))
    with rehearsal_folder() as folder:
        return _rehearse(args, folder)


def _empty(folder: Path) -> Path:
    """`folder`, made if missing; UsageError when it cannot be, or holds a rehearsal already."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        taken = any((folder / name).exists() for name in ("frames", "night"))
    except OSError as exc:
        raise UsageError(f"{folder} cannot be created or read ({exc.strerror or exc}): give another folder.") from exc
    if taken:
        raise UsageError(f"{folder} already contains a rehearsal. Give another folder; nothing is overwritten.")
    return folder


def _in_the_window(args: argparse.Namespace) -> int:
    """A person turns the screws, on the screen."""
    if args.json or args.shots is not None or args.keep is not None or args.by_drift is not None:
        raise UsageError("--json, --shots, --keep and --by-drift need --hand.")
    return open_window(rehearsal=(args.scenario, args.seed))


def _rehearse(args: argparse.Namespace, folder: Path) -> int:
    told = JsonTeller() if args.json else SentenceTeller()
    shots = _shots(args)
    measurer = build_measurer(quiet=args.json)

    def watch(night: Rehearsal, seat: Seat) -> None:
        told.watch(night, seat)
        if args.by_drift is not None:
            ByDrift(seat, args.by_drift)
        if shots is not None:
            shots[0].watch(night)

    score = rehearse_with_files(
        args.scenario,
        args.seed,
        folder / "frames",
        folder / "night",
        measurer.measure,
        HANDS[args.hand],
        watch,
        image_s=IMAGE_S if shots is not None else 0.0,
    )
    told.end(score)
    if shots is not None:
        taken = shots[0].take(args.shots, shots[1], folder / "night")
        print(f"{len(taken)} pictures written to {args.shots}.", file=sys.stderr)
    return EXIT_OK if score.proved else EXIT_NOT_MEASURABLE


def _shots(args: argparse.Namespace) -> tuple[NightShots, tuple[tuple[int, int], ...]] | None:
    """The picture taker and its sizes; Qt is loaded for it alone."""
    if args.shots is None:
        return None
    from polewright.ui.driving.night_shots import NightShots
    from polewright.ui.shots import parse_sizes

    return NightShots(), parse_sizes(args.sizes)


class SentenceTeller:
    """Tells the rehearsal to a person."""

    def watch(self, night: Rehearsal, seat: Seat) -> None:
        """For the rehearsal: called before it begins."""
        scenario, start = night.world.rig.night.scenario, night.true_offset()
        print(f"{scenario.place}. {scenario.story}")
        print(f"In truth the axis is {offset_text(start)}. The program does not know; it gets frames.")
        print()
        story = Story(lambda line: print(line, flush=True))
        night.engine.listen(lambda engine: story.state(engine.state, engine.advice))
        seat.on_deed = lambda told: story.deed(told.at_s, told.text)

    def end(self, score: Score) -> None:
        """Truth beside measurement."""
        print()
        print("\n".join(summary(score)))


class JsonTeller:
    """One JSON object a line: instructions and deeds as they come, the score last."""

    def watch(self, night: Rehearsal, seat: Seat) -> None:
        """For the rehearsal: called before it begins."""
        said: Errand | None = None

        def state(engine: NightEngine) -> None:
            nonlocal said
            if engine.advice.errand != said:
                said = engine.advice.errand
                _print({"at_s": engine.now_s(), "stage": engine.state.stage.value, **_advice(engine)})

        def deed(told: Told) -> None:
            _print({"at_s": told.at_s, "did": told.text})

        night.engine.listen(state)
        seat.on_deed = deed

    def end(self, score: Score) -> None:
        """The score."""
        _print({"score": score_facts(score)})


def summary(score: Score) -> list[str]:
    """The end in a few aligned lines."""
    claimed = TrueOffset(score.claimed_east_arcmin, score.claimed_up_arcmin)
    tolerance = angle_text(score.tolerance_arcmin / ARCMIN_PER_RAD)
    verdict = "inside" if score.true_inside else "OUTSIDE"
    return [
        f"{'':10}{'measured':38}{'truth'}",
        f"{'axis':10}{offset_text(claimed):38}{offset_text(score.truth)}",
        f"{'in all':10}{total_text(claimed, score.claimed_sigma_arcmin):38}"
        f"{total_text(score.truth)}, {verdict} the {tolerance} asked for",
        f"{'azimuth':10}{learned_words(score.azimuth):36}  {_true(score.azimuth)}",
        f"{'altitude':10}{learned_words(score.altitude):36}  {_true(score.altitude)}",
        "",
        f"From {total_text(score.start)} to {total_text(score.truth)} in {counted(score.goes, 'adjustment')}"
        f" ({score.turns} moves{_wrong(score.wrong_turns)}), {score.frames} frames, {score.minutes:.0f} minutes.",
    ]


def score_facts(score: Score) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "scenario": score.scenario,
        "seed": score.seed,
        "hand": score.hand,
        "proved": score.proved,
        "true_inside": score.true_inside,
        "tolerance_arcmin": score.tolerance_arcmin,
        "start": _plain(score.start),
        "truth": _plain(score.truth),
        "measured": {
            **_plain(TrueOffset(score.claimed_east_arcmin, score.claimed_up_arcmin)),
            "sigma_arcmin": score.claimed_sigma_arcmin,
        },
        "goes": score.goes,
        "turns": score.turns,
        "wrong_turns": score.wrong_turns,
        "contrary_orders": score.contrary_orders,
        "overshoot_arcsec": list(score.overshoot_arcsec),
        "minutes": score.minutes,
        "frames": score.frames,
        "azimuth": _screw_facts(score.azimuth),
        "altitude": _screw_facts(score.altitude),
    }


def offset_text(offset: TrueOffset) -> str:
    """`12′ too far east, 3.2′ too low`."""
    east, up = offset.east_arcmin / ARCMIN_PER_RAD, offset.up_arcmin / ARCMIN_PER_RAD
    return f"{offset_words(east)}, {offset_words(up, None, 'up')}"


def total_text(offset: TrueOffset, sigma_arcmin: float | None = None) -> str:
    """Size of an offset: `8″`, with its sigma when given."""
    total = angle_text(offset.total_arcmin / ARCMIN_PER_RAD)
    return total if sigma_arcmin is None else f"{total} ± {angle_text(sigma_arcmin / ARCMIN_PER_RAD)}"


def learned_words(screw: ScrewScore) -> str:
    """What the night has learned of a screw."""
    rate = screw.learned
    if rate is None:
        return _not_told(screw.seen_arcmin)
    return f"{rate_text(rate.arcmin_per_turn, rate.sigma_arcmin)}, backlash {number_text(rate.backlash_turns)}"


def _not_told(seen_arcmin: tuple[float, ...]) -> str:
    """A screw without a rate: never turned, as far as frames show; or the eye led the hand."""
    if not seen_arcmin:
        return "no turn reported or seen"
    motion = angle_text(sum(map(abs, seen_arcmin)) / ARCMIN_PER_RAD)
    return f"turned, not reported: the frames showed {motion} of motion; nobody said how far, so no rate was learned"


def _true(screw: ScrewScore) -> str:
    return f"{rate_text(screw.true_arcmin_per_turn)}, backlash {number_text(screw.true_backlash_turns)}"


def _wrong(count: int) -> str:
    return "" if not count else f", {count} the wrong way"


def _plain(offset: TrueOffset) -> dict[str, float]:
    return {"east_arcmin": offset.east_arcmin, "up_arcmin": offset.up_arcmin, "total_arcmin": offset.total_arcmin}


def _screw_facts(screw: ScrewScore) -> dict[str, Any]:
    rate = screw.learned
    learned = (
        None if rate is None else {"arcmin_per_turn": rate.arcmin_per_turn, "backlash_turns": rate.backlash_turns}
    )
    truth = {"arcmin_per_turn": screw.true_arcmin_per_turn, "backlash_turns": screw.true_backlash_turns}
    return {"learned": learned, "truth": truth}


def _advice(engine: NightEngine) -> dict[str, Any]:
    offset = told_offset(engine.state)
    axis = None
    if offset is not None:
        axis = {
            "east_arcmin": offset.east_rad * ARCMIN_PER_RAD,
            "up_arcmin": offset.up_rad * ARCMIN_PER_RAD,
            "sigma_arcmin": offset.sigma_rad * ARCMIN_PER_RAD,
        }
    told = say(engine.advice)
    return {"instruction": told.instruction, "reason": told.why, "axis": axis}


def _print(facts: dict[str, Any]) -> None:
    print(json_text(facts), flush=True)
