"""The page of tonight's plan: nothing clipped, nothing overlapping, and drawn to scale."""

from __future__ import annotations

import itertools
import math

import pytest
from PySide6.QtCore import QRectF
from PySide6.QtWidgets import QLabel, QWidget

from polewright.ui.blur_plot import blur_axes
from polewright.ui.drawing import LEDGER
from polewright.ui.look import SMALLEST_PX
from polewright.ui.plan_page import PlanPage
from screens.conftest import MakeWindow, rgb
from screens.demo_plans import PLANS, plan_view, plots
from screens.test_text_fits import SIZES


def parts(page: PlanPage) -> list[QWidget]:
    found = [*page.fields.values(), *page.buttons, page.plot, page.facts, page.keys]
    return [part for part in found if part.isVisible()]


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_every_text_fits_and_no_part_lies_over_another(make_window: MakeWindow, size: tuple[int, int]) -> None:
    window = make_window(*size)
    page = window.plan_page
    for name in PLANS:
        window.show_view(plan_view(name))
        window.show_plan_page()
        assert page.isVisible()
        for choice in page.choices:
            choice.click()
            LEDGER.overflows.clear()
            window.grab()
            assert LEDGER.overflows == [], f"{name}, {choice.text()} at {size}"
    for a, b in itertools.combinations(parts(page), 2):
        assert not a.geometry().intersects(b.geometry()), f"{a} over {b}"
    for part in parts(page):
        assert page.rect().contains(part.geometry()), part
    for label in page.findChildren(QLabel):
        assert label.sizeHint().width() <= label.width() + 1, label.text()
        assert label.font().pixelSize() >= SMALLEST_PX
    for field in page.fields.values():
        assert field.edit.height() >= 32 and field.edit.fontMetrics().height() <= field.edit.height()
    assert page.keys.shown >= 5
    page.open_objects()
    LEDGER.overflows.clear()
    window.grab()
    assert LEDGER.overflows == []
    for a, b in itertools.combinations(page.objects.buttons, 2):
        assert not a.geometry().intersects(b.geometry())
    assert all(page.objects.rect().contains(b.geometry()) for b in page.objects.buttons)
    window._show_keys()
    window.grab()
    assert LEDGER.overflows == []


def test_large_buttons_are_for_gloves(make_window: MakeWindow) -> None:
    """15 mm on a 14-inch panel of 1920 x 1080 are 93 px."""
    window = make_window(1920, 1080)
    window.show_view(plan_view("whole"))
    window.show_plan_page()
    for button in (window.plan_page.use, window.plan_page.aim, window.plan_page.back):
        assert button.height() >= 93 and button.width() >= 93
    window.plan_page.open_objects()
    assert all(b.height() >= 93 and b.width() >= 93 for b in window.plan_page.objects.buttons)


def test_the_plots_are_to_scale() -> None:
    """Equal factors are equal distances; more blur is higher; the allowed line lies inside."""
    room = QRectF(100.0, 50.0, 600.0, 300.0)
    by_time, _, by_declination = plots()
    axes = blur_axes(by_time, room)
    assert axes.y_px(-1.0) - axes.y_px(0.0) == pytest.approx(axes.y_px(0.0) - axes.y_px(1.0))
    assert axes.y_px(0.0) > axes.y_px(1.0)
    assert axes.x_px(math.log10(15.0)) == pytest.approx(100.0) and axes.x_px(math.log10(10800.0)) == pytest.approx(
        700.0
    )
    assert room.top() < axes.y_px(math.log10(0.5)) < room.bottom()
    assert blur_axes(by_declination, room).x == (
        float(by_declination.curves[0].x[0]),
        float(by_declination.curves[0].x[-1]),
    )


def test_the_error_there_is_now_can_be_seen(make_window: MakeWindow) -> None:
    """Its curve and its marker are drawn: without them the picture is another one."""
    window = make_window(1280, 800)
    window.show_view(plan_view("whole"))
    window.show_plan_page()
    plot = window.plan_page.plot
    with_it = rgb(plot.grab())
    before = plot.plot
    assert before is not None
    plot.show_plot(type(before)(before.title, before.ticks, before.curves[:1], before.marks[:1], 0.5, "allowed"))
    assert (rgb(plot.grab()) != with_it).any(axis=-1).sum() > 800


def test_the_page_goes_with_its_night(make_window: MakeWindow) -> None:
    from screens.demo_views import PAGES

    window = make_window()
    window.show_view(plan_view("whole"))
    window.show_plan_page()
    assert window.plan_page.isVisible()
    window.show_view(PAGES["first-run"]())
    assert window.first.isVisible() and not window.plan_page.isVisible()
