"""A sentence as it is said aloud: fractions and signs become words that cannot be taken for something else. Pure."""

from __future__ import annotations

import re

FRACTION = re.compile(r"(?:(\d+) )?\b(\d+)/(\d+) (turns?)\b")
COUNTS = ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven")
PARTS = {
    2: "half", 3: "third", 4: "quarter", 6: "sixth", 8: "eighth", 10: "tenth", 12: "twelfth", 15: "fifteenth",
    20: "twentieth", 24: "twenty-fourth", 30: "thirtieth", 40: "fortieth", 60: "sixtieth", 80: "eightieth",
    120: "hundred-and-twentieth",
}  # fmt: skip
SIGNS = (("°", " degrees"), ("′", " arc minutes"), ("″", " arc seconds"), ("± ", "plus or minus "))
UNITS = ((re.compile(r"(?<=\d) min\b"), " minutes"), (re.compile(r"(?<=\d) s\b"), " seconds"))


def spoken(sentence: str) -> str:
    """`Turn altitude 1/60 turn` is "Turn altitude one sixtieth of a turn"; 14″ are arc seconds, 14 s are seconds."""
    sentence = FRACTION.sub(_fraction, sentence)
    for sign, word in SIGNS:
        sentence = sentence.replace(sign, word)
    for unit, word in UNITS:
        sentence = unit.sub(word, sentence)
    return sentence


def _fraction(found: re.Match[str]) -> str:
    whole, count, part = found[1], int(found[2]), int(found[3])
    if part not in PARTS or count >= len(COUNTS):
        words = f"{count} divided by {part}"
    else:
        words = f"{COUNTS[count]} {PARTS[part]}{'s' if count > 1 else ''}"
    return f"{words} of a turn" if whole is None else f"{whole} and {words} turns"
