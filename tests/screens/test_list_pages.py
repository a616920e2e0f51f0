"""The nights, their reports, the rehearsals and the guide: every text fits, is red at night, and can be read."""

from __future__ import annotations

import lzma
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QRect
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication, QListWidgetItem, QWidget
from pytestqt.qtbot import QtBot

from polewright.services.guide import Place, guide_pages
from polewright.services.report.night_line import NightLine, night_line
from polewright.ui import nights_page
from polewright.ui.drawing import LEDGER
from polewright.ui.driving.nights_scene import page_of
from polewright.ui.look import Look
from polewright.ui.main_window import FRAME_PX, TITLE_PX, MainWindow, opening_size
from polewright.ui.nights_page import NightList, NightsPage, _icon
from polewright.ui.presenting.nights import nights_view
from polewright.ui.reader import Reader
from polewright.ui.theme import Light, make_theme
from polewright.ui.view_model import ReportPage, Reticle, Trouble, View
from recorded_nights import FOLDER
from screens.conftest import MakeWindow
from screens.demo_views import PAGES
from screens.test_contrast import contrast_in, painted, too_faint_in
from screens.test_text_fits import SIZES

NIGHTS = ("calm", "southern-sky", "by-drift")


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    root = tmp_path_factory.mktemp("nights")
    for number, name in enumerate(NIGHTS):
        (root / f"2026-11-1{number}").mkdir()
        blob = lzma.decompress((FOLDER / f"{name}.jsonl.xz").read_bytes())
        (root / f"2026-11-1{number}" / "night.jsonl").write_bytes(blob)
    return tuple(sorted(root.iterdir()))


@pytest.fixture(scope="module")
def lines(folders: tuple[Path, ...]) -> tuple[NightLine, ...]:
    damaged = NightLine(folders[0].with_name("2026-11-01"), problem="Its record is damaged.")
    return (*map(night_line, folders), damaged)


@pytest.fixture(scope="module")
def page(folders: tuple[Path, ...]) -> ReportPage:
    return page_of(folders[0])


def listed(lines: tuple[NightLine, ...], chosen: int = 0, trouble: Trouble | None = None) -> View:
    return nights_view(lines, chosen, False, None, trouble, None)


def texts_of(window: MainWindow, picture: np.ndarray) -> list[tuple[str, np.ndarray]]:
    """Both lines of every row, and every paragraph of the page that is read, as far as they are seen."""
    seen: list[tuple[QWidget, QRect, str]] = []
    for rows in window.findChildren(NightList):
        for item in map(rows.item, range(rows.count())):
            seen += [(rows.viewport(), part, item.text()) for part in halves(rows, item)]
    for reader in window.findChildren(Reader):
        seen += [(reader.viewport(), box, text) for box, text in paragraphs(reader)]
    return [
        (text[:60], crop)
        for view, box, text in seen
        if view.isVisible() and (crop := cut(window, picture, view, box)).size
    ]


