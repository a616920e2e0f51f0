"""An SVG drawing as PNG bytes."""

from __future__ import annotations

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QRectF
from PySide6.QtGui import QGuiApplication, QImage, QPainter
from PySide6.QtSvg import QSvgRenderer


def png_of(svg: bytes, width_px: int) -> bytes:
    """PNG bytes, `width_px` wide, white behind; makes an application where there is none, for its fonts."""
    application = QGuiApplication.instance() or QGuiApplication([])
    renderer = QSvgRenderer(QByteArray(svg))
    size = renderer.defaultSize()
    height_px = max(1, round(width_px * size.height() / max(size.width(), 1)))
    image = QImage(width_px, height_px, QImage.Format.Format_RGB32)
    image.fill(0xFFFFFFFF)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    renderer.render(painter, QRectF(0.0, 0.0, width_px, height_px))
    painter.end()
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")  # type: ignore[call-overload]
    del application
    return bytes(buffer.data().data())
