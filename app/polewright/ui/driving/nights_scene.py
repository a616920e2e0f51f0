"""The list of all recorded nights: read one by one beside the window, chosen, reported, written out, deleted."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import assert_never

from polewright.core.errors import PolewrightError
from polewright.runtime.jobs import Done
from polewright.services.night_folders import delete_night, recorded_nights, sweep_deleted
from polewright.services.report.night_line import NightLine, night_line
from polewright.services.report.page import report_html
from polewright.services.report.window_page import window_page
from polewright.services.report.writing import write_report
from polewright.ui import intents as want
from polewright.ui.driving.means import Means
from polewright.ui.driving.night_files import export_night
from polewright.ui.intents import OfTheList
from polewright.ui.night_report import NightReport, read_report
from polewright.ui.presenting.nights import nights_view
from polewright.ui.printing import write_pdf
from polewright.ui.view_model import ReportPage, Trouble, View, Work
from polewright.words import nights as words
from polewright.words import window
from polewright.words.said import Said

LISTING, LINE, WORKING = "recorded nights", "a recorded night", "working on a night"


class NightsScene:
    """Attributes: `lines`, what was read so far, the latest night first; `chosen`, the row."""

    def __init__(self, means: Means, changed: Callable[[], None]) -> None:
        self.lines: list[NightLine] = []
        self.chosen = 0
        self.report: ReportPage | None = None
        self._means = means
        self._changed = changed
        self._trouble: Trouble | None = None
        self._asking: Path | None = None  # the night that goes with the next press
        self._work: Work | None = None
        self._left: list[Path] = []
        self._listed = False
        self._closed = False
        means.worker.ask(LISTING, lambda: _listed(means.data / "nights"), self._on_listed)

    def _on_listed(self, done: Done) -> None:
        self._left, self._listed = list(done.result()), True
        self._next()

    def _next(self) -> None:
        """One night after the other, so that the list fills while it is looked at."""
        if self._closed:
            return
        if self._left:
            folder = self._left.pop(0)
            self._means.worker.ask(LINE, lambda: night_line(folder), self._on_line)
        self._changed()

    def _on_line(self, done: Done) -> None:
        self.lines.append(done.result())
        self._next()

    @property
    def night(self) -> NightLine | None:
        """The chosen one."""
        return self.lines[self.chosen] if self.chosen < len(self.lines) else None

    def act(self, intent: want.Intent) -> bool:
        """Do what concerns the list; False when it is for somebody else."""
        if intent is not OfTheList.DELETE:
            self._asking = None
        if isinstance(intent, want.ChooseNight):
            self.chosen = min(max(0, intent.row), max(0, len(self.lines) - 1))
        elif isinstance(intent, want.SayWhyNot):
            self._trouble = Trouble(intent.why, "")
        elif isinstance(intent, want.DismissTrouble):
            self._trouble = None
        elif self._work is not None and isinstance(intent, OfTheList) and intent is not OfTheList.LEAVE_REPORT:
            return True  # one thing after the other: a second would take the answer of the first
        elif isinstance(intent, OfTheList):
            self._trouble = None
            if (self.night is not None and not self.night.problem) or intent in (OfTheList.DELETE, OfTheList.FOLDER):
                self._do(intent)
        else:
            return False
        self._changed()
        return True

    def _do(self, intent: OfTheList) -> None:
        night = self.night
        if night is None:
            return
        folder = night.folder
        match intent:
            case OfTheList.REPORT:
                self._ask(words.REPORT, lambda: page_of(folder), self._on_report)
            case OfTheList.LEAVE_REPORT:
                self.report = None
            case OfTheList.SAVE_HTML | OfTheList.SAVE_PDF:
                pdf = intent is OfTheList.SAVE_PDF
                self._ask(words.SAVING, lambda: saved(folder, pdf), self._on_saved)
            case OfTheList.OPEN_REPORT:
                self._ask(words.SAVING, lambda: saved(folder, False), self._on_saved_to_open)
            case OfTheList.EXPORT:
                self._ask(words.EXPORTING, lambda: export_night(folder), self._on_exported)
            case OfTheList.FOLDER:
                self._show_outside(folder)
            case OfTheList.DELETE:
                self._delete(folder)
            case _:
                assert_never(intent)

    def _ask(self, title: str, job: Callable[[], object], answer: Callable[[Done], None]) -> None:
        self._work = Work(title, can_cancel=False)
        self._means.worker.ask(WORKING, job, lambda done: self._on_done(done, answer))

    def _on_done(self, done: Done, answer: Callable[[Done], None]) -> None:
        self._work = None
        if isinstance(done.problem, PolewrightError):
            self._trouble = Trouble(str(done.problem), window.RECORD_UNHARMED)
        elif not self._closed:
            answer(done)
        self._changed()

    def _on_report(self, done: Done) -> None:
        self.report = done.result()

    def _on_saved(self, done: Done) -> None:
        path: Path = done.result()
        self._say(words.saved(path.name, str(path.parent)))

    def _on_saved_to_open(self, done: Done) -> None:
        path: Path = done.result()
        self._show_outside(path)

    def _on_exported(self, done: Done) -> None:
        paths = done.result()
        self._say(window.written(" and ".join(path.name for path in paths), str(paths[0].parent)))

    def _show_outside(self, place: Path) -> None:
        shown = self._means.show_outside(place)
        self._say(words.lies_in(str(place)) if shown else words.not_shown(str(place)))

    def _delete(self, folder: Path) -> None:
        if self._asking != folder:
            self._asking = folder
            self._say(words.sure_to_delete(folder.name))
            return
        self._asking = None
        nights = self._means.data / "nights"
        self._ask(words.DELETING, lambda: delete_night(folder, nights), lambda done: self._on_deleted(done, folder))

    def _on_deleted(self, done: Done, folder: Path) -> None:
        done.result()
        self.lines = [line for line in self.lines if line.folder != folder]
        self.chosen = min(self.chosen, max(0, len(self.lines) - 1))
        self.report = None
        self._say(words.deleted(folder.name))

    def notify(self, said: Said) -> None:
        """Say something that happened elsewhere."""
        self._say(said)
        self._changed()

    def _say(self, said: Said) -> None:
        self._trouble = Trouble(*said)

    def view(self) -> View:
        """The list, or the report over it."""
        reading = not self._listed or bool(self._left)
        return nights_view(tuple(self.lines), self.chosen, reading, self.report, self._trouble, self._work)

    def close(self) -> list[str]:
        """Nothing runs on."""
        self._closed = True
        for name in (LISTING, LINE, WORKING):
            self._means.worker.forget(name)
        return []


def _listed(nights: Path) -> list[Path]:
    """All of them, once what was left of deleted ones is gone."""
    sweep_deleted(nights)
    return recorded_nights(nights)


def page_of(folder: Path) -> ReportPage:
    """The report of a night for the window's page."""
    return _page(read_report(folder, folder.name))


def _page(report: NightReport) -> ReportPage:
    return ReportPage(report.facts.name, *window_page(report_html(*report)))


def saved(folder: Path, pdf: bool) -> Path:
    """The report of a night on the disk, in its own folder; RecordingError when the disk refuses."""
    report, out = read_report(folder, folder.name), folder / "report"
    page = write_report(*report, out)[0]
    return write_pdf(_page(report), out / "report.pdf") if pdf else page
