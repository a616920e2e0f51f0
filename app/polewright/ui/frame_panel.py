"""The latest frame, small: grey by day, red at night, with what was found in it."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import CENTRE, LEFT, WRAP, draw_fitted
from polewright.ui.look import SMALL
from polewright.ui.panel import Panel
from polewright.ui.theme import Role, Theme
from polewright.ui.view_model import FramePicture


def colour_table(theme: Theme) -> list[int]:
    """256 entries for an indexed picture: black to near white by day, black to dim red at night."""
    if theme.red:
        top = theme.palette.shade[0]
        return [QColor(round(top * i / 255), 0, 0).rgb() for i in range(256)]
    return [QColor(i, i, i).rgb() for i in range(256)]


class FramePanel(Panel):
    """Matched stars wear a ring, the others a small square; the field centre an open cross."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.picture: FramePicture | None = None
        self._image: QImage | None = None

    def show_picture(self, picture: FramePicture | None) -> None:
        """Show another frame."""
        if picture is not self.picture:
            self.picture = picture
            self._image = None
            if picture is not None:
                self.setAccessibleDescription(f"{picture.name}, {picture.stars_text}, {picture.age_text}")
            self.update()

    def look_changed(self) -> None:
        self._image = None

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        lines = self._lines() if self.picture is not None else ("",)
        caption_w = max(QFontMetricsF(look.font(SMALL)).horizontalAdvance(t) for t in lines) + look.px(18)
        wide = box.width() - caption_w > 1.1 * box.height()
        caption_h = 0.0 if wide else look.px(42)
        area = QRectF(box.left(), box.top(), box.width() - (caption_w if wide else 0.0), box.height() - caption_h)
        if self.picture is None:
            painter.setPen(look.pen("line", 1.2))
            painter.drawRect(area.adjusted(0.5, 0.5, -0.5, -0.5))
            inner = area.adjusted(look.px(8), look.px(8), -look.px(8), -look.px(8))
            draw_fitted(painter, "No frame yet", inner, look.px(SMALL), look.colour("faint"), flags=CENTRE | WRAP)
            return
        if self._image is None:
            self._image = self._make_image(self.picture.pixels)
        size = self._image.size()
        factor = min(area.width() / size.width(), area.height() / size.height())
        shown = QRectF(area.left(), area.top(), size.width() * factor, size.height() * factor)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawImage(shown, self._image)
        self._draw_stars(painter, shown, factor)
        if wide:
            left = shown.right() + look.px(14)
            caption = QRectF(left, box.top(), box.right() - left, look.px(66))
            self._draw_caption(painter, caption, lines)
        else:
            caption = QRectF(box.left(), shown.bottom() + look.px(3), box.width(), caption_h - look.px(3))
            self._draw_caption(painter, caption, lines)

    def _lines(self) -> tuple[str, ...]:
        assert self.picture is not None
        return self.picture.stars_text, f"{self.picture.width_text}, {self.picture.age_text}"

    def _make_image(self, pixels: np.ndarray) -> QImage:
        data = np.ascontiguousarray(pixels, dtype=np.uint8)
        high, wide = data.shape
        image = QImage(data.data, wide, high, wide, QImage.Format.Format_Indexed8)
        image.setColorTable(colour_table(self.look.theme))
        return image.convertToFormat(QImage.Format.Format_RGB32)

    def _draw_stars(self, painter: QPainter, shown: QRectF, factor: float) -> None:
        assert self.picture is not None
        look = self.look
        bright = look.colour("strong") if look.theme.red else QColor(*look.theme.palette.raised)
        painter.setPen(QPen(bright, max(1.0, look.px(1.2))))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        ring, square = look.px(4.5), look.px(2.2)
        for (x, y), known in zip(self.picture.stars_px[:120], self.picture.matched[:120]):
            at = QPointF(shown.left() + (x + 0.5) * factor, shown.top() + (y + 0.5) * factor)
            if known:
                painter.drawEllipse(at, ring, ring)
            else:
                painter.drawRect(QRectF(at.x() - square, at.y() - square, 2 * square, 2 * square))
        c, reach = shown.center(), look.px(9)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            painter.drawLine(
                QPointF(c.x() + dx * reach * 0.4, c.y() + dy * reach * 0.4),
                QPointF(c.x() + dx * reach, c.y() + dy * reach),
            )

    def _draw_caption(self, painter: QPainter, box: QRectF, lines: tuple[str, ...]) -> None:
        assert self.picture is not None
        look = self.look
        high = box.height() / len(lines)
        for i, text in enumerate(lines):
            row = QRectF(box.left(), box.top() + i * high, box.width(), high)
            role: Role = "ink" if self.picture.stale and i == len(lines) - 1 else "faint"
            draw_fitted(painter, text, row, look.px(SMALL), look.colour(role), flags=LEFT)
