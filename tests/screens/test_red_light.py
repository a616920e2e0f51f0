"""Red light: every pixel the program draws has green = blue = 0, at every size and brightness, in every state."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFont
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QToolTip, QWidget

from polewright.ui.cursor import red_pointer
from polewright.ui.frame_panel import colour_table
from polewright.ui.main_window import MainWindow
from polewright.ui.theme import BRIGHTNESS_STEPS, RED, Light, make_theme
from screens.conftest import MakeWindow, rgb
from screens.demo_plans import PLANS, plan_view
from screens.demo_views import PAGES

SIZES = ((1024, 600), (1920, 1080))


def assert_red(picture: np.ndarray, what: str, something: bool = True) -> None:
    """Green and blue are 0 everywhere, and there is something to see."""
    wrong = np.argwhere(picture[..., 1:].max(axis=-1) > 0)
    assert wrong.size == 0, (
        f"{what}: {len(wrong)} pixels are not red, first at {wrong[0]}: {picture[tuple(wrong[0])]}"
    )
    if something:
        assert picture[..., 0].max() > 20, f"{what}: nothing to see"


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_every_page_is_red(make_window: MakeWindow, size: tuple[int, int]) -> None:
    window = make_window(*size, light=Light.RED)
    for name, view in PAGES.items():
        window.show_view(view())
        for reading in (False, True) if name in ("rough", "fine-stale", "capture", "drifting") else (False,):
            window.set_reading(reading)
            assert_red(rgb(window.grab()), f"{name}, reading {reading}")
        window.set_reading(False)


def test_what_is_presented_is_red_too(make_window: MakeWindow) -> None:
    window = make_window(light=Light.RED)
    window.show_view(PAGES["rough"]())
    QApplication.processEvents()
    assert_red(rgb(window.screen().grabWindow(window.winId())), "the screen itself")


@pytest.mark.parametrize("brightness", BRIGHTNESS_STEPS)
def test_every_brightness_is_red(make_window: MakeWindow, brightness: float) -> None:
    window = make_window(light=Light.RED, brightness=brightness)
    window.show_view(PAGES["fine"]())
    picture = rgb(window.grab())
    assert_red(picture, f"brightness {brightness}")
    assert picture[..., 0].max() <= round(255 * brightness) + 1


def test_menu_folder_page_and_keys_are_red(make_window: MakeWindow, tmp_path: Path) -> None:
    window = make_window(light=Light.RED)
    for i in range(60):
        (tmp_path / f"night {i:02d}").mkdir()
    window.show_view(PAGES["rough"]())
    window.build_menu()
    menu = window.menu
    menu.ensurePolished()
    assert_red(rgb(menu.grab()), "menu")
    menu.setActiveAction(menu.actions()[1])
    assert_red(rgb(menu.grab()), "menu with a chosen line")
    window._ask_folder()
    window.folders.go(tmp_path)
    QApplication.processEvents()
    assert window.folders.rows.verticalScrollBar().isVisible()
    assert_red(rgb(window.grab()), "folders, with a scroll bar")
    window.folders.path.setFocus()
    window.folders.path.selectAll()
    assert_red(rgb(window.grab()), "folders, path selected")
    window.folders.go(tmp_path / "not there")
    assert_red(rgb(window.grab()), "folders, with a problem")
    window._on_page_left()
    window._show_keys()
    assert_red(rgb(window.grab()), "keys")
    window.keys_page.credits.show()
    assert_red(rgb(window.grab()), "credits")


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_the_plan_is_red(make_window: MakeWindow, size: tuple[int, int]) -> None:
    """The page with every plot, while it is computed, with a problem; its fields, the list of targets, its keys."""
    window = make_window(*size, light=Light.RED)
    page = window.plan_page
    for name in PLANS:
        window.show_view(plan_view(name))
        window.show_plan_page()
        for choice in page.choices:
            choice.click()
            assert_red(rgb(window.grab()), f"plan {name}, {choice.text()}")
    for field in page.fields.values():
        field.edit.setFocus(Qt.FocusReason.TabFocusReason)
        field.edit.selectAll()
        assert_red(rgb(field.grab()), f"selection in {field.label.text()}")
        field.edit.deselect()
        assert_red(rgb(field.grab()), f"caret in {field.label.text()}")
    page.use.setDown(True)
    assert_red(rgb(window.grab()), "pressed button")
    page.open_objects()
    assert_red(rgb(window.grab()), "targets")
    window._show_keys()
    assert_red(rgb(window.grab()), "keys of the plan")


@pytest.mark.qt_log_ignore("does not support raise")  # the offscreen platform has no stack of windows
def test_tooltip_is_red(make_window: MakeWindow) -> None:
    window = make_window(light=Light.RED)
    window.show_view(PAGES["rough"]())
    QToolTip.showText(window.mapToGlobal(QPoint(300, 300)), "Three frames are needed first.", window)
    tips = [w for w in QApplication.topLevelWidgets() if w.inherits("QTipLabel")]
    assert tips
    assert_red(rgb(tips[0].grab()), "tooltip")
    QToolTip.hideText()


def test_states_of_controls_are_red(make_window: MakeWindow) -> None:
    """Typing, selecting, an empty field, disabled buttons, the focus on every part, the pointer over a button."""
    window = make_window(light=Light.RED)
    window.show_view(PAGES["first-run"]())
    window.first.begin.setEnabled(False)
    for field in window.first.fields:
        field.edit.setFocus(Qt.FocusReason.TabFocusReason)
        assert_red(rgb(field.grab()), f"caret in {field.label.text()}")
        field.edit.selectAll()
        assert_red(rgb(field.grab()), f"selection in {field.label.text()}")
        field.edit.clear()
        field.edit.setPlaceholderText("as in the header")
        assert_red(rgb(field.grab()), f"placeholder in {field.label.text()}")
    window.first.latitude.edit.setEnabled(False)
    assert_red(rgb(window.grab()), "disabled field")
    window.show_view(PAGES["rehearsal"]())
    for _ in range(12):
        QTest.keyClick(window, Qt.Key.Key_Tab)
        focused = QApplication.focusWidget()
        assert focused is not None
        assert_red(rgb(focused.grab()), f"focus on {focused}")
    QTest.mouseMove(window.night.primary.buttons[0])
    window.night.primary.buttons[0].setDown(True)
    assert_red(rgb(window.grab()), "pressed button")


def test_entering_and_leaving_never_shows_a_bright_frame(make_window: MakeWindow) -> None:
    """After the switch the very next painting is wholly red; entering full screen does not change that."""
    window = make_window()
    window.show_view(PAGES["fine"]())
    window._toggle_red()
    assert_red(rgb(window.grab()), "at once after the switch")
    for _ in range(3):
        QApplication.processEvents()
        assert_red(rgb(window.screen().grabWindow(window.winId())), "while filling the screen")
    window._toggle_red()
    day = rgb(window.grab())
    assert day[..., 1:].max() > 200


def test_a_window_made_in_red_light_is_red_from_its_first_frame(make_window: MakeWindow) -> None:
    window = MainWindow(make_window(light=Light.RED).settings)
    assert_red(rgb(window.grab()), "before it was ever shown")
    window.deleteLater()


def test_frames_and_pointer_are_red() -> None:
    theme = make_theme(Light.RED)
    table = np.array(colour_table(theme), dtype=np.uint32)
    assert not (table & 0xFFFF).any()
    assert (table >> 16 & 0xFF).max() <= RED.shade[0]
    pointer = red_pointer(theme).toImage()
    for x in range(pointer.width()):
        for y in range(pointer.height()):
            colour = pointer.pixelColor(x, y)
            assert colour.alpha() == 0 or (colour.green() == 0 and colour.blue() == 0)


def test_text_is_smoothed_in_grey_only(make_window: MakeWindow) -> None:
    """Sub-pixel smoothing would put green and blue fringes on a real screen: no widget may ask for it."""
    window = make_window(light=Light.RED)
    for view in PAGES.values():
        window.show_view(view())
    for widget in [window, *window.findChildren(QWidget)]:
        strategy = widget.font().styleStrategy()
        assert strategy & QFont.StyleStrategy.NoSubpixelAntialias, widget
    assert QApplication.font().styleStrategy() & QFont.StyleStrategy.NoSubpixelAntialias
    assert QToolTip.font().styleStrategy() & QFont.StyleStrategy.NoSubpixelAntialias


def test_no_native_dialog_is_ever_opened() -> None:
    """The desktop's own dialogs would shine white: nothing in the package names one."""
    package = Path(MainWindow.__module__.replace(".", "/")).parent
    import polewright.ui

    folder = Path(polewright.ui.__file__).parent
    assert package.name == folder.name
    for source in folder.glob("*.py"):
        text = source.read_text(encoding="utf-8")
        for name in ("QFileDialog", "QMessageBox", "QColorDialog", "QFontDialog", "QInputDialog", "QProgressDialog"):
            assert name not in text, f"{source.name} uses {name}"
    assert QLabel is not None
