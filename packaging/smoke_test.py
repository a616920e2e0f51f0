"""Tries a built program on a simulated night, without a screen: `python packaging/smoke_test.py dist/polewright`.

Runs anywhere with a plain Python: it imports nothing of the program. Prints one line for each step with its time, and
leaves with 0 only when every step did what it should. `--rehearse` adds a whole rehearsal (a minute or two).
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

SUFFIX = ".exe" if os.name == "nt" else ""
PATIENCE_S = 900.0
NEAR_DEG = 2.0 / 3600.0
# wheels without a licence file of their own: the texts listed for their files serve; the typeface has its own
BARE = ("PySide6_Essentials", "PySide6_Addons", "PySide6-Essentials", "PySide6-Addons", "pyside6_essentials",
        "pyside6_addons", "shiboken6", "sep", "font-source-sans-pro", "font_source_sans_pro")  # fmt: skip


class Trial:
    """One built program with a home of its own below `scratch`."""

    def __init__(self, folder: Path, scratch: Path) -> None:
        self.folder = folder
        self.scratch = scratch
        self.environment = {
            **{name: value for name, value in os.environ.items() if not name.startswith("PYTHON")},
            "QT_QPA_PLATFORM": "offscreen",
            "POLEWRIGHT_HOME": str(scratch / "home"),
        }

    def run(self, *arguments: str, codes: tuple[int, ...] = (0,)) -> str:
        """What the console program printed; SystemExit when it left with another code."""
        done = subprocess.run(
            [str(self.folder / f"polewright{SUFFIX}"), *arguments],
            env=self.environment, cwd=self.scratch, capture_output=True, text=True, timeout=PATIENCE_S, check=False,
        )  # fmt: skip
        if done.returncode not in codes:
            raise SystemExit(f"polewright {' '.join(arguments)} left with {done.returncode}:\n{done.stderr[-3000:]}")
        return done.stdout

    def version(self) -> str:
        return self.run("--version").strip()

    def simulate(self) -> str:
        self.run("simulate", "frames", "--seed", "5", "--frames", "3", "--json")
        return f"{len(list((self.scratch / 'frames').glob('*.fits')))} frames"

    def locate(self) -> str:
        """The built program must find the place that the simulated frame was made for."""
        truth = json.loads((self.scratch / "frames" / "truth.json").read_text())["frames"][0]
        frame = sorted((self.scratch / "frames").glob("*.fits"))[0]
        facts = json.loads(self.run("locate", str(frame), "--json"))
        if not facts["solved"] or abs(facts["dec_deg"] - truth["dec_deg"]) > NEAR_DEG:
            raise SystemExit(f"located wrongly: {facts} instead of {truth}")
        return f"dec {facts['dec_deg']:+.4f} deg, off by {3600 * abs(facts['dec_deg'] - truth['dec_deg']):.2f} arcsec"

    def families(self) -> str:
        """Other kinds of files lead to other libraries; made here where this Python has the means."""
        try:
            import numpy as np
            import tifffile
            from astropy.io import fits
            from PIL import Image
        except ImportError as error:
            return f"left out: {error}"
        pixels = fits.getdata(sorted((self.scratch / "frames").glob("*.fits"))[0])
        for kind in ("RICE_1", "HCOMPRESS_1", "GZIP_2"):
            packed = fits.CompImageHDU(pixels, compression_type=kind)
            fits.HDUList([fits.PrimaryHDU(), packed]).writeto(self.scratch / f"{kind}.fits.fz")
        tifffile.imwrite(self.scratch / "deflate.tif", pixels, compression="zlib")
        dim = np.clip((pixels.astype(float) - np.median(pixels)) * 0.3 + 20.0, 0.0, 255.0).astype(np.uint8)
        for name in ("eight-bit.png", "eight-bit.jpg"):
            Image.fromarray(dim).save(self.scratch / name)
        names = [path.name for path in self.scratch.iterdir() if path.suffix in (".fz", ".tif", ".png", ".jpg")]
        for name in names:
            facts = json.loads(self.run("locate", name, "--json", "--focal-length", "240", "--pixel-size", "5"))
            if not facts["solved"]:
                raise SystemExit(f"{name} was not located: {facts}")
        return f"{len(names)} kinds"

    def measure(self) -> str:
        frames = map(str, sorted((self.scratch / "frames").glob("*.fits")))
        facts = json.loads(self.run("measure", *frames, "--json", "--target", "refracted"))
        truth = json.loads((self.scratch / "frames" / "truth.json").read_text())
        true = truth["frames"][0]["axis"]["from_refracted_pole"]["total_arcmin"]
        if abs(facts["axis"]["total_arcmin"] - true) > 0.1:
            raise SystemExit(f"measured wrongly: {facts['axis']} instead of {true}")
        return f"axis {facts['axis']['total_arcmin']:.2f}', truth {true:.2f}'"

    def doctor(self) -> str:
        """Everything that is part of the build must be well: libraries, catalogue, Qt."""
        facts = json.loads(self.run("doctor", "--json", codes=(0, 3)))
        ill = [
            check for check in facts["checks"] if check["state"] == "needs a cure" and check["name"] != "free space"
        ]
        missing = [name for name, version in facts["libraries"].items() if version is None]
        if ill or missing or not facts["frozen"]:
            raise SystemExit(f"not well: {ill} {missing} frozen {facts['frozen']}")
        return f"{len(facts['checks'])} checks"

    def licences(self) -> str:
        """Every shared library has an owner and the text of its licence; so has every Python library."""
        parts = self.folder / ("parts" if (self.folder / "parts").is_dir() else ".")
        texts = parts / "polewright" / "resources" / "licences"
        listing = json.loads((texts / "shipped.json").read_text(encoding="utf-8"))
        there = {str(path.relative_to(parts)).replace("\\", "/") for path in parts.rglob("*") if is_library(path)}
        listed = {name.replace("\\", "/"): entry["texts"] for name, entry in listing["files"].items()}
        bare = [name for name in there if not has_text(texts, listed.get(name, []))]
        wheels = listing["libraries"].items()
        bare += [name for name, files in wheels if name not in BARE and not has_text(parts, files)]
        credits = json.loads(self.run("credits", "--json"))["libraries"]
        notice = (texts / "NOTICE.txt").read_text(encoding="utf-8")
        bare += [entry["name"] for entry in credits if f"{entry['name']} {entry['version']}" not in notice]
        if bare or not any((parts / "font_source_sans_pro").rglob("LICENSE.txt")):
            raise SystemExit(f"shipped without a licence text: {', '.join(sorted(bare)) or 'the typeface'}")
        return f"{len(there)} shared libraries, {len(credits)} Python libraries, each with its text"

    def window(self, name: str = "polewright-window", *arguments: str) -> str:
        """It opens, stays, and leaves when told to."""
        with (self.scratch / "window.txt").open("w") as said:
            window = subprocess.Popen(
                [str(self.folder / f"{name}{SUFFIX}"), *arguments],
                env=self.environment, cwd=self.scratch, stdout=said, stderr=said,
            )  # fmt: skip
            try:
                code = window.wait(15.0)
            except subprocess.TimeoutExpired:
                window.send_signal(signal.SIGTERM)
                window.wait(60.0)
            else:
                raise SystemExit(f"{name} left by itself with {code}: {(self.scratch / 'window.txt').read_text()}")
        text = (self.scratch / "window.txt").read_text()
        log = self.scratch / "home" / "data" / "log" / "polewright.log"
        faults = [line for line in log.read_text().splitlines() if "fault" in line] if log.exists() else []
        if "Traceback" in text or faults:
            raise SystemExit(f"{name} has faults: {text} {faults}")
        return "open for 15 s, no fault"

    def rehearse(self) -> str:
        told = self.run("rehearse", "--hand", "told", "--json", "--keep", "kept").splitlines()
        score = json.loads(told[-1])["score"]
        if not (score["proved"] and score["true_inside"]):
            raise SystemExit(f"the rehearsal did not reach the pole: {score}")
        return f"from {score['start']['total_arcmin']:.1f}' to {score['truth']['total_arcmin']:.2f}'"

    def look_back(self) -> str:
        """Report and replay of the rehearsal's record."""
        files = json.loads(self.run("report", "kept/night", "--out", "report", "--json"))["files"]
        told = json.loads(self.run("replay", "kept/night", "--json").splitlines()[-1])["replay"]
        if told["differences"]:
            raise SystemExit(f"the replay differs: {told['differences'][:3]}")
        return f"{len(files)} files of a report; {told['results_checked']} results came out again"


