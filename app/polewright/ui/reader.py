"""Rich text in the window's own light: the guide and reports, their pictures made red at night."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QByteArray, QRectF, Qt, QUrl
from PySide6.QtGui import (
    QColor,
    QImage,
    QKeyEvent,
    QPainter,
    QTextBlockFormat,
    QTextCursor,
    QTextFrameFormat,
    QTextTable,
)
from PySide6.QtWidgets import QTextBrowser, QWidget

from polewright.ui.look import BODY, Look, plain_font
from polewright.ui.theme import Light, Role, make_theme

Pictures = Callable[[str], bytes | None]
SCROLLS = (
    Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_PageUp, Qt.Key.Key_PageDown, Qt.Key.Key_Home, Qt.Key.Key_End,
)  # fmt: skip
LINE_PERCENT = 130.0  # of the type's height: long texts are read more easily (common practice, no source)
DRAWING_PX = 620.0  # width of a drawing at a unit of 1
LEADS_TO_DRAWING = "drawing-"


class Reader(QTextBrowser):
    """A text to scroll through; keys that do not scroll are the page's. `pictures` gives the bytes of a picture."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = Look(make_theme(Light.DAY))
        self.pictures: Pictures = lambda name: None
        self._show: Callable[[], None] = lambda: None
        self.setOpenLinks(False)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)

    def show_markdown(self, text: str, pictures: Pictures) -> None:
        """Show a page of the guide."""
        self._begin(pictures, lambda: self.document().setMarkdown(text))

    def show_html(self, text: str, pictures: Pictures) -> None:
        """Show a report."""
        self._begin(pictures, lambda: self.document().setHtml(text))

    def _begin(self, pictures: Pictures, show: Callable[[], None]) -> None:
        self.pictures, self._show = pictures, show
        self._again()
        self.moveCursor(QTextCursor.MoveOperation.Start)
        self.verticalScrollBar().setValue(0)

    def set_look(self, look: Look) -> None:
        """Wear another theme or size; the place in the text stays."""
        if look == self.look:
            return
        self.look = look
        bar = self.verticalScrollBar()
        share = bar.value() / max(1, bar.maximum())
        self._again()
        bar.setValue(round(share * bar.maximum()))

    def _again(self) -> None:
        document = self.document()
        document.clear()
        document.setDefaultFont(plain_font(round(self.look.px(BODY * 1.06))))
        document.setDefaultStyleSheet(_style(self.look))
        document.setDocumentMargin(self.look.px(18))
        self._show()
        dress(document.rootFrame(), self.look.colour("line"))
        _space_lines(self)

    def loadResource(self, kind: int, url: QUrl | str) -> object:
        """Pictures come from whoever shows the page, never from anywhere else."""
        name = QUrl(url).path()
        data = self.pictures(name)
        if data is None:
            return None
        wide = min(self.look.px(DRAWING_PX), max(200.0, self.viewport().width() - self.look.px(60)))
        image = drawn(data, round(wide)) if name.startswith(LEADS_TO_DRAWING) else scaled(data, round(wide))
        return reddened(image, self.look) if self.look.theme.red else image

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Scrolling keys scroll; all others belong to the page."""
        if event.key() in SCROLLS and not event.modifiers() & Qt.KeyboardModifier.AltModifier:
            super().keyPressEvent(event)
        else:
            event.ignore()

    def go_to(self, words: str) -> bool:
        """Bring the first place with these words to the top; False where there is none."""
        found = self.document().find(words)
        if not words or found.isNull():
            return False
        top = self.document().documentLayout().blockBoundingRect(found.block()).top()
        self.verticalScrollBar().setValue(round(top - self.look.px(BODY)))
        return True


def _style(look: Look) -> str:
    roles: tuple[Role, ...] = ("ink", "strong", "faint")
    names = {role: look.colour(role).name() for role in roles}
    return (
        f"body, p, td, th, li {{ color: {names['ink']}; }} h1, h2, h3, th, strong {{ color: {names['strong']}; }}"
        f" .faint {{ color: {names['faint']}; }} a {{ color: {names['strong']}; }}"
        " td, th { padding: 3px 14px 3px 0; text-align: left; }"
    )


def dress(frame: object, line: QColor) -> None:
    """Lines of tables in the window's own colour: Qt's are grey."""
    for child in frame.childFrames():  # type: ignore[attr-defined]
        if isinstance(child, QTextTable):
            form = child.format()
            form.setBorderBrush(line)
            form.setBorderStyle(QTextFrameFormat.BorderStyle.BorderStyle_Solid)
            form.setBorderCollapse(True)
            form.setBorder(1.0)
            form.setCellPadding(5.0)
            child.setFormat(form)
        dress(child, line)


def _space_lines(reader: QTextBrowser) -> None:
    cursor = QTextCursor(reader.document())
    cursor.select(QTextCursor.SelectionType.Document)
    form = QTextBlockFormat()
    form.setNonBreakableLines(False)  # a command's line that is longer than the page goes on below
    form.setLineHeight(LINE_PERCENT, QTextBlockFormat.LineHeightTypes.ProportionalHeight.value)
    cursor.mergeBlockFormat(form)


def drawn(svg: bytes, wide: int) -> QImage:
    """An SVG drawing on paper, `wide` pixels wide."""
    from PySide6.QtSvg import QSvgRenderer  # no start of the window waits for it

    renderer = QSvgRenderer(QByteArray(svg))
    size = renderer.defaultSize()
    image = QImage(wide, max(1, round(wide * size.height() / max(1, size.width()))), QImage.Format.Format_RGB32)
    image.fill(0xFFFFFFFF)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    renderer.render(painter, QRectF(image.rect()))
    painter.end()
    return image


def scaled(data: bytes, wide: int) -> QImage:
    """A picture of the guide, no wider than `wide` pixels."""
    image = QImage.fromData(QByteArray(data))
    return image if image.width() <= wide else image.scaledToWidth(wide, Qt.TransformationMode.SmoothTransformation)


def reddened(image: QImage, look: Look) -> QImage:
    """The picture in red light: a bright page is turned over. No green, no blue."""
    grey = image.convertToFormat(QImage.Format.Format_Grayscale8)
    if _mean(grey) > 128:  # a bright page is turned over
        grey.invertPixels()
    indexed = grey.convertToFormat(QImage.Format.Format_Indexed8)
    top = look.colour("ink").red()
    indexed.setColorTable([QColor(round(QColor(c).red() * top / 255), 0, 0).rgb() for c in indexed.colorTable()])
    return indexed.convertToFormat(QImage.Format.Format_RGB32)


def _mean(grey: QImage) -> float:
    small = grey.scaled(8, 8, Qt.AspectRatioMode.IgnoreAspectRatio, Qt.TransformationMode.SmoothTransformation)
    return sum(small.pixelColor(x, y).red() for x in range(8) for y in range(8)) / 64.0
