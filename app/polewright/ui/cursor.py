"""The pointer: drawn by us in red light (the desktop's own is white), the desktop's by day."""

from __future__ import annotations

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QCursor, QPainter, QPen, QPixmap, QPolygonF
from PySide6.QtWidgets import QApplication

from polewright.ui.theme import Theme

SIZE = 32


def red_pointer(theme: Theme) -> QPixmap:
    """An arrow, black within and red around, whose tip is the hot spot."""
    picture = QPixmap(SIZE, SIZE)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setPen(QPen(QColor(*theme.palette.ink), 1.6))
    painter.setBrush(QColor(*theme.palette.ground))
    corners = ((2, 2), (2, 23), (7.5, 18), (11, 26), (15, 24), (11.5, 16.5), (19, 16))
    painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in corners]))
    painter.end()
    return picture


def set_pointer(theme: Theme) -> None:
    """One pointer for the whole program, dialogs and text fields included; by day the desktop's come back."""
    while QApplication.overrideCursor() is not None:
        QApplication.restoreOverrideCursor()
    if theme.red:
        QApplication.setOverrideCursor(QCursor(red_pointer(theme), 2, 2))
