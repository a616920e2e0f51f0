"""Whether the truth lies inside the stated 95 % ellipse, over mounts, places, seasons and weather of all kinds.

    python tests/bench/budget_coverage.py [--nights 40] [--first-seed 1] [--only NUISANCE] [--pull ARCSEC]
                                          [--sag LOW HIGH] [--old] [--wide PULL] [--tolerance ARCSEC] [--lines FILE]
    python tests/bench/budget_coverage.py --pixels [--low] [--weather] [...]
    python tests/bench/budget_coverage.py --table FILE...

Nights by a simulated hand on star lists, each another place, season, sky and mount, drawn from the full ranges of
simulate/real_mount.py: judged when the capture gives the axis, when it is good enough, when it is proved. `--only`
leaves one nuisance alone (a field of RealRanges without its unit, `sag`, `sinks`, `weather` or `none`); `--pull`
sets the pull, `--sag` draws the sag within these bounds (0 20: all tubes hang down). `--old`: the proof by the stars
alone, over the sky of the capture; `--wide`: one sigma (arcsec per radian) of the pull that is supposed before it is
known. With `--pixels` captures of three frames from FITS files through `polewright measure`; `--low` has one
frame of each at 15 to 25 degrees, `--weather` gives temperature and pressure to the command. Results are appended to
FILE as JSON lines, so that many portions make one table.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import io
import json
import math
import sys
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from bent_nights import rehearsed_on
from polewright.__main__ import main as polewright
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import Site
from polewright.core.night.advice import Near
from polewright.core.night.states import Running, Stage
from polewright.core.night.witness import told_offset
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal
from polewright.services.catalogue import load_catalogue
from polewright.services.paths import cache_folder
from polewright.services.solver import Solver
from polewright.simulate.night import draw_night
from polewright.simulate.real_mount import PERFECT_RANGES, Range, RealRanges
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import MountRanges, Scenario
from polewright.simulate.sequence import SequencePlan, write_sequence
from star_list_nights import rehearse_with_star_lists

INSIDE_95 = 5.991  # chi-square, 2 degrees of freedom
MOMENTS = ("capture", "good enough", "proved")
NUISANCES: dict[str, tuple[str, ...]] = {
    "none": (),
    "pull": ("pull_arcsec_rad",),
    "flop": ("flop_arcsec", "flop_share"),
    "wobble": ("wobble_arcsec",),
    "creep": ("creep_arcsec_min",),
    "wander": ("wander_arcsec", "wander_s"),
    "gusts": ("gust_arcsec", "gusts_a_minute"),
    "late": ("late_s", "late_jitter_s"),
    "weather": ("warmer_c", "pressure_hpa"),
    "sag": (),
    "sinks": (),
}
CAPTURE_SPAN_DEG = 90.0
LOW_DEG, USUAL_DEG = (15.0, 25.0), (25.0, 80.0)
Row = dict[str, Any]


# what kind of night


def drawn_scenario(
    seed: int, only: str | None, pull: float | None, low: bool = False, sag: Sequence[float] | None = None
) -> Scenario:
    """A night anywhere between 60 south and 60 north, up to 2500 m high, in the darker half of the year, with a mount
    of the full ranges or with one nuisance alone; `sag`: bounds of its own for the sag, arcsec."""
    rng = np.random.default_rng([seed, 5309])
    lat = float(rng.choice([-1.0, 1.0]) * rng.uniform(12.0, 60.0))
    elev, month = float(rng.uniform(0.0, 2500.0)), int(rng.integers(0, 6))
    lon, hour = float(rng.uniform(-170.0, 170.0)), float(rng.uniform(20.5, 26.0))
    hour_angle, dec_p = _place(lat, LOW_DEG if low else USUAL_DEG, rng)
    return Scenario(
        name=f"drawn-{seed}",
        place="somewhere at sea",
        story="Drawn.",
        site=Site(lat, lon, elev),
        start=_start(lat, lon, month, hour, int(rng.integers(1, 28))),
        temperature_c=_usual_c(lat if only in (None, "weather") else None) - 6.5e-3 * elev,
        mount=_mount(only, sag),
        real=_real(only, pull),
        hour_angle_h=hour_angle,
        declination_toward_pole_deg=dec_p,
        seeing_arcsec=float(rng.uniform(1.5, 4.0)),
        wind_arcsec=0.1,
    )


def _usual_c(lat: float | None) -> float:
    """At sea level in a winter's night: a crude climate, chosen; of the standard atmosphere (ISO 2533) without a
    latitude, where the weather is left out."""
    return 15.0 if lat is None else 25.0 - 0.4 * abs(lat)


def _mount(only: str | None, sag: Sequence[float] | None) -> MountRanges:
    nothing = (0.0, 0.0)
    usual = MountRanges()
    bent = usual.sag_arcsec if sag is None else (sag[0], sag[1])
    return replace(
        usual,
        sag_arcsec=bent if only in (None, "sag") else nothing,
        tripod_sinks_arcmin=usual.tripod_sinks_arcmin if only in (None, "sinks") else nothing,
    )


def _real(only: str | None, pull: float | None) -> RealRanges:
    usual = RealRanges()
    kept = {name: getattr(usual, name) for name in NUISANCES[only]} if only is not None else {}
    ranges = usual if only is None else replace(PERFECT_RANGES, **kept)
    return ranges if pull is None else replace(ranges, pull_arcsec_rad=(pull, pull))


def _start(lat: float, lon: float, month: int, hour: float, day: int) -> str:
    """UTC of a local mean solar hour in the darker half of the year."""
    of_year = (10 + month if lat > 0.0 else 4 + month) - 1
    year, minutes = 2026 + of_year // 12, round(60.0 * (hour - lon / 15.0))
    day += minutes // 1440
    minutes %= 1440
    return f"{year}-{of_year % 12 + 1:02d}-{max(day, 1):02d}T{minutes // 60:02d}:{minutes % 60:02d}:00"


def _place(lat: float, between: Range, rng: np.random.Generator) -> tuple[float, float]:
    """Hour angle (h) and declination toward the elevated pole (deg) of a capture over 90 degrees about that hour of
    which the lowest frame stands so high."""
    for _ in range(10000):
        hour, dec_p = float(rng.uniform(-4.0, 4.0)), float(rng.uniform(-15.0, 75.0))
        lowest = min(altitude_deg(lat, hour + turn / 15.0, dec_p) for turn in (-45.0, 0.0, 45.0))
        if between[0] <= lowest <= between[1]:
            return hour, dec_p
    raise ValueError(f"nothing stands between {between} degrees at latitude {lat:.0f}")


def altitude_deg(lat_deg: float, hour_angle_h: float, dec_p_deg: float) -> float:
    """Of an hour angle and a declination toward the elevated pole."""
    lat, h, d = math.radians(abs(lat_deg)), math.radians(15.0 * hour_angle_h), math.radians(dec_p_deg)
    return math.degrees(math.asin(math.sin(lat) * math.sin(d) + math.cos(lat) * math.cos(d) * math.cos(h)))


# nights on star lists


@dataclass
class Looks:
    """Holds what the program states against the truth at the moments that count."""

    night: Rehearsal
    rows: dict[str, Row]

    def look(self, *_: object) -> None:
        state = self.night.engine.state
        if not isinstance(state, Running) or state.offset is None:
            return
        if state.stage in (Stage.ROUGH, Stage.FINE):
            self._note("capture", state)
        if isinstance(self.night.engine.advice.reason, Near):
            self._note("good enough", state)
        if state.proved:
            self._note("proved", state)

    def _note(self, moment: str, state: Running) -> None:
        if moment in self.rows or state.offset is None:
            return
        truth, told = self.night.true_offset(), told_offset(state) or state.offset
        claimed = np.array([told.east_rad, told.up_rad]) * ARCMIN_PER_RAD
        covariance = np.array(told.covariance_rad2) * ARCMIN_PER_RAD**2
        self.rows[moment] = judged(claimed, covariance, (truth.east_arcmin, truth.up_arcmin)) | {
            "minutes": self.night.engine.now_s() / 60.0,
            "true_arcsec": 60.0 * truth.total_arcmin,
        }


def judged(claimed_arcmin: Any, covariance_arcmin2: Any, truth_arcmin: tuple[float, float]) -> Row:
    """Miss (east, up), sigma and how far out it is, in the ellipse's own measure."""
    miss = np.asarray(claimed_arcmin) - np.array(truth_arcmin)
    return {
        "miss_arcsec": [float(m) for m in 60.0 * miss],
        "sigma_arcsec": 60.0 * float(np.sqrt(np.trace(covariance_arcmin2))),
        "chi2": float(miss @ np.linalg.solve(covariance_arcmin2, miss)),
    }


