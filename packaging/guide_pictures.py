"""Makes the pictures of the user guide from those of a rehearsal.

polewright rehearse --hand told --shots SHOTS --sizes 1280x800
python packaging/guide_pictures.py SHOTS

A picture whose page was not reached stays as it is. That of the drift comes from a rehearsal of `calm` with
`--by-drift proof`, those of a turn in progress from one with `--hand walking`.
"""

from __future__ import annotations

import sys
from pathlib import Path

TARGET = Path(__file__).resolve().parents[1] / "resources" / "guide" / "pictures"
WIDTH_PX, COLOURS = 960, 64
PICTURES = {
    "first": "0-first-day",
    "orientation": "1-stand-day",
    "capture": "2-measure-day",
    "turning": "3-rough-day",
    "turn-on": "3-turn-on-day",
    "turn-slower": "3-turn-slower-red",
    "turn-stop": "3-turn-stop-reading-red",
    "reading-red": "4-fine-reading-red",
    "fine": "4-fine-day",
    "proof": "6-proof-day",
    "drift": "5-proof-drift-day",
    "plan": "8-plan-day",
    "nights": "9-nights-day",
    "report": "9-report-day",
    "take-over": "9-take-over-day",
}


def make_pictures(shots: Path) -> list[Path]:
    """Each picture of the guide that was taken, smaller and in few colours."""
    from PIL import Image

    TARGET.mkdir(parents=True, exist_ok=True)
    written = []
    for name, shot in PICTURES.items():
        source = shots / f"{shot}-1280x800.png"
        if not source.is_file():
            continue
        with Image.open(source) as picture:
            small = picture.convert("RGB").resize((WIDTH_PX, WIDTH_PX * picture.height // picture.width))
            few = small.quantize(COLOURS, dither=Image.Dither.NONE)
        few.save(TARGET / f"{name}.png", optimize=True)
        written.append(TARGET / f"{name}.png")
    return written


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    for path in make_pictures(Path(sys.argv[1])):
        print(path)
