"""The list of all recorded nights as a view."""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.sky.timescales import iso_text
from polewright.services.report.night_line import NightLine
from polewright.ui import intents as want
from polewright.ui.intents import OfTheList
from polewright.ui.view_model import (
    Action,
    Fact,
    Instruction,
    NightRow,
    Nights,
    Page,
    Point,
    ReportPage,
    Reticle,
    TrailPoint,
    Trouble,
    View,
    Weight,
    Work,
)
from polewright.words import nights as words
from polewright.words.numbers import angle_text, sigma_text
from polewright.words.rigs import place_text

LEAST_TOLERANCE_ARCMIN = 0.05
BACK = Action("Back", "Escape", want.ToFirstPage(), Weight.PLAIN)
FROM_A_FILE = Action("From another folder", "Ctrl+O", want.OpenReplay(), Weight.PLAIN)
OF_THE_REPORT = (
    Action("Save as PDF", "P", OfTheList.SAVE_PDF, Weight.PRIMARY),
    Action("Save as a page", "H", OfTheList.SAVE_HTML, Weight.PRIMARY),
    Action("Open outside", "O", OfTheList.OPEN_REPORT, Weight.PRIMARY),
    Action("Back to the nights", "Escape", OfTheList.LEAVE_REPORT, Weight.PRIMARY),
)


def nights_view(
    lines: tuple[NightLine, ...],
    chosen: int,
    reading: bool,
    report: ReportPage | None,
    trouble: Trouble | None,
    work: Work | None,
) -> View:
    """`reading`: more nights are still to come."""
    night = lines[chosen] if chosen < len(lines) else None
    said = words.LOOKING if reading else words.count_text(len(lines)) if lines else words.NO_NIGHTS.whole
    listed = Nights(tuple(map(_row, lines)), chosen, said, report)
    shown = OF_THE_REPORT if report is not None else _actions(night)
    if work is not None:
        shown = tuple(replace(one, enabled=False, why_not=work.title) if _waits(one) else one for one in shown)
    instruction = Instruction(words.NIGHTS, said)
    return View(Page.NIGHTS, (), instruction, _well(night), trouble=trouble, work=work, actions=shown, nights=listed)


def _waits(action: Action) -> bool:
    """Whether it has to do with the files of a night, which something else is at."""
    replay = isinstance(action.intent, want.OpenReplay) and action is not FROM_A_FILE
    return replay or (isinstance(action.intent, OfTheList) and action.intent is not OfTheList.LEAVE_REPORT)


def _actions(night: NightLine | None) -> tuple[Action, ...]:
    if night is None:
        return (FROM_A_FILE, BACK)
    whole = not night.problem
    loud = (
        Action("Replay", "Return", want.OpenReplay(night.folder), Weight.PRIMARY, whole, night.problem),
        Action("Take over", "T", want.OpenReplay(night.folder, asked=True), Weight.PRIMARY, whole, night.problem),
        Action("Report", "R", OfTheList.REPORT, Weight.PRIMARY, whole, night.problem),
    )
    quiet = (
        Action("Export", "Ctrl+E", OfTheList.EXPORT, Weight.PLAIN, whole, night.problem),
        Action("Show the folder", "F", OfTheList.FOLDER),
        Action("Delete", "Delete", OfTheList.DELETE),
        FROM_A_FILE,
        BACK,
    )
    return (*loud, *quiet)


def _row(night: NightLine) -> NightRow:
    if night.problem:
        return NightRow(f"{night.folder.name}   {words.DAMAGED}", night.problem, _well(night))
    ended = words.result_text(night.proved, night.accepted)
    title = f"{night.folder.name}   {ended}, {words.error_text(night.last)}"
    note = " · ".join(part for part in (place_text(night.site), night.rig) if part)
    return NightRow(title, note, _well(night), _facts(night))


def _facts(night: NightLine) -> tuple[Fact, ...]:
    began = "" if night.began is None else f"{iso_text(night.began, 0)[:16].replace('T', ' ')} UTC"
    sigma = "" if night.last is None else sigma_text(night.last.sigma_rad)
    facts = (
        Fact("begun", began),
        Fact("site", place_text(night.site)),
        Fact("rig", night.rig),
        Fact("result", words.result_text(night.proved, night.accepted), f"needed {angle_text(night.tolerance_rad)}"),
        Fact("at first", words.error_text(night.first)),
        Fact("at last", words.error_text(night.last), sigma),
        Fact("aligned in", words.minutes_text(night.minutes)),
    )
    return tuple(fact for fact in facts if fact.value)


def _well(night: NightLine | None) -> Reticle:
    """The trail of a night around the pole, as small as a stamp or as large as the page."""
    if night is None or night.problem:
        return Reticle(2.0, "")
    east, up = (0.0, 0.0) if night.last is None else (night.last.east_rad, night.last.up_rad)
    return Reticle(
        max(LEAST_TOLERANCE_ARCMIN, night.tolerance_rad * ARCMIN_PER_RAD),
        "",
        None if night.last is None else Point(east * ARCMIN_PER_RAD, up * ARCMIN_PER_RAD),
        trail=tuple(TrailPoint(*place) for place in night.trail if all(map(math.isfinite, place))),
        southern=night.site is not None and night.site.lat_deg < 0.0,
    )
