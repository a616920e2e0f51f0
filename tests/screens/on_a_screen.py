"""Every page of the window on the screen that Qt was started with: what is cut, and what lies outside.

Run by test_real_screens.py in a process of its own, because Qt reads scale factor and screen only when it starts:
`python -m screens.on_a_screen [FOLDER]` prints what was found as JSON; pictures of the pages go into FOLDER.
"""

from __future__ import annotations

import json
import lzma
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from PySide6.QtCore import QEvent, QPoint, QRect
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel, QWidget

from coach_reasons import SAMPLES
from polewright.core.night import advice as it
from polewright.core.night.advice import Advice
from polewright.services.guide import Place, guide_pages
from polewright.services.report.night_line import night_line
from polewright.ui.drawing import LEDGER
from polewright.ui.driving.nights_scene import page_of
from polewright.ui.main_window import MainWindow
from polewright.ui.nights_page import NightList
from polewright.ui.presenting.night import instruction
from polewright.ui.presenting.nights import nights_view
from polewright.ui.settings import WindowSettings
from polewright.ui.view_model import View
from recorded_nights import FOLDER
from screens.conftest import rgb
from screens.demo_plans import plan_view
from screens.demo_views import PAGES

DEFERRED_DELETE = QEvent.Type.DeferredDelete.value
SAID = (
    it.GuidingAsked,
    it.NudgeWanted,
    it.DriftGuided,
    it.NothingThere,
)  # long ones, on no page of PAGES
READ_FROM_AFAR = ("rough", "fine", "capture", "proof")


def pages(window: MainWindow, night: Path) -> Iterator[tuple[str, Callable[[], object]]]:
    """Every page by name, and how it is brought to the front."""
    for name, view in PAGES.items():
        yield name, lambda view=view: window.show_view(view())  # type: ignore[misc]
    for number, reason in enumerate(one for one in SAMPLES if isinstance(one, SAID)):
        yield f"said-{type(reason).__name__}-{number}", lambda reason=reason: window.show_view(saying(reason))  # type: ignore[misc]
    for name in READ_FROM_AFAR:
        yield f"reading-{name}", lambda name=name: _read(window, name)  # type: ignore[misc]
    window.set_reading(False)
    yield "keys", window._show_keys
    yield "credits", window.keys_page.credits.show
    yield "plan", lambda: _plan(window)
    yield "folders", window._ask_folder
    lines = (night_line(night),)
    listed, report = (nights_view(lines, 0, False, page, None, None) for page in (None, page_of(night)))
    yield "nights", lambda: _leave_for(window, listed)
    yield "report", lambda: window.show_view(report)
    yield "rehearsals", window._show_rehearsals
    for name in guide_pages():
        yield f"guide-{name}", lambda name=name: window._bring_guide(Place(name))  # type: ignore[misc]


def saying(reason: it.Reason) -> View:
    """The page on which the coach says it, with what it says."""
    page = PAGES["capture" if isinstance(reason, it.NothingThere) else "drifting"]()
    return replace(page, instruction=instruction(Advice(reason)))


def _plan(window: MainWindow) -> None:
    window.show_view(plan_view("whole"))
    window.show_plan_page()


def _leave_for(window: MainWindow, view: View) -> None:
    window.show_view(view)
    window._on_page_left()


def _read(window: MainWindow, name: str) -> None:
    window.show_view(PAGES[name]())
    window.set_reading(True)


def cut(widget: QWidget) -> str:
    """The text of a label, button or field that is larger than its room; "" where all of it is seen."""
    if isinstance(widget, QLabel) and widget.text():
        wide, high = widget.width(), widget.height()
        needs = widget.heightForWidth(wide) if widget.wordWrap() else widget.sizeHint().height()
        return widget.text() if needs > high + 1 or widget.minimumSizeHint().width() > wide + 1 else ""
    if isinstance(widget, QAbstractButton) and widget.text():
        return widget.text() if widget.fontMetrics().horizontalAdvance(widget.text()) > widget.width() else ""
    return ""


def elided(rows: NightList) -> list[str]:
    """Rows whose second line is not drawn: stock lists say nothing when they leave one out."""
    found, room = [], rows.viewport().rect()
    for row in map(rows.item, range(rows.count())):
        box = rows.visualItemRect(row)
        second = box.adjusted(box.height() + 20, 3 * box.height() // 4, -box.width() // 3, -5)
        if room.contains(second) and not np.ptp(rgb(rows.viewport().grab(second))[:, :, 0]):
            found.append(row.text())
    return found


def outside(widget: QWidget, window: MainWindow) -> bool:
    """Whether a part of it lies beyond the edge of its parent, and is thereby hidden (a list scrolls)."""
    at = QRect(widget.mapTo(window, QPoint(0, 0)), widget.size())
    return not window.rect().contains(at) and not _scrolled(widget)


def squeezed(widget: QWidget) -> bool:
    """Whether its layout needs more room than it has: then its parts lie over each other."""
    layout = widget.layout()
    needs = layout.minimumSize() if layout is not None else widget.size()
    return needs.width() > widget.width() or needs.height() > widget.height()


def _scrolled(widget: QWidget) -> bool:
    parent = widget.parentWidget()
    return parent is not None and (parent.objectName() == "qt_scrollarea_viewport" or _scrolled(parent))


def look_at(window: MainWindow, name: str) -> list[str]:
    """What is wrong with the page on show."""
    LEDGER.overflows.clear()
    QApplication.processEvents()
    window.grab()
    if window.guide.isVisible() and window.guide.reader.horizontalScrollBar().maximum() > 1:
        return [f"{name}: text lies beyond the right edge"]
    found = [f"{name}: {text!r} does not fit" for text in LEDGER.overflows]
    lists = [rows for rows in window.findChildren(NightList) if rows.isVisible()]
    found += [f"{name}: {text!r} is elided" for rows in lists for text in elided(rows)]
    for widget in window.findChildren(QWidget):
        if widget.isVisible():
            text = cut(widget)
            found += [f"{name}: {text!r} is cut"] if text else []
            found += [f"{name}: {widget!r} lies outside"] if outside(widget, window) else []
            found += [f"{name}: {widget!r} is too small for its parts"] if squeezed(widget) else []
    return found


def main(pictures: Path | None) -> dict[str, object]:
    """Every page, in daylight."""
    window = MainWindow(WindowSettings())
    window.night.well.animated = False
    window.show()
    QApplication.processEvents()
    screen, frame = window.screen().availableGeometry(), window.frameGeometry()
    found = [] if screen.contains(frame) else [f"the window {frame} is larger than the screen {screen}"]
    seen = []
    with tempfile.TemporaryDirectory() as home:
        night = Path(home) / "2026-11-10"
        night.mkdir()
        (night / "night.jsonl").write_bytes(lzma.decompress((FOLDER / "calm.jsonl.xz").read_bytes()))
        for name, show in pages(window, night):
            show()
            found += look_at(window, name)
            seen.append(name)
            if pictures is not None:
                window.grab().save(str(pictures / f"{name}.png"))
    size = window.size()
    window.close()
    window.deleteLater()
    return {"seen": seen, "found": found, "window": size.toTuple(), "screen": screen.size().toTuple()}


if __name__ == "__main__":
    app = QApplication([])
    result = main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
    app.sendPostedEvents(None, DEFERRED_DELETE)  # the window goes before the application
    print(json.dumps(result))
