"""What every function of `words/` says to a table of values, kept but for its wording: its numbers, sides and signs.

No outside source: what a sentence has to say is asked in tests/unit/test_words_*.py. Here no side and no number may
change unnoticed. Arguments come from their types: numbers from both sides of zero and of the usual limits, every
member of an enumeration, the samples of reasons that the other tests of sentences use. What cannot be made up that
way is left out.
"""

from __future__ import annotations

import contextlib
import dataclasses
import importlib
import inspect
import itertools
import json
import lzma
import math
import pkgutil
import re
import typing
from collections.abc import Callable, Iterator, Sequence
from enum import Enum
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Any

import coach_reasons
import frame_reasons
import polewright.words as words
from kept_numbers import PLAN
from polewright.core.errors import UsageError
from polewright.core.model import Site
from polewright.core.night.advice import Advice
from polewright.core.offset import Offset
from polewright.core.plan.sky_choice import SkyChoice, choose_sky
from polewright.core.plan.tolerance import Tolerance, needed_accuracy
from polewright.core.plan.tonight import Planned, TonightsPlan
from shown_nights import SIDES, figures

TURNING = re.compile(
    rf"[-+−±]?\d+(?:[.,/]\d+)?|\b(?:{SIDES}|ahead|behind|back|on|off|added|further|larger|smaller|more|less|longer|"
    r"shorter|before|after|no|not|never|above|below|over|under|within|outside|hardly|most)\b"
)
FILE = Path(__file__).parent / "data" / "kept_sentences.json.xz"
MOST = 400  # answers of a function, chosen; evenly from all combinations of its arguments
MOST_PLANS = 16  # where a plan is worked through for each, 30 ms
REAL = (-4000.0, -70.0, -3.3, -0.26, -2e-4, 0.0, 6e-5, 0.004, 0.31, 1.0, 7.4, 52.0, 190.0, 9000.0)
WHOLE = (0, 1, 2, 3, 17)
SITES = (Site(52.3, 3.0, 84.0), Site(-33.9, -70.4, 10.0))
TIGHT = ((1e-9, 1e-10), (1e-10, 3e-9))
OFFSETS = tuple(Offset(east, up, TIGHT) for east, up in ((3e-3, -1e-4), (-2e-4, 5e-3)))


@cache
def kept() -> dict[str, Any]:
    """Function by function, what was kept."""
    told: dict[str, Any] = json.loads(lzma.decompress(FILE.read_bytes()))
    return told


def keep_sentences() -> None:
    """Keep what is said now: after a side or a number has been changed on purpose."""
    text = json.dumps({name: said(function) for name, function in functions().items()}, separators=(",", ":"))
    FILE.write_bytes(lzma.compress(text.encode(), preset=9 | lzma.PRESET_EXTREME))


@cache
def functions() -> dict[str, Callable[..., object]]:
    """Every function of `words/`, the inner ones too, whose arguments can be made up."""
    found: dict[str, Callable[..., object]] = {}
    for module in pkgutil.walk_packages(words.__path__, words.__name__ + "."):
        for name, function in inspect.getmembers(importlib.import_module(module.name), inspect.isfunction):
            if function.__module__ == module.name and all(_choices(function)):
                found[f"{module.name.rpartition('.')[2]}.{name}"] = function
    return found


def said(function: Callable[..., object]) -> list[Any]:
    """Its answers over the table of its arguments, in order."""
    choices = _choices(function)
    total = math.prod(map(len, choices))
    most = MOST_PLANS if any(isinstance(c[0], Planned) for c in choices) else MOST
    asked = range(0, total, max(1, total // most) | 1)
    return [_answer(function, _combination(choices, number)) for number in asked]


def _combination(choices: list[Sequence[object]], number: int) -> list[object]:
    found = []
    for values in choices:
        number, place = divmod(number, len(values))
        found.append(values[place])
    return found


def _answer(function: Callable[..., object], arguments: list[object]) -> Any:
    """Values that nobody would ask about are answered by what they raise."""
    try:
        told = function(*arguments)
    except Exception as error:
        return type(error).__name__
    return _figures(list(told) if isinstance(told, Iterator) else told)


def _figures(value: object) -> Any:
    """Of a text its numbers and the words that turn its meaning round."""
    if isinstance(value, str):
        return " ".join(TURNING.findall(value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return [_figures(getattr(value, f.name)) for f in dataclasses.fields(value)]
    if isinstance(value, list | tuple):
        return [_figures(item) for item in value]
    return figures(value)


# arguments


def _choices(function: Callable[..., object]) -> list[Sequence[object]]:
    told = typing.get_type_hints(function)
    return [_values(told.get(name)) for name in inspect.signature(function).parameters]


@cache
def _values(of: Any) -> tuple[object, ...]:
    """What an argument of this type may be; nothing where that cannot be made up."""
    if of in _GIVEN:
        return _GIVEN[of]
    inner = typing.get_args(of)
    if typing.get_origin(of) is typing.Literal:
        return inner
    if isinstance(of, UnionType) or typing.get_origin(of) is typing.Union:
        return tuple(value for one in inner for value in _values(one))
    if typing.get_origin(of) in (tuple, Sequence):
        return _rows(inner)
    if isinstance(of, type) and issubclass(of, Enum):
        return tuple(of)
    samples = tuple(s for s in (*coach_reasons.SAMPLES, *frame_reasons.SAMPLES) if type(s) is of)
    return samples or (tuple(_made_up(of)) if dataclasses.is_dataclass(of) else ())


def _rows(inner: tuple[Any, ...]) -> tuple[object, ...]:
    if inner[-1] is Ellipsis or len(inner) == 1:
        one = _values(inner[0])
        return ((), one[:1], one[1:3], one[2:6]) if one else ()
    columns = [_values(of) for of in inner]
    return tuple(zip(*(itertools.islice(itertools.cycle(c), 5) for c in columns))) if all(columns) else ()


def _made_up(of: Any) -> Iterator[object]:
    """A few values of a dataclass, every field from its own choices, out of step with each other."""
    told = typing.get_type_hints(of)
    fields = [_values(told[f.name]) for f in dataclasses.fields(of) if f.init]
    for number in range(12 if all(fields) else 0):
        values = {
            f.name: choices[(number * (place + 1) + 5 * place) % len(choices)]
            for place, (f, choices) in enumerate(zip((f for f in dataclasses.fields(of) if f.init), fields))
        }
        with contextlib.suppress(UsageError):
            yield of(**values)


_NEEDS = needed_accuracy(PLAN)
_PLANS = (TonightsPlan(40.0, binning=3, hours=3.5), TonightsPlan(-12.0, first_hour_angle_h=-5.0, guided=False))
_GIVEN: dict[Any, tuple[object, ...]] = {
    float: REAL,
    int: WHOLE,
    bool: (False, True),
    type(None): (None,),
    str: ("east", "west", "up", "azimuth", "altitude", "Some words", ""),
    Site: SITES,
    Offset: OFFSETS,
    TonightsPlan: _PLANS,
    Tolerance: (_NEEDS,),
    Planned: tuple(Planned(plan, _NEEDS) for plan in _PLANS if isinstance(_NEEDS, Tolerance)),
    SkyChoice: tuple(choose_sky(site, (), 25.0) for site in SITES),
    Advice: tuple(Advice(reason) for reason in coach_reasons.SAMPLES),
}