def halves(rows: NightList, item: QListWidgetItem) -> list[QRect]:
    """The rooms of the two lines of a row, without its stamp."""
    box = rows.visualItemRect(item).adjusted(rows.iconSize().width() + 6, 0, 0, 0)
    return [box.adjusted(0, 0, 0, -box.height() // 2), box.adjusted(0, box.height() // 2, 0, 0)]


def paragraphs(reader: Reader) -> Iterator[tuple[QRect, str]]:
    """Room and text of every paragraph; one of few letters may lie between the pixels."""
    document, block = reader.document(), reader.document().begin()
    while block.isValid():
        if len(block.text().strip("\ufffc ")) > 3 and "\ufffc" not in block.text():  # which stands for a picture
            box = document.documentLayout().blockBoundingRect(block).toAlignedRect()
            yield box.translated(0, -reader.verticalScrollBar().value()), block.text()
        block = block.next()


def cut(window: MainWindow, picture: np.ndarray, view: QWidget, box: QRect) -> np.ndarray:
    """The pixels of `box` in `view`; nothing of a line that is cut off by the view's edge."""
    if not view.rect().contains(box.center()) or box.bottom() > view.height() or box.top() < 0:
        return picture[:0]
    at = view.mapTo(window, box.intersected(view.rect()).topLeft())
    part = box.intersected(view.rect())
    return picture[at.y() : at.y() + part.height(), at.x() : at.x() + part.width()]


def assert_in_light(window: MainWindow, what: str) -> None:
    """Nothing overflows; at night nothing is green or blue; every text can be told from its ground."""
    LEDGER.overflows.clear()
    picture, drawn = painted(window)
    assert LEDGER.overflows == [], what
    if window.settings.light is Light.RED:
        assert not picture[..., 1:].any(), f"{what}: {np.argwhere(picture[..., 1:].max(axis=-1) > 0)[:1]}"
    judged = texts_of(window, picture)
    assert judged or what == "no nights"
    assert [f"{text!r} {got:.2f}" for text, crop in judged if (got := contrast_in(crop)) < 4.5] == [], what
    assert too_faint_in(window, picture, drawn, what, 4.5) == []


@pytest.mark.parametrize("light", Light)
@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_every_list_fits_in_both_lights(
    make_window: MakeWindow,
    lines: tuple[NightLine, ...],
    page: ReportPage,
    size: tuple[int, int],
    light: Light,
) -> None:
    window = make_window(*size, light=light)
    asked = Trouble("Delete the night 2026-11-12 for good?", "Press Delete again to do it, Escape to keep it.")
    views = (listed(lines), listed(lines, 3), listed(lines, 1, asked), listed(()))
    for view, what in zip(views, ("first", "damaged", "asked", "no nights"), strict=True):
        window.show_view(view)
        QApplication.processEvents()
        assert_in_light(window, what)
    window.show_view(nights_view(lines, 0, False, page, None, None))
    QApplication.processEvents()
    assert_in_light(window, "report")
    assert window.nights.report.horizontalScrollBar().maximum() <= 1, "nothing lies beyond the right edge"
    window.show_view(PAGES["first-run"]())
    window._show_rehearsals()
    assert_in_light(window, "rehearsals")
    for name in guide_pages():
        window._bring_guide(Place(name))
        assert_in_light(window, name)


def test_the_stamps_are_painted_again_only_in_another_look(
    make_window: MakeWindow, lines: tuple[NightLine, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    window = make_window(1280, 800, light=Light.DAY)
    window.show_view(listed(lines, 2))
    painted: list[Look] = []

    def icon(picture: Reticle, look: Look) -> QIcon:
        painted.append(look)
        return _icon(picture, look)

    monkeypatch.setattr(nights_page, "_icon", icon)
    window.nights.set_look(window.nights.look)
    assert painted == []
    window.nights.set_look(Look(make_theme(Light.RED)))
    assert painted == [window.nights.look] * len(lines) and window.nights.rows.currentRow() == 2


def test_the_window_opens_no_larger_than_the_screen_offers(make_window: MakeWindow) -> None:
    """1280 x 800 where there is room; less a task bar and a frame where there is not."""

    class Screen:
        def __init__(self, width: int, height: int) -> None:
            self.offered = (width, height)

        def availableSize(self) -> object:
            from PySide6.QtCore import QSize

            return QSize(*self.offered)

    for width, height in ((1024, 600), (1280, 752), (1093, 614), (1366, 768), (1920, 1040)):
        size = opening_size(Screen(width, height))  # type: ignore[arg-type]
        assert size.width() <= min(1280, width) and size.height() <= min(800, height - TITLE_PX)
        assert size.width() >= min(1280, width - 2 * FRAME_PX)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_the_menu_is_no_taller_than_the_screen(make_window: MakeWindow, size: tuple[int, int]) -> None:
    window = make_window(*size)
    for name in ("rough", "fine", "trainee", "watching"):
        window.show_view(PAGES[name]())
        window.build_menu()
        window._fit_menu(size[1])
        window.menu.ensurePolished()
        assert window.menu.sizeHint().height() <= size[1], name


def test_long_work_is_stopped_by_the_pointer_on_the_nights_page(qtbot: QtBot) -> None:
    page = NightsPage()
    qtbot.addWidget(page)
    with qtbot.waitSignal(page.pressed, timeout=1000):
        page.keys.stop.click()