def night(seed: int, scenario: Scenario, tolerance_arcsec: float, solver: Solver) -> Row:
    """One night, to its end."""
    rows: dict[str, Row] = {}

    def watch(rehearsal: Rehearsal, _: Seat) -> None:
        rehearsal.tolerance_rad = tolerance_arcsec / ARCSEC_PER_RAD
        rehearsal.engine.listen(Looks(rehearsal, rows).look)

    with tempfile.TemporaryDirectory(prefix="polewright-cover-") as place:
        score = rehearse_with_star_lists(scenario, seed, Path(place) / "night", solver, watch=watch)
    end = {"minutes": score.minutes, "goes": score.goes, "true_arcsec": 60.0 * score.truth.total_arcmin}
    gc.collect()  # a night is full of cycles; left alone, thirty of them fill a gigabyte
    return {"seed": seed, "tolerance_arcsec": tolerance_arcsec, "proved": score.proved, "moments": rows, "end": end}


# captures from pixels


def capture(seed: int, scenario: Scenario, weather: bool) -> Row:
    """Three frames over 90 degrees, measured by the command."""
    rig = SimulatedRig(replace(scenario, hour_angle_h=0.0), seed)
    middle = scenario.hour_angle_h
    plan = SequencePlan(frames=3, span_deg=CAPTURE_SPAN_DEG, centre_h=middle)
    with tempfile.TemporaryDirectory(prefix="polewright-cover-") as place:
        truth = write_sequence(rig, Path(place), plan)
        options = ["--target", "refracted", "--json"]
        if weather:
            air = truth["air"]
            options += ["--temperature", f"{air['temperature_c']:.0f}", "--pressure", f"{air['pressure_hpa']:.0f}"]
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            polewright(["measure", *(str(path) for path in sorted(Path(place).glob("*.fits"))), *options])
    facts = json.loads(out.getvalue().splitlines()[-1])
    if facts.get("axis") is None:
        return {"seed": seed, "refused": facts.get("reason", facts.get("error")), "moments": {}}
    axis, pole = facts["axis"], truth["axis_after_capture"]["from_refracted_pole"]
    found = judged(
        [axis["east_arcmin"], axis["up_arcmin"]],
        np.array(axis["covariance_arcmin2"]),
        (pole["east_arcmin"], pole["up_arcmin"]),
    )
    return {"seed": seed, "moments": {"capture": found}, "warnings": facts["warnings"]}


