"""Small pieces that the panels of the window are made of."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QDoubleSpinBox,
    QFileDialog,
    QGroupBox,
    QLabel,
    QLayout,
    QPushButton,
    QVBoxLayout,
)

from sporecount.errors import SporecountError

if TYPE_CHECKING:
    from sporecount.review.session import ReviewSession


def words(text: str = "", *, bold: bool = False, size: int | None = None) -> QLabel:
    """Return a text that wraps and can be copied."""
    label = QLabel(text)
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    style = ("font-weight: bold;" if bold else "") + (f"font-size: {size}pt;" if size else "")
    label.setStyleSheet(style)
    return label


def button(text: str, pressed: Callable[[], Any], tip: str = "") -> QPushButton:
    """Return a button that leaves the keys to the picture."""
    made = QPushButton(text)
    made.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    made.setToolTip(tip)
    made.clicked.connect(lambda _checked=False: pressed())
    return made


def box(title: str, *children: Any) -> QGroupBox:
    """Return a titled frame around widgets and layouts, one below the other."""
    made = QGroupBox(title)
    inner = QVBoxLayout(made)
    for child in children:
        if isinstance(child, QLayout):
            inner.addLayout(child)
        else:
            inner.addWidget(child)
    return made


def number(least: float, most: float, value: float, digits: int, unit: str) -> QDoubleSpinBox:
    """Return a field for a number with its unit."""
    made = QDoubleSpinBox()
    made.setRange(least, most)
    made.setDecimals(digits)
    made.setValue(value)
    made.setSuffix(f" {unit}")
    return made


def ask_folder(parent: Any, title: str) -> Path | None:
    """Let a person choose a folder."""
    chosen = QFileDialog.getExistingDirectory(parent, title)
    return Path(chosen) if chosen else None


def ask_files(parent: Any, title: str, kinds: str) -> list[Path]:
    """Let a person choose files."""
    chosen, _ = QFileDialog.getOpenFileNames(parent, title, "", kinds)
    return [Path(name) for name in chosen]


def ask_file(parent: Any, title: str, kinds: str) -> Path | None:
    """Let a person choose one file."""
    chosen, _ = QFileDialog.getOpenFileName(parent, title, "", kinds)
    return Path(chosen) if chosen else None


def go_beside(
    session: ReviewSession, step: int, opens: Callable[[int], None], say: Callable[[str], None]
) -> None:
    """Open the photo so many places on, the first where none is open; say so where none is."""
    place = 0 if session.index is None else session.index + step
    if 0 <= place < len(session):
        opens(place)
    else:
        say("This is the last photo." if step > 0 else "This is the first photo.")


def plain_words(error: Exception) -> str:
    """Return what went wrong, for people."""
    if isinstance(error, SporecountError | OSError):
        return str(error)
    return f"Something went wrong in the program itself ({type(error).__name__}: {error})."
