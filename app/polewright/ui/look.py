"""A theme turned into Qt's own objects: colours, fonts, the application palette and the style sheet.

All text is antialiased in grey (no sub-pixel colour fringes), in one typeface with figures of equal width.

Decided 2026-11-25. Source Sans (SIL Open Font License) from the package font-source-sans-pro: figures of equal
width, narrow enough for long sentences, the same on every desktop. Without the package the desktop's own typeface
is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from PySide6.QtGui import QColor, QFont, QFontDatabase, QPalette, QPen

from polewright.ui.theme import Rgb, Role, Theme, mix

# Text sizes in px at a unit of 1 (a window of 1280 x 800); the floor of 12 px holds in the smallest windows.
SENTENCE, READING, BIG, VALUE, BODY, SMALL = 42, 150, 26, 21, 17, 15
SMALLEST_PX = 12
GLOVE_PX = 93  # 15 mm on a 14-inch panel of 1920 x 1080


@dataclass(frozen=True)
class Look:
    """A theme at a size: `unit` is 1 for a window of 1280 x 800 and grows with it."""

    theme: Theme
    unit: float = 1.0

    def colour(self, role: Role) -> QColor:
        """The colour of a role."""
        return QColor(*getattr(self.theme.palette, role))

    def between(self, role_a: Role, role_b: Role, share_of_b: float) -> QColor:
        """A colour between two roles."""
        palette = self.theme.palette
        return QColor(*mix(getattr(palette, role_a), getattr(palette, role_b), share_of_b))

    def px(self, size: float) -> float:
        """A length given for a unit of 1."""
        return size * self.unit

    def font(self, size: float, weight: QFont.Weight = QFont.Weight.Normal) -> QFont:
        """The typeface at `size` px for a unit of 1, never smaller than can be read."""
        return plain_font(max(SMALLEST_PX, round(size * self.unit)), weight)

    def pen(self, role: Role, width: float = 1.5) -> QPen:
        """A pen of a role's colour, width for a unit of 1."""
        return QPen(self.colour(role), max(1.0, self.px(width)))


@lru_cache(maxsize=256)
def plain_font(pixels: int, weight: QFont.Weight = QFont.Weight.Normal) -> QFont:
    """The typeface at a pixel size, grey antialiasing, figures of equal width."""
    font = QFont(family())
    font.setPixelSize(max(1, pixels))
    font.setWeight(weight)
    font.setStyleStrategy(QFont.StyleStrategy.PreferAntialias | QFont.StyleStrategy.NoSubpixelAntialias)
    font.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
    return font


@lru_cache(maxsize=1)
def family() -> str:
    """Source Sans (SIL Open Font License, package font-source-sans-pro); the desktop's own typeface without it."""
    spec = find_spec("font_source_sans_pro")
    if spec is not None and spec.origin is not None:
        folder = Path(spec.origin).parent / "files"
        loaded = [
            QFontDatabase.addApplicationFont(str(folder / f"SourceSansPro-{cut}.ttf"))
            for cut in ("Regular", "Semibold", "Bold")
        ]
        if loaded[0] >= 0:
            return QFontDatabase.applicationFontFamilies(loaded[0])[0]
    return QFontDatabase.systemFont(QFontDatabase.SystemFont.GeneralFont).family()


def qt_palette(theme: Theme) -> QPalette:
    """Every role of Qt's palette in every state, so that nothing falls back to a colour of the desktop."""
    p = theme.palette
    role = QPalette.ColorRole
    colours: dict[QPalette.ColorRole, Rgb] = {
        role.Window: p.ground, role.WindowText: p.ink, role.Base: p.raised, role.AlternateBase: p.hollow,
        role.Text: p.ink, role.Button: p.raised, role.ButtonText: p.ink, role.BrightText: p.strong,
        role.Highlight: p.ink, role.HighlightedText: p.ground, role.Link: p.ink, role.LinkVisited: p.ink,
        role.ToolTipBase: p.raised, role.ToolTipText: p.ink, role.PlaceholderText: p.faint,
        role.Light: p.line, role.Midlight: p.line, role.Mid: p.shade, role.Dark: p.shade, role.Shadow: p.ground,
        role.Accent: p.ink,
    }  # fmt: skip
    palette = QPalette()
    for group in (QPalette.ColorGroup.Active, QPalette.ColorGroup.Inactive, QPalette.ColorGroup.Disabled):
        for name, colour in colours.items():
            palette.setColor(group, name, QColor(*colour))
    for name in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, name, QColor(*p.faint))
    return palette


def style_sheet(look: Look) -> str:
    """Flat drawing of the few stock controls in use, so that no style mixes colours of its own into them."""
    p = look.theme.palette
    css = {name: "#{:02x}{:02x}{:02x}".format(*getattr(p, name)) for name in p.__dataclass_fields__}
    css |= {
        "chosen": css["hollow" if look.theme.red else "ink"],  # never a filled bright panel at night
        "on_chosen": css["strong" if look.theme.red else "ground"],
        "body": f"{max(SMALLEST_PX, round(look.px(BODY)))}px",
        "pad": f"{round(look.px(8))}px",
        "beside": f"{round(look.px(8)) - 1}px",  # less the rim of a row, which only the chosen one shows
        "wide": f"{round(look.px(14))}px",
        "row": f"{round(look.px(38))}px",
        "round": f"{round(look.px(6))}px",
        "bar": f"{round(look.px(16))}px",
    }
    return _SHEET.format(**css)


_SHEET = """
* {{ outline: none; selection-background-color: {ink}; selection-color: {ground}; }}
QWidget#window {{ background: {ground}; }}
QLabel {{ background: transparent; color: {ink}; }}
QLineEdit {{ background: {raised}; color: {ink}; border: 1px solid {shade}; border-radius: {round};
  padding: 0 {pad}; min-height: {row}; font-size: {body}; }}
QLineEdit:focus {{ border: 2px solid {strong}; }}
QLineEdit:disabled {{ color: {faint}; border-color: {line}; }}
QListView {{ background: {raised}; color: {ink}; border: 1px solid {line}; border-radius: {round};
  font-size: {body}; padding: 4px; }}
QListView:focus {{ border: 2px solid {strong}; }}
QListView::item {{ min-height: {row}; padding: 0 {beside}; border: 1px solid transparent; border-radius: {round}; }}
QListView::item:selected {{ background: {chosen}; color: {on_chosen}; border-color: {strong}; }}
QMenu {{ background: {raised}; color: {ink}; border: 1px solid {shade}; padding: {pad} 0; font-size: {body}; }}
QMenu::item {{ min-height: {row}; padding: 0 {wide}; background: transparent; }}
QMenu::item:selected {{ background: {ink}; color: {ground}; }}
QMenu::item:disabled {{ color: {faint}; }}
QMenu::separator {{ height: 1px; background: {line}; margin: {pad} {wide}; }}
QToolTip {{ background: {raised}; color: {ink}; border: 1px solid {shade}; padding: {pad}; font-size: {body}; }}
QScrollBar:vertical {{ background: {ground}; width: {bar}; margin: 0; border: none; }}
QScrollBar:horizontal {{ background: {ground}; height: {bar}; margin: 0; border: none; }}
QScrollBar::handle {{ background: {shade}; border-radius: 4px; min-height: 40px; min-width: 40px; margin: 3px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; border: none; background: {ground}; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: {ground}; }}
QAbstractScrollArea::corner {{ background: {ground}; }}
"""