# the table


def table(rows: Sequence[Row]) -> list[str]:
    """A line a moment, and the false proofs."""
    lines = [f"{len(rows)} runs; inside the stated 95 % ellipse, misses and sigmas in arcsec"]
    names = ("inside", "+-", "median sigma", "median miss", "95 % miss", "minutes")
    lines.append(f"{'moment':12}{'runs':>6}" + "".join(f"{n:>{w}}" for n, w in zip(names, (8, 6, 14, 13, 11, 9))))
    for moment in MOMENTS:
        lines += _line(moment, [row["moments"][moment] for row in rows if moment in row["moments"]])
    proved = [row for row in rows if row.get("proved")]
    false = [r for r in proved if r["moments"]["proved"]["true_arcsec"] > r["tolerance_arcsec"]]
    if any("proved" in row for row in rows):
        lines.append(f"proved {len(proved)}, falsely {len(false)}: seeds {[row['seed'] for row in false]}")
        lines += _proving([row["moments"] for row in proved])
    out = {m: [r["seed"] for r in rows if _chi2(r, m) > INSIDE_95] for m in MOMENTS}
    lines += [f"outside at {moment}: seeds {seeds}" for moment, seeds in out.items() if seeds]
    refused = [row["seed"] for row in rows if row.get("refused")]
    return [*lines, f"refused: seeds {refused}"] if refused else lines


