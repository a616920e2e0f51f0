"""A report as PDF: the same rich text as in the window, on paper, in daylight colours."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QMarginsF, QUrl
from PySide6.QtGui import QColor, QPageLayout, QPageSize, QPdfWriter, QTextDocument

from polewright.core.errors import RecordingError
from polewright.services.atomic_file import write_atomically
from polewright.ui.look import plain_font
from polewright.ui.reader import drawn, dress
from polewright.ui.theme import DAY
from polewright.ui.view_model import ReportPage

DOTS_PER_INCH = 96  # so that pixels of the text are those of a screen
DRAWING_PX = 560
MARGIN_MM = 16.0


def write_pdf(page: ReportPage, target: Path) -> Path:
    """Write the report to `target`; RecordingError when the disk refuses."""
    try:
        write_atomically(target, _pdf(page))
    except OSError as error:
        raise RecordingError(f"{target} cannot be written: {error.strerror or error}.") from error
    return target


def _pdf(page: ReportPage) -> bytes:
    held = QByteArray()
    buffer = QBuffer(held)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setResolution(DOTS_PER_INCH)
    margins = QMarginsF(MARGIN_MM, MARGIN_MM, MARGIN_MM, MARGIN_MM)
    writer.setPageLayout(
        QPageLayout(
            QPageSize(QPageSize.PageSizeId.A4), QPageLayout.Orientation.Portrait, margins, QPageLayout.Unit.Millimeter
        )
    )
    writer.setTitle(page.title)
    document = QTextDocument()
    document.setDefaultFont(plain_font(13))
    for name, svg in page.pictures:
        picture = drawn(svg.encode(), DRAWING_PX)
        document.addResource(QTextDocument.ResourceType.ImageResource.value, QUrl(name), picture)
    document.setHtml(page.html)
    dress(document.rootFrame(), QColor(*DAY.line))
    document.print_(writer)
    del writer  # ends the file
    buffer.close()
    return bytes(held.data())
