"""The window beside the picture: its panels, from choosing photos to saving the report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QTimer
from qtpy.QtWidgets import QScrollArea, QTabWidget, QVBoxLayout, QWidget

from sporecount.photo.photo import Photo
from sporecount.review.opening import ToReview
from sporecount.review.overlay import Marks
from sporecount.review.own import load_microscopes
from sporecount.review.second_look import SecondLook
from sporecount.review.session import ReviewSession
from sporecount.review.tally import Tally
from sporecount.review.tool_counts import Prepared
from sporecount.review.widget.background import Background
from sporecount.review.widget.count_panel import CountPanel
from sporecount.review.widget.deeds import Deeds
from sporecount.review.widget.keys import DEEDS, SECOND_KEYS
from sporecount.review.widget.parts import plain_words
from sporecount.review.widget.photos_panel import PhotosPanel
from sporecount.review.widget.picture import Picture, levels_of
from sporecount.review.widget.quality_panel import QualityPanel
from sporecount.review.widget.reader import PATH_KEY
from sporecount.review.widget.report_panel import ReportPanel
from sporecount.review.widget.review_panel import ReviewPanel
from sporecount.review.widget.tally_deeds import TallyDeeds
from sporecount.scoring import SampleScore
from sporecount.settings import Settings

#: Quiet after the last action before the tape's decision is worked out anew, ms.
_QUIET_MS = 600

#: Radius of the marks of a count by hand, um: they lie around a spore.
MARK_UM = 8.0

#: The picture and the count are drawn before the limits are worked out, ms.
_LIMITS_MS = 30

#: Places of the panels.
PHOTOS_TAB, COUNT_TAB, REVIEW_TAB, REPORT_TAB, QUALITY_TAB = range(5)


class ReviewDock(QWidget):
    """Choose photos, count, review, report.

    Parameters
    ----------
    napari_viewer : napari.Viewer
        The window it is in.
    settings : Settings, optional
        Those to count with.
    reviews : Path, optional
        Folder of all reviews.
    seed : int or str, optional
        For another order of a blind review.
    as_shipped : bool
        Count with the tool as it comes, whatever is known of the user's own microscopes.
    """

    def __init__(
        self,
        napari_viewer: Any,
        settings: Settings | None = None,
        reviews: Path | None = None,
        seed: int | str | None = None,
        as_shipped: bool = False,
    ) -> None:
        super().__init__()
        self._as_shipped = as_shipped
        self.viewer = napari_viewer
        self._settings, self._reviews, self._seed = settings, reviews, seed
        self.session: ReviewSession | None = None
        self._opening: Background | None = None
        self._scoring: Background | None = None
        self._searching: Background | None = None
        self._wanted: int | None = None
        self._wanted_by: Deeds | TallyDeeds | None = None
        self._shows_ruling = False
        self._held = _Held()
        self.picture = Picture(napari_viewer, self._clicked, self._drawn)
        self.photos_panel = PhotosPanel(
            self.start, self._show_ruling, self._draw_line, self._open_files
        )
        self.count_panel = CountPanel(self.open_photo, self.open_tally)
        self.review_panel = ReviewPanel(self._do, self.open_photo)
        self.report_panel = ReportPanel()
        self.quality_panel = QualityPanel(self._count_again)
        self.reviewing = Deeds(self.picture, self.review_panel, self.open_photo)
        self.tallying = TallyDeeds(self.picture, self.review_panel, self.open_tally)
        self.deeds: Deeds | TallyDeeds = self.reviewing
        self._quiet = QTimer(self)
        self._quiet.setSingleShot(True)
        self._quiet.setInterval(_QUIET_MS)
        self._quiet.timeout.connect(self._decide)
        self._limits = QTimer(self)
        self._limits.setSingleShot(True)
        self._limits.setInterval(_LIMITS_MS)
        self._limits.timeout.connect(self._show_limits)
        self.tabs = QTabWidget()
        for title, panel in (
            ("1 Photos", self.photos_panel),
            ("2 Count", self.count_panel),
            ("3 Review", self.review_panel),
            ("4 Report", self.report_panel),
            ("How good?", self.quality_panel),
        ):
            area = QScrollArea()
            area.setWidgetResizable(True)
            area.setWidget(panel)
            self.tabs.addTab(area, title)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.tabs)
        self.setMinimumWidth(400)
        self._bind(napari_viewer)
        self.destroyed.connect(self._held.leave)  # not of self: that is half gone by then

    def start(self, photos: ToReview, who: str) -> None:
        """Review other photos."""
        self.leave()
        self.session = ReviewSession(
            photos,
            who=who,
            settings=self._settings,
            reviews=self._reviews,
            seed=self._seed,
            microscopes=() if self._as_shipped else load_microscopes(),
        )
        self._held.session = self.session
        self.session.on_change(self._changed)
        self.reviewing.session = self.tallying.session = self.session
        for panel in (self.count_panel, self.report_panel, self.quality_panel):
            panel.follow(self.session)
        self.review_panel.show_photos(self.session.names, self.session.closed, None)
        self.tabs.setCurrentIndex(COUNT_TAB)

    def leave(self) -> None:
        """Leave the review; all that was done is kept already."""
        self._quiet.stop()
        self._limits.stop()
        for panel in (self.count_panel, self.report_panel, self.quality_panel):
            panel.wait()
        for work in (self._opening, self._scoring, self._searching):
            if work is not None:
                work.wait(60)
        if self.session is not None:
            self.session.leave()
        self.session = self.reviewing.session = self.tallying.session = None
        self.picture.clear()

    def forget(self) -> None:
        """Let other programs open the review, once the window is gone."""
        self._held.leave()

    def close_down(self) -> None:
        """Leave the review, and let go of the window."""
        self.leave()
        self.picture.detach()

    def open_photo(self, index: int) -> None:
        """Open a photo: read, and counted where it was not yet."""
        self._open(index, self.reviewing)

    def open_tally(self, index: int) -> None:
        """Open a photo to be counted by hand, with nothing of the tool's in view."""
        self._open(index, self.tallying)

    def _open(self, index: int, deeds: Deeds | TallyDeeds) -> None:
        session = self.session
        if session is None or not 0 <= index < len(session):
            return
        self._wanted, self._wanted_by = index, deeds
        if self._opening is not None and self._opening.is_running:
            return  # the one that is wanted now is opened when that is done
        self.tabs.setCurrentIndex(REVIEW_TAB)
        self.review_panel.message.setText(f"Opening {session.names[index]} ...")

        def work(_step: Any) -> tuple[ReviewSession, int, Prepared, list[NDArray[np.uint8]]]:
            prepared = session.prepare(index)
            return session, index, prepared, levels_of(prepared.photo.pixels)

        self._opening = Background(work, self._ready, self._not_ready)

    @property
    def is_busy(self) -> bool:
        """Whether something is still under way beside the window."""
        works = (self._opening, self._scoring, self._searching)
        panels = (self.count_panel, self.report_panel, self.quality_panel)
        running = any(work is not None and work.is_running for work in works)
        return running or any(panel.is_running for panel in panels)

    def _ready(self, ready: tuple[ReviewSession, int, Prepared, list[NDArray[np.uint8]]]) -> None:
        session, index, prepared, levels = ready
        if session is not self.session:
            return
        if self._wanted is not None and self._wanted != index:
            self._wait_and_open(self._wanted)
            return
        self._wanted = None
        self._shows_ruling = False
        self.deeds = self._wanted_by or self.reviewing
        try:
            if self.deeds is self.tallying:
                self._show_tally(session.open_tally(index, prepared), levels, prepared)
                return
            review = session.open(index, prepared)
        except Exception as error:
            self._not_ready(error)
            return
        self.picture.show(levels, review.um_per_px, session.names[index])
        self.picture.follow(Marks(review.ledger.rows))
        self._bind(*self.picture.layers)
        self.reviewing.opened()
        self.reviewing.select(())
        self._show_all()
        self.review_panel.message.setText("; ".join(review.notes))
        self._quiet.start()
        self._look_again()

    def _show_tally(
        self, tally: Tally, levels: list[NDArray[np.uint8]], prepared: Prepared
    ) -> None:
        session = self.session
        if session is None:
            return
        scale = prepared.counted.field.calibration.um_per_px
        self.picture.show(levels, scale, session.names[session.index or 0])
        self.picture.follow(Marks(tally.ledger.rows, MARK_UM / scale))
        self._bind(*self.picture.layers)
        self.review_panel.show_photos(session.names, session.closed, session.index)
        self.review_panel.message.setText("")
        self.tallying.select(())
        self.tallying.show()

    def _look_again(self) -> None:
        """Search for what may have been missed, while the person looks at what was found."""
        session = self.session
        if session is None or session.now is None or session.now.totals() is None:
            return
        now = session.now

        def take(second: SecondLook) -> None:
            now.second = second
            self._quiet.start()

        self._searching = Background(lambda _step: now.look_again(), take, self._not_ready)

    def _wait_and_open(self, index: int) -> None:
        if self._opening is not None:
            self._opening.wait(60)
        self._open(index, self._wanted_by or self.reviewing)

    def _count_again(self) -> None:
        """Start over with the same photos, once what they are counted with has changed."""
        if self.session is not None:
            self.start(self.session.photos, self.session.who)

    def _not_ready(self, error: Exception) -> None:
        self._wanted = None
        self.review_panel.message.setText(plain_words(error))

    def _changed(self, names: tuple[str, ...]) -> None:
        """Follow an action: what changed is drawn, and the totals are shown."""
        session = self.session
        if session is None or session.now is None:
            return
        if names:
            self.picture.changed(names, session.now.ledger.rows)
            self.review_panel.show_totals(session.now.totals(limits=False))
            self._limits.start()
        else:
            self._show_all()
        self._quiet.start()

    def _show_limits(self) -> None:
        if self.session is not None and self.session.now is not None:
            self.review_panel.show_totals(self.session.totals)

    def _show_all(self) -> None:
        session = self.session
        if session is None or session.now is None:
            return
        self.review_panel.show_totals(session.totals)
        self.review_panel.show_photos(session.names, session.closed, session.index)
        self.count_panel.refresh()
        self.report_panel.refresh()

    def _decide(self) -> None:
        """Say what the tape says now, where all its photos are counted."""
        session = self.session
        if session is None or session.now is None or session.sample is None:
            return
        settlement = session.now.settlement(session.settings.decision.risk_release)
        self.review_panel.settlement.setText("" if settlement is None else settlement.why)
        sample, label = session.sample, self.review_panel.decision
        own = [file for file in session.files if session.photos.samples[file.name] == sample]
        missing = sum(session.counts.known(file) is None for file in own)
        if not session.is_revealed:
            label.setText("Hidden until all photos are looked through.")
        elif missing:
            label.setText(f"{missing} of its {len(own)} photos are not counted yet.")
        elif self._scoring is not None and self._scoring.is_running:
            self._quiet.start()
        else:
            self._scoring = Background(
                lambda _step: session.score(sample), self._decided, self._not_decided
            )

    def _decided(self, score: SampleScore) -> None:
        self.review_panel.decision.setText(in_short(score))

    def _not_decided(self, error: Exception) -> None:
        self.review_panel.decision.setText(plain_words(error))

    def _do(self, name: str) -> None:
        self.deeds.do(name)

    def _clicked(self, x_px: float, y_px: float, more: bool) -> None:
        if not self._shows_ruling:
            self.deeds.clicked(x_px, y_px, more)

    def _drawn(self, line: NDArray[np.float64]) -> None:
        if self._shows_ruling:
            self.photos_panel.line_drawn(line)
            self.picture.keep_line(line[[0, -1]])
        else:
            self.deeds.drawn(line)

    def _show_ruling(self, photo: Photo) -> None:
        self._shows_ruling = True
        self.picture.show(levels_of(photo.pixels), 1.0, photo.name)

    def _draw_line(self) -> None:
        if self._shows_ruling:
            self.picture.drawing = True
            self.photos_panel.scale_words.setText(
                "Draw from line to line with the mouse button down, over as many as you can."
            )
        else:
            self.photos_panel.scale_words.setText("Open the ruling's photo first.")

    def _open_files(self) -> list[Path]:
        """Return the files of the pictures that are open in the window."""
        paths = []
        for layer in self.viewer.layers:
            known = layer.metadata.get(PATH_KEY) or layer.source.path
            if known and layer not in self.picture.layers:
                paths.append(Path(known))
        return list(dict.fromkeys(paths))

    def _bind(self, *owners: Any) -> None:
        """Bind all keys; on the layers too, whose own keys would come first."""
        for owner in owners:
            for deed in DEEDS:
                for key in (deed.key, *SECOND_KEYS.get(deed.name, ())):
                    owner.bind_key(key, _doing(self, deed.name), overwrite=True)


class _Held:
    """The review that is open, for when the window is gone."""

    def __init__(self) -> None:
        self.session: ReviewSession | None = None

    def leave(self, *_: object) -> None:
        """Let other programs open it."""
        if self.session is not None:
            self.session.leave()


def in_short(score: SampleScore) -> str:
    """Return what a tape says, in two lines."""
    row = score.summary
    if score.decision is None:
        return f"{row['sample']}: {row['status']} ({row['reason']})."
    return (
        f"{row['sample']}: {row['decision']}.\nOn the whole tape about {row['tape_spores']:.0f} "
        f"spores ({row['tape_low']} to {row['tape_high']}), most likely class {row['load_class']}."
    )


def _doing(dock: ReviewDock, name: str) -> Any:
    def do(_owner: Any = None) -> None:
        dock.deeds.do(name)

    return do