def _proving(nights: Sequence[Row]) -> list[str]:
    """How long a proof takes; a night may be proved without ever having been good enough."""
    took = [m["proved"]["minutes"] - m["good enough"]["minutes"] for m in nights if "good enough" in m]
    return [f"from good enough to proved: {np.median(took):.2f} min at the median of {len(took)}"] if took else []


def _chi2(row: Row, moment: str) -> float:
    return float(row["moments"].get(moment, {}).get("chi2", 0.0))


def _line(moment: str, found: Sequence[Row]) -> list[str]:
    if not found:
        return []
    inside = np.mean([row["chi2"] < INSIDE_95 for row in found])
    miss = [float(np.hypot(*row["miss_arcsec"])) for row in found]
    minutes = np.median([row.get("minutes", math.nan) for row in found])
    return [
        f"{moment:12}{len(found):6}{100.0 * inside:7.1f}%{100.0 * np.sqrt(0.05 * 0.95 / len(found)):6.1f}"
        f"{np.median([row['sigma_arcsec'] for row in found]):14.2f}{np.median(miss):13.2f}"
        f"{np.quantile(miss, 0.95):11.2f}{minutes:9.1f}"
    ]


def run(seeds: Iterable[int], one: Callable[[int], Row], lines: Path | None) -> list[Row]:
    """All of them, each written down as soon as it is known."""
    rows = []
    for seed in seeds:
        rows.append(one(seed))
        if lines is not None:
            with lines.open("a", encoding="utf-8") as out:
                out.write(json.dumps(rows[-1]) + "\n")
    return rows


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--nights", type=int, default=40)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--only", choices=tuple(NUISANCES))
    parser.add_argument("--pull", type=float, help="arcsec per radian, the same for all")
    parser.add_argument("--sag", type=float, nargs=2, help="arcsec, from and to")
    parser.add_argument("--old", action="store_true")
    parser.add_argument("--wide", type=float, default=FLEXURE_PRIOR.pull_sigma * ARCSEC_PER_RAD)
    parser.add_argument("--tolerance", type=float, default=30.0)
    parser.add_argument("--lines", type=Path)
    parser.add_argument("--pixels", action="store_true")
    parser.add_argument("--low", action="store_true")
    parser.add_argument("--weather", action="store_true")
    parser.add_argument("--table", type=Path, nargs="+")
    args = parser.parse_args()
    if args.table:
        rows = [json.loads(line) for file in args.table for line in file.read_text("utf-8").splitlines()]
        print("\n".join(table(rows)))
        return 0
    drawn = partial(drawn_scenario, only=args.only, pull=args.pull, low=args.low, sag=args.sag)
    known = None if args.old else Flexure(pull_sigma=args.wide / ARCSEC_PER_RAD)
    solver = Solver(load_catalogue(), cache_folder())

    def one(seed: int) -> Row:
        if args.pixels:
            return capture(seed, drawn(seed), args.weather)
        with rehearsed_on(draw_night, lambda _: known):
            return night(seed, drawn(seed), args.tolerance, solver)

    print("\n".join(table(run(range(args.first_seed, args.first_seed + args.nights), one, args.lines))))
    return 0


if __name__ == "__main__":
    sys.exit(main())
