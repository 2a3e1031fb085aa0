"""Colours and sizes; the hues are those of Okabe and Ito (Color Universal Design, 2008, from memory).

They stay apart under the common kinds of colour blindness. No meaning rests on colour alone: each comes with
an arrow, a word or a pattern.
"""

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication, QCheckBox, QRadioButton, QWidget

from audiotest.records import Turn

BASE_POINT_SIZE = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """Colours as #rrggbb."""

    name: str
    ground: str
    panel: str
    edge: str
    ink: str
    faint: str
    up: str
    down: str
    right: str
    open: str
    region: str
    limit: str
    trace: str
    trace_back: str
    peak: str
    warn: str
    ink_on_colour: str

    def turn(self, turn: Turn) -> QColor:
        """The colour that goes with a turn."""
        return QColor({"raise": self.up, "lower": self.down, "keep": self.right, "unknown": self.open}[turn])


LIGHT = Theme(
    name="light", ground="#eceae4", panel="#fbfaf7", edge="#c9c5ba", ink="#1d1f21", faint="#5f625f",
    up="#0072b2", down="#c04e00", right="#00795a", open="#6b6e70", region="#cfe8de", limit="#c04e00",
    trace="#0072b2", trace_back="#a9a59b", peak="#b0578c", warn="#c04e00", ink_on_colour="#ffffff",
)  # fmt: skip
DARK = Theme(
    name="dark", ground="#14171a", panel="#1d2226", edge="#3a4248", ink="#eef0ee", faint="#a4adb0",
    up="#56b4e9", down="#e69f00", right="#2fc495", open="#9aa3a8", region="#1f3f37", limit="#e69f00",
    trace="#56b4e9", trace_back="#66707a", peak="#d89abf", warn="#f0a020", ink_on_colour="#101214",
)  # fmt: skip


def choose_theme(appearance: str) -> Theme:
    """Light or dark by name; ``system`` follows the desktop."""
    if appearance == "system":
        scheme = QGuiApplication.styleHints().colorScheme()
        return DARK if scheme == Qt.ColorScheme.Dark else LIGHT
    return DARK if appearance == "dark" else LIGHT


def qt_palette(theme: Theme) -> QPalette:
    """The palette of the ordinary widgets."""
    palette = QPalette()
    role = QPalette.ColorRole
    for place, colour in {
        role.Window: theme.ground, role.WindowText: theme.ink, role.Base: theme.panel,
        role.AlternateBase: theme.ground, role.Text: theme.ink, role.Button: theme.panel,
        role.ButtonText: theme.ink, role.BrightText: theme.warn, role.Highlight: theme.up,
        role.HighlightedText: theme.ink_on_colour, role.ToolTipBase: theme.panel,
        role.ToolTipText: theme.ink, role.PlaceholderText: theme.faint, role.Link: theme.up,
        role.Light: theme.panel, role.Midlight: theme.panel, role.Mid: theme.edge, role.Dark: theme.edge,
    }.items():  # fmt: skip
        palette.setColor(place, QColor(colour))
    for place in (role.Text, role.ButtonText, role.WindowText):
        palette.setColor(QPalette.ColorGroup.Disabled, place, QColor(theme.faint))
    return palette


def apply_theme(app: QApplication, theme: Theme, size_percent: int) -> None:
    """Dress the application; drawn widgets take their colours from the theme itself."""
    if app.style().objectName().lower() != "fusion":
        # Set again, it would throw the palette of the widgets away.
        app.setStyle("Fusion")
    app.setPalette(qt_palette(theme))
    font = QFont(app.font())
    font.setPointSizeF(BASE_POINT_SIZE * size_percent / 100.0)
    app.setFont(font)


def bigger(font: QFont, factor: float, *, bold: bool = False) -> QFont:
    """The same font, larger or smaller."""
    copy = QFont(font)
    if font.pixelSize() > 0:
        copy.setPixelSize(max(round(font.pixelSize() * factor), 6))
    else:
        copy.setPointSizeF(max(font.pointSizeF() * factor, 5.0))
    copy.setBold(bold)
    return copy


def dress_marks(window: QWidget, theme: Theme) -> None:
    """Give every box and circle to mark in a window the size of the letters and the colours of the theme."""
    style = marks_style(theme)
    for kind in (QCheckBox, QRadioButton):
        for mark in window.findChildren(kind):
            if mark.styleSheet() != style:
                mark.setStyleSheet(style)
            # One that has a style of its own no longer follows the size of the usual letters.
            mark.setFont(QApplication.font())


def marks_style(theme: Theme) -> str:
    """Boxes and circles to mark, as high as the letters: the style's own are hardly seen on a dark ground."""
    side = round(0.8 * QFontMetricsF(QApplication.font()).height())

    def mark(ink: str) -> str:
        return (
            "background: qradialgradient(cx:0.5, cy:0.5, radius:0.5, fx:0.5, fy:0.5,"
            f" stop:0 {ink}, stop:0.58 {ink}, stop:0.66 {theme.panel}, stop:1 {theme.panel});"
        )

    both = "QCheckBox::indicator{0}, QRadioButton::indicator{0}"
    return (
        f"{both.format('')} {{ width: {side}px; height: {side}px; border: 2px solid {theme.ink};"
        f" background: {theme.panel}; }}"
        f"QRadioButton::indicator {{ border-radius: {side // 2 + 2}px; }}"
        f"{both.format(':checked')} {{ {mark(theme.ink)} }}"
        f"{both.format(':disabled')} {{ border-color: {theme.edge}; }}"
        f"{both.format(':checked:disabled')} {{ {mark(theme.edge)} }}"
    )
