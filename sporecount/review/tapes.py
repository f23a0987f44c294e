"""What the photos of one tape say together while they are being reviewed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from sporecount.literature import TAPE_MM2
from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import read_photo
from sporecount.review.record import Review
from sporecount.review.tool_counts import ToolCount, ToolCounts
from sporecount.review.use import Chosen, ReviewFolders, find_chosen, with_review
from sporecount.scale.calibration import Calibration
from sporecount.scoring import SampleScore, score_sample, view_of
from sporecount.settings import Settings
from sporecount.tape.layout import Known
from sporecount.tape.view import View


class TapeScores:
    """Scores of tapes whose photos are reviewed; what does not change is kept between calls.

    Parameters
    ----------
    counts : ToolCounts
        What the tool says of each photo.
    folders : ReviewFolders
        Where the reviews are.
    settings : Settings
        Those of the count.
    """

    def __init__(self, counts: ToolCounts, folders: ReviewFolders, settings: Settings) -> None:
        self._counts, self._folders, self._settings = counts, folders, settings
        self._views: dict[str, View] = {}
        self._registrations: Known = {}

    def score(
        self,
        sample: str,
        files: Sequence[PhotoFile],
        on_screen: Review | None = None,
        tape_mm2: float = TAPE_MM2,
    ) -> SampleScore:
        """Score one tape as its photos stand now.

        Parameters
        ----------
        sample : str
            Its name.
        files : sequence of PhotoFile
            Its photos; those that were not counted yet are counted first.
        on_screen : Review, optional
            The review that is open: it counts for its photo. For the others it is the one
            that `sporecount count` would take.
        tape_mm2 : float
            Area of the whole tape.
        """
        rows, views = [], []
        names = {file.name for file in files}
        self._views = {name: view for name, view in self._views.items() if name in names}
        for file in files:
            said = self._counts.tool_count(file)
            sha256 = str(said.summary["sha256"] or "")
            if on_screen is not None and on_screen.sha256 == sha256:
                chosen = Chosen(on_screen) if on_screen.actions else Chosen()
            else:
                chosen = find_chosen(self._folders.of(file.path), sha256)
            detections, row = with_review(
                said.detections,
                dict(said.summary),
                chosen,
                self._settings.count,
                self._counts.rates_of([said.summary]),
            )
            rows.append(row)
            if said.calibration is not None:
                views.append(self._view(file, said, said.calibration, detections))
        return score_sample(
            sample,
            rows,
            views,
            tape_mm2=tape_mm2,
            settings=self._settings,
            known=self._registrations,
            rates=self._counts.rates_of(rows),
        )

    def _view(
        self, file: PhotoFile, said: ToolCount, calibration: Calibration, detections: pd.DataFrame
    ) -> View:
        """Return the photo reduced, with the detections that stand."""
        if file.name not in self._views:
            photo = read_photo(file.path, file.name)
            self._views[file.name] = view_of(
                photo, calibration, said.summary, said.detections, self._settings
            )
        view = self._views[file.name]
        scale = view.photo_um_per_px
        placed = detections.assign(
            x_um=(detections["x_px"] + 0.5) * scale, y_um=(detections["y_px"] + 0.5) * scale
        )
        return replace(view, detections=placed)
