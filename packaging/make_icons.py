"""Draws resources/icon.svg at every size a desktop asks for: `python packaging/make_icons.py FOLDER`.

Writes icon-16.png ... icon-512.png, icon.ico (Windows) and icon.icns (macOS). Works without a screen.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

SIZES = (16, 24, 32, 48, 64, 128, 256, 512)
DRAWING = Path(__file__).resolve().parents[1] / "resources" / "icon.svg"


def make_icons(folder: Path) -> list[Path]:
    """Every icon file below `folder`, which is made if missing."""
    from PIL import Image

    folder.mkdir(parents=True, exist_ok=True)
    pictures = [_png(size, folder / f"icon-{size}.png") for size in SIZES]
    with Image.open(pictures[-1]) as largest:
        for name in ("icon.ico", "icon.icns"):
            largest.save(folder / name)
    return [*pictures, folder / "icon.ico", folder / "icon.icns"]


def _png(size: int, path: Path) -> Path:
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtCore import QRectF, Qt
    from PySide6.QtGui import QGuiApplication, QImage, QPainter
    from PySide6.QtSvg import QSvgRenderer

    _application = QGuiApplication.instance() or QGuiApplication([])
    image = QImage(size, size, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(Qt.GlobalColor.transparent)
    painter = QPainter(image)
    QSvgRenderer(str(DRAWING)).render(painter, QRectF(0, 0, size, size))
    painter.end()
    if not image.save(str(path)):
        raise SystemExit(f"{path} cannot be written.")
    return path


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    for written in make_icons(Path(sys.argv[1])):
        print(written)
