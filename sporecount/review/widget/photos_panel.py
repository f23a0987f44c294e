"""The panel in which photos are chosen and their scale is set."""

from __future__ import annotations

import getpass
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QInputDialog,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from sporecount.photo.folder import PHOTO_SUFFIXES
from sporecount.photo.photo import Photo
from sporecount.review.opening import ScaleChoice, ToReview, from_log, from_paths, from_trial
from sporecount.review.widget.parts import (
    ask_file,
    ask_files,
    ask_folder,
    box,
    button,
    number,
    plain_words,
    words,
)
from sporecount.scale.calibration import Calibration
from sporecount.scale.drawn import calibration_from_line
from sporecount.scale.eyepiece import Eyepiece
from sporecount.scale.saved import list_calibrations, save_calibration

_PHOTOS = f"Photos ({' '.join(f'*{ending}' for ending in sorted(PHOTO_SUFFIXES))})"

#: Ways to know the scale, in the order of the list.
FROM_FILE, TYPED, SAVED, EYEPIECE, RULING = range(5)
_WAYS = (
    "The photos or their sheet say it",
    "I know micrometres per pixel",
    "A scale that I saved",
    "Numbers on the eyepiece and objective",
    "A photo of a micrometer (ruling)",
)


class PhotosPanel(QWidget):
    """Choose photos, say who you are, set the scale.

    Parameters
    ----------
    start : callable
        Called with the photos and the person's name.
    show_ruling : callable
        Shows a photo of a ruling in the window.
    draw_line : callable
        Lets the person draw a line on it; `line_drawn` is called with that.
    open_here : callable
        Returns the files of the pictures that are open in the window already.
    """

    def __init__(
        self,
        start: Callable[[ToReview, str], None],
        show_ruling: Callable[[Photo], None],
        draw_line: Callable[[], None],
        open_here: Callable[[], list[Path]],
    ) -> None:
        super().__init__()
        self._start, self._show_ruling = start, show_ruling
        self._draw_line, self._open_here = draw_line, open_here
        self._make: Callable[[ScaleChoice], ToReview] | None = None
        self._sheet: Path | None = None
        self._ruling: Photo | None = None
        self._line: NDArray[np.float64] | None = None
        self.measured: Calibration | None = None
        self.who = QLineEdit(_user())
        self.who.setPlaceholderText("your name")
        self.chosen = words("Nothing chosen yet.")
        self.blind = QCheckBox("Blind: hide names, and shuffle")
        self.way = QComboBox()
        self.way.addItems(_WAYS)
        self.scale_words = words()
        self.message = words()
        self.begin = button("Go on with these photos", self._begin)
        self._build()

    def choose(self, paths: list[Path]) -> None:
        """Take photos and folders."""

        def make(scale: ScaleChoice) -> ToReview:
            return from_paths(paths, scale, sheet=self._sheet, blind=self.blind.isChecked())

        self._choose(make, ", ".join(path.name or str(path) for path in paths))

    def choose_sheet(self, sheet: Path) -> None:
        """Take what a sheet says of the photos."""
        self._sheet = sheet
        self._tell(f"Sheet: {sheet.name}")

    def choose_trial(self, file: Path) -> None:
        """Take the photos of a trial: arms and names stay hidden."""
        self.blind.setChecked(True)
        self._choose(lambda scale: from_trial(file, scale), f"trial {file.name}, arms hidden")

    def choose_logged(self, log: Path, sample: str, folder: Path) -> None:
        """Take the photos of a sample of a rearing log."""

        def make(scale: ScaleChoice) -> ToReview:
            return from_log(log, sample, [folder], scale, blind=self.blind.isChecked())

        self._choose(make, f"sample {sample} of {log.name}")

    def measure_ruling(self, path: Path) -> None:
        """Measure the scale on a photo of a ruling; show it, so that a line can be drawn."""
        from sporecount.photo.read import read_photo
        from sporecount.scale.ruling import measure_ruling

        try:
            self._ruling = read_photo(path)
            self._show_ruling(self._ruling)
            division = self.division.value()
            found = measure_ruling(self._ruling.pixels, division)
        except Exception as error:
            self.measured = None
            self.scale_words.setText(
                f"{plain_words(error)} You can draw a line over the ruling instead."
            )
            return
        source = f"stage micrometer, {division:g} um divisions, photo {path.name}"
        self._measured(Calibration(found.um_per_px, source, found.standard_error))

    def line_drawn(self, line: NDArray[np.float64]) -> None:
        """Take a line that was drawn over the ruling."""
        self._line = line
        self._from_line()

    def scale(self) -> ScaleChoice:
        """Return what is said of the scale."""
        way = self.way.currentIndex()
        if way == TYPED:
            return ScaleChoice(um_per_px=self.um_per_px.value())
        if way == SAVED:
            return ScaleChoice(saved_name=self.saved.currentText())
        if way == EYEPIECE:
            numbers = Eyepiece(self.field_number.value(), self.objective.value())
            return ScaleChoice(eyepiece=numbers)
        return ScaleChoice(measured=self.measured if way == RULING else None)

    def _build(self) -> None:
        self.um_per_px = number(0.05, 5.0, 0.65, 4, "um per pixel")
        self.saved = QComboBox()
        self.field_number = number(1.0, 40.0, 18.0, 1, "mm field number")
        self.objective = number(1.0, 200.0, 10.0, 1, "x objective")
        self.division = number(0.5, 1000.0, 10.0, 1, "um a division")
        self.length = number(1.0, 100000.0, 500.0, 1, "um under the line")
        self.length.valueChanged.connect(lambda _value: self._from_line())
        self.pages: list[QWidget] = []
        for children in (
            (words("Tags of TIFF files, or a column um_per_px of the sheet."),),
            (self.um_per_px,),
            (self.saved,),
            (self.field_number, self.objective),
            self._ruling_page(),
        ):
            page = QWidget()
            inner = QVBoxLayout(page)
            inner.setContentsMargins(0, 0, 0, 0)
            for child in children:
                inner.addWidget(child)
            self.pages.append(page)
        self.way.currentIndexChanged.connect(self._way_changed)
        grid = QGridLayout()
        for place, (text, pressed) in enumerate(
            (
                ("Folder ...", self._ask_folder),
                ("Photos ...", self._ask_photos),
                ("Open in this window", self._take_open),
                ("Sheet (CSV) ...", self._ask_sheet),
                ("Sample of a log ...", self._ask_log),
                ("Trial ...", self._ask_trial),
            )
        ):
            grid.addWidget(button(text, pressed), place // 2, place % 2)
        name = QFormLayout()
        name.addRow("Your name", self.who)
        layout = QVBoxLayout(self)
        layout.addLayout(name)
        layout.addWidget(box("Photos", grid, self.chosen, self.blind))
        layout.addWidget(box("How do you know the scale?", self.way, *self.pages, self.scale_words))
        layout.addWidget(self.begin)
        layout.addWidget(self.message)
        layout.addStretch()
        self._way_changed(FROM_FILE)

    def _ruling_page(self) -> tuple[QWidget, ...]:
        rows = QWidget()
        row = QHBoxLayout(rows)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(button("Photo of it ...", self._ask_ruling))
        row.addWidget(button("Draw a line over it", self._draw_line))
        return self.division, rows, self.length, button("Save this scale ...", self._save_scale)

    def _way_changed(self, way: int) -> None:
        for place, page in enumerate(self.pages):
            page.setVisible(place == way)
        if way == SAVED:
            known = [one.name for one in list_calibrations()]
            self.saved.clear()
            self.saved.addItems(known)
            self.scale_words.setText("" if known else "None is saved yet.")
        else:
            self.scale_words.setText("")

    def _choose(self, make: Callable[[ScaleChoice], ToReview], what: str) -> None:
        self._make = make
        self.chosen.setText(what)
        self.message.setText("")

    def _begin(self) -> None:
        who = " ".join(self.who.text().split())
        if not who:
            self._tell("Write your name first: it is kept with what you say.")
            return
        if self._make is None:
            self._tell("Choose photos first.")
            return
        if self.way.currentIndex() == RULING and self.measured is None:
            self._tell("Measure the ruling first: take its photo, or draw a line over it.")
            return
        try:
            found = self._make(self.scale())
            if self.blind.isChecked() and not found.blind:
                found = replace(found, blind=True)
            self._tell("; ".join(found.notes))
            self._start(found, who)
        except Exception as error:
            self._tell(plain_words(error))

    def _from_line(self) -> None:
        if self._line is None:
            return
        ends = [(float(x), float(y)) for x, y in self._line[[0, -1]]]
        try:
            self._measured(calibration_from_line(ends[0], ends[1], self.length.value()))
        except Exception as error:
            self.measured = None
            self.scale_words.setText(plain_words(error))

    def _measured(self, calibration: Calibration) -> None:
        self.measured = calibration
        self.scale_words.setText(
            f"{calibration.um_per_px:.4f} um per pixel, give or take "
            f"{calibration.standard_error:.4f} ({calibration.source})."
        )

    def _save_scale(self) -> None:
        if self.measured is None or self._ruling is None:
            self.scale_words.setText("Measure the ruling first.")
            return
        name, wanted = QInputDialog.getText(self, "Save this scale", "Name, such as 10x phone:")
        if not wanted:
            return
        height, width = self._ruling.pixels.shape[:2]
        try:
            kept = save_calibration(name, self.measured, width, height)
        except Exception as error:
            self.scale_words.setText(plain_words(error))
        else:
            self.scale_words.setText(f"Saved as {kept.name}.")

    def _take_open(self) -> None:
        paths = self._open_here()
        if paths:
            self.choose(paths)
        else:
            self._tell("No photo is open in this window. Drop one on it, or choose a folder.")

    def _ask_folder(self) -> None:
        folder = ask_folder(self, "Folder of photos")
        if folder is not None:
            self.choose([folder])

    def _ask_photos(self) -> None:
        photos = ask_files(self, "Photos", _PHOTOS)
        if photos:
            self.choose(photos)

    def _ask_sheet(self) -> None:
        sheet = ask_file(self, "Sheet of photos", "Sheets (*.csv *.txt)")
        if sheet is not None:
            self.choose_sheet(sheet)

    def _ask_trial(self) -> None:
        file = ask_file(self, "Plan of the trial", "Plans (*.toml)")
        if file is not None:
            self.choose_trial(file)

    def _ask_log(self) -> None:
        log = ask_file(self, "Rearing log", "Logs (*.sqlite3 *.sqlite *.db)")
        if log is None:
            return
        sample, wanted = QInputDialog.getText(self, "Sample of the log", "Name of the sample:")
        folder = ask_folder(self, "Folder that its photos are in") if wanted else None
        if folder is not None:
            self.choose_logged(log, sample, folder)

    def _ask_ruling(self) -> None:
        path = ask_file(self, "Photo of a stage micrometer", _PHOTOS)
        if path is not None:
            self.measure_ruling(path)

    def _tell(self, text: str) -> None:
        self.message.setText(text)


def _user() -> str:
    """Return how the person is known to the computer."""
    try:
        return getpass.getuser()
    except Exception:  # no such thing where there is no user database
        return ""


__all__: list[Any] = ["EYEPIECE", "FROM_FILE", "RULING", "SAVED", "TYPED", "PhotosPanel"]
