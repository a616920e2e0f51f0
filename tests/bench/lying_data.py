"""What the program says to data that lie, and what that does to the axis: `python tests/bench/lying_data.py [WORD]`.

Every case goes through files and `polewright measure`; WORD picks the cases whose name holds it. --page writes the
table into the page of the user guide, which tests/flows/test_lying_data.py compares. Exit code 1 when a case comes
out otherwise than it must.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from lying import Answer, ask, honest
from lying_cases import CALM, CASES, Case

PAGE = Path(__file__).resolve().parents[2] / "resources" / "guide" / "lying-data.md"
BEGIN, END = "<!-- table: tests/bench/lying_data.py --page -->", "<!-- end of table -->"
SHOWN = {"silent": "**cannot be seen**"}


def row(case: Case, answer: Answer) -> str:
    """One line of the guide's table: the case, what is said, what comes of it."""
    said = next((word for word in answer.words if case.told and case.told in word), "")
    said = said.replace("calm-000", "frame ").replace(".fits", "").replace("|", "/")
    sentences = said.split(". ")
    picked = next((s for s in sentences if case.told in s), "").rstrip(".")
    figures = (
        "" if answer.claimed_arcmin is None else f": {answer.error_arcmin:.2f}′ off ± {answer.sigma_arcmin:.2f}′"
    )
    said = f"*{picked}*" if picked else "nothing"
    return f"| {case.name} | {said} | {SHOWN.get(answer.effect, answer.effect)}{figures} |"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("word", nargs="?", default="")
    parser.add_argument("--page", action="store_true")
    args = parser.parse_args()
    rows, wrong = [], 0
    with tempfile.TemporaryDirectory() as folder:
        base = honest(Path(folder) / "honest", CALM)
        for number, case in enumerate(CASES):
            if args.word not in case.name:
                continue
            own = Path(folder) / f"case-{number}"
            own.mkdir()
            answer = ask(*case.make(own, base))
            right = answer.effect == case.effect and case.told in " ".join(answer.words)
            wrong += not right
            rows.append(row(case, answer))
            print(f"{'' if right else 'NOT AS IT MUST BE: '}{rows[-1]}", flush=True)
            for word in answer.words:
                print(f"      {word}")
    print(f"{len(rows)} cases, {wrong} not as they must be")
    if args.page and not args.word:
        before, rest = PAGE.read_text(encoding="utf-8").split(BEGIN)
        table = "\n".join(["| What is wrong | It says | The axis |", "|---|---|---|", *rows])
        PAGE.write_text(f"{before}{BEGIN}\n\n{table}\n\n{END}{rest.split(END)[1]}", encoding="utf-8")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