def is_library(path: Path) -> bool:
    """A shared library of any system, links to another file left out."""
    named = path.suffix in (".so", ".dll", ".pyd", ".dylib") or ".so." in path.name
    return named and path.is_file() and not path.is_symlink()


def has_text(folder: Path, names: list[str]) -> bool:
    """At least one text is named, and every one lies in the folder and says something."""
    return bool(names) and all((folder / name).is_file() and (folder / name).stat().st_size > 0 for name in names)


def size_mb(folder: Path) -> float:
    """What the build takes on the disk."""
    return sum(path.lstat().st_size for path in folder.rglob("*") if path.is_file() and not path.is_symlink()) / 1e6


def main() -> int:
    parser = argparse.ArgumentParser(description="Try a built Polewright on a simulated night.")
    parser.add_argument("folder", type=Path, help="the folder that holds polewright and polewright-window")
    parser.add_argument("--rehearse", action="store_true", help="rehearse a whole night as well")
    args = parser.parse_args()
    folder = args.folder.resolve()
    print(f"{folder}: {size_mb(folder):.0f} MB")
    with tempfile.TemporaryDirectory(prefix="polewright-smoke-", ignore_cleanup_errors=True) as scratch:
        trial = Trial(folder, Path(scratch))
        steps: list[Callable[[], str]] = [
            trial.version, trial.version, trial.simulate, trial.locate, trial.locate, trial.families, trial.measure,
            trial.doctor, trial.licences, trial.window,
        ]  # fmt: skip
        for step in [*steps, trial.rehearse, trial.look_back] if args.rehearse else steps:
            start = time.perf_counter()
            said = step()
            print(f"{step.__name__:10} {time.perf_counter() - start:6.1f} s  {said}", flush=True)
    print("The build does what it should.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
