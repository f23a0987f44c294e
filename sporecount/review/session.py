"""A review of several photos, without a window: what a window shows and does is here."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from sporecount.counting import count_photo
from sporecount.errors import SporecountError
from sporecount.literature import TAPE_MM2
from sporecount.microscope import Microscope
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile
from sporecount.review.blind import BlindOrder, blind_order, open_order
from sporecount.review.errors import ReviewError
from sporecount.review.look import Look, fair_look, telling_look
from sporecount.review.opening import ToReview
from sporecount.review.photo_review import PhotoReview, Totals
from sporecount.review.record import find_reviews, read_review, whose_review
from sporecount.review.reviewed import is_closed
from sporecount.review.tally import FOLDER as TALLIES
from sporecount.review.tally import Tally
from sporecount.review.tapes import TapeScores
from sporecount.review.tool_counts import Count, Prepared, ToolCount, ToolCounts
from sporecount.review.use import ReviewFolders
from sporecount.scoring import SampleScore
from sporecount.settings import Settings

#: What is called after each change, with the ids of the detections that changed; all may have
#: where there are none.
Listener = Callable[[tuple[str, ...]], None]


class ReviewSession:
    """Photos that a person reviews one after the other.

    Parameters
    ----------
    photos : ToReview
        The photos, their scale, and which are of one tape; whether names are hidden.
    who : str
        The person.
    settings : Settings, optional
        Those to count with.
    reviews : Path, optional
        Folder of all reviews; by default ``sporecount-reviews`` beside each photo.
    seed : int or str, optional
        Another one gives another order of a blind review; by default the names are it.
    count : callable, optional
        What counts a photo; see `sporecount.review.tool_counts.ToolCounts`.
    microscopes : sequence of Microscope
        What is known of the user's own.

    Attributes
    ----------
    now : PhotoReview or None
        The photo that is open.
    tally : Tally or None
        The photo that is open to be counted by hand.
    """

    def __init__(
        self,
        photos: ToReview,
        *,
        who: str,
        settings: Settings | None = None,
        reviews: Path | None = None,
        seed: int | str | None = None,
        count: Count = count_photo,
        microscopes: Sequence[Microscope] = (),
    ) -> None:
        found = {file.name: file for file in photos.files}
        self._order: BlindOrder = (
            blind_order(list(found), seed) if photos.blind else open_order(list(found))
        )
        self.files: tuple[PhotoFile, ...] = tuple(found[name] for name in self._order.names)
        self.photos = photos
        self.who, self.settings = who, settings or Settings()
        self._folders = ReviewFolders(reviews)
        self.counts = ToolCounts(photos.scale_of, self.settings, self._folders, count, microscopes)
        self._tapes = TapeScores(self.counts, self._folders, self.settings)
        self._closed = [self._was_closed(file) for file in self.files]
        self._listeners: list[Listener] = []
        self._index: int | None = None
        self.now: PhotoReview | None = None
        self.tally: Tally | None = None

    def __len__(self) -> int:
        return len(self.files)

    @property
    def names(self) -> tuple[str, ...]:
        """What the photos are called, in the order in which they are shown."""
        return self._order.names if self.is_revealed else self._order.shown

    @property
    def index(self) -> int | None:
        """Place of the photo that is open."""
        return self._index

    @property
    def closed(self) -> tuple[bool, ...]:
        """Of each photo, whether this person has looked through the whole of it."""
        return tuple(self._closed)

    @property
    def is_revealed(self) -> bool:
        """Whether names are shown: always, unless the review is blind and not yet done."""
        return not self.photos.blind or all(self._closed)

    @property
    def samples(self) -> tuple[str, ...]:
        """Names of the tapes that the photos are of."""
        named = (self.photos.samples[file.name] for file in self.photos.files)
        return tuple(dict.fromkeys(named))

    @property
    def sample(self) -> str | None:
        """Name of the tape that the open photo is of."""
        if self._index is None:
            return None
        return self.photos.samples[self.files[self._index].name]

    def review_folders(self) -> tuple[Path, ...]:
        """Return the folders in which reviews of these photos may be."""
        return self._folders_of(self._folders.of)

    def tally_folders(self) -> tuple[Path, ...]:
        """Return the folders in which blind counts of these photos may be."""
        return self._folders_of(self._tallies_of)

    def open_tally(self, index: int, prepared: Prepared) -> Tally:
        """Open a photo to be counted by hand, with nothing of the tool's in view.

        Parameters
        ----------
        index : int
            Its place, from 0.
        prepared : Prepared
            From `prepare`.

        Raises
        ------
        ReviewError
            If its tally cannot be opened.
        """
        self.leave()
        file, counted = self.files[index], prepared.counted
        with self._hidden(index):
            self.tally = Tally(
                self._tallies_of(file.path),
                file.name,
                prepared.photo.sha256,
                self.who,
                counted.field.calibration.um_per_px,
                counted.summary,
            )
        self._index = index
        return self.tally

    def on_change(self, listener: Listener) -> Callable[[], None]:
        """Call something after each change; returns what stops that."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def prepare(self, index: int) -> Prepared:
        """Read and count a photo that is to be opened; safe in a thread beside the window's.

        Raises
        ------
        ReviewError
            If there is no such photo.
        PhotoUnreadableError, ScaleError
            If it cannot be counted.
        """
        if not 0 <= index < len(self.files):
            raise ReviewError(f"photo {index + 1}", f"there are {len(self)}", "choose one of them")
        with self._hidden(index):
            return self.counts.prepare(self.files[index])

    def open(self, index: int, prepared: Prepared | None = None) -> PhotoReview:
        """Open a photo, after leaving the one that is open.

        Parameters
        ----------
        index : int
            Its place, from 0.
        prepared : Prepared, optional
            From `prepare`; made now where there is none.

        Raises
        ------
        ReviewError
            If there is no such photo, or its review cannot be opened.
        PhotoUnreadableError, ScaleError
            If it cannot be counted.
        """
        prepared = prepared or self.prepare(index)
        folder = self._folders.of(self.files[index].path)
        self.leave()
        with self._hidden(index):
            self.now = PhotoReview(
                prepared.photo,
                prepared.counted,
                folder,
                self.who,
                self.settings,
                prepared.microscope,
            )
        self._index = index
        self._closed[index] = self.now.ledger.is_closed
        self._tell(())
        return self.now

    def count_all(
        self,
        done: Callable[[int, ToolCount], None],
        cancelled: Callable[[], bool] = lambda: False,
    ) -> bool:
        """Count all photos; safe in a thread beside the window's.

        Parameters
        ----------
        done : callable
            Called with the place of each photo and what the tool says of it.
        cancelled : callable
            Asked before each photo; where it says so, the others are left uncounted.

        Returns
        -------
        bool
            False where it was cancelled.
        """
        place = {file.name: index for index, file in enumerate(self.files)}
        return self.counts.count_all(
            self.files, lambda file, said: done(place[file.name], said), cancelled
        )

    def next_open(self) -> int | None:
        """Return the place of the next photo that is not closed, after the one that is open."""
        start = -1 if self._index is None else self._index
        for step in range(1, len(self) + 1):
            place = (start + step) % len(self)
            if not self._closed[place]:
                return place
        return None

    def leave(self) -> None:
        """Leave the photo that is open; all that was done is kept already."""
        for one in (self.now, self.tally):
            if one is not None:
                one.leave()
        self.now, self.tally, self._index = None, None, None

    def __enter__(self) -> ReviewSession:
        return self

    def __exit__(self, *error: object) -> None:
        self.leave()

    def act(
        self,
        kind: str,
        targets: Sequence[str] = (),
        *,
        state: str | None = None,
        made: Sequence[Mapping[str, Any]] = (),
        note: str = "",
    ) -> tuple[str, ...]:
        """Do one action on the open photo; see `PhotoReview.act`."""
        changed = self._open_photo().act(kind, targets, state=state, made=made, note=note)
        return self._changed(changed)

    def undo(self) -> tuple[str, ...]:
        """Take back the last action that holds; return the ids of what changed."""
        return self._changed(self._open_photo().undo())

    def redo(self) -> tuple[str, ...]:
        """Bring back the last action that was undone; return the ids of what changed."""
        return self._changed(self._open_photo().redo())

    def add_at(self, x_px: float, y_px: float, state: str | None = None) -> str:
        """Add a missed spore; see `PhotoReview.add_at`."""
        return self._changed((self._open_photo().add_at(x_px, y_px, state),))[0]

    def add_drawn(self, outline_px: Sequence[Sequence[float]], state: str = "intact") -> str:
        """Add a spore with an outline of one's own; see `PhotoReview.add_drawn`."""
        return self._changed((self._open_photo().add_drawn(outline_px, state),))[0]

    def part(self, name: str, parts: int = 2) -> tuple[str, ...]:
        """Part a detection; return the ids of the parts."""
        new = self._open_photo().part(name, parts)
        self._changed((name, *new))
        return new

    def join(self, names: Sequence[str]) -> str:
        """Join detections; return the id of the one that they are."""
        new = self._open_photo().join(*names)
        self._changed((*names, new))
        return new

    def close_photo(self) -> None:
        """Say that the whole of the open photo was looked through."""
        self._open_photo().close_photo()
        self._changed(())

    def reopen_photo(self) -> None:
        """Take that back."""
        self._open_photo().reopen_photo()
        self._changed(())

    def next_in_queue(self, skipped: Container[str] = (), *, fair: bool = False) -> Look | None:
        """Return what to look at next on the open photo; None where all was judged.

        Parameters
        ----------
        skipped : container of str
            Ids to pass over: for now, or since a person saw nothing there.
        fair : bool
            In a random order, not the most telling first: for figures of how good the tool is.
        """
        review = self._open_photo()
        if fair:
            return fair_look(review, skipped)
        return telling_look(review, self.photos.aim, skipped)

    @property
    def table(self) -> pd.DataFrame:
        """All detections of the open photo; see `PhotoReview.table`."""
        return self._open_photo().table

    @property
    def totals(self) -> Totals | None:
        """What the open photo amounts to now; None where it was refused."""
        return self._open_photo().totals()

    def score(self, sample: str, tape_mm2: float = TAPE_MM2) -> SampleScore:
        """Say what the photos of one tape say about the adult as they stand now.

        Photos that were not counted yet are counted first. The open one counts as it stands,
        and of the others the review that `sporecount count` would take. Safe in a thread
        beside the window's, one call at a time.

        Parameters
        ----------
        sample : str
            Its name, one of `samples`.
        tape_mm2 : float
            Area of the whole tape.

        Raises
        ------
        ReviewError
            If the review is blind and not done: the decision would tell what is hidden.
        """
        if not self.is_revealed:
            raise ReviewError(
                "a blind review", "not all photos are closed yet", "close them first, then ask"
            )
        now = self.now
        own = [file for file in self.photos.files if self.photos.samples[file.name] == sample]
        if not own:
            raise ReviewError(f"sample {sample}", "there is none", "choose another")
        return self._tapes.score(sample, own, None if now is None else now.kept, tape_mm2)

    def _tallies_of(self, photo: Path) -> Path:
        folder = self._folders.folder
        return photo.parent / TALLIES if folder is None else folder / TALLIES

    def _folders_of(self, of: Callable[[Path], Path]) -> tuple[Path, ...]:
        return tuple(
            folder
            for folder in dict.fromkeys(of(file.path) for file in self.files)
            if folder.is_dir()
        )

    def _open_photo(self) -> PhotoReview:
        if self.now is None:
            raise ReviewError("no photo", "none is open", "open one first")
        return self.now

    def _changed(self, ids: tuple[str, ...]) -> tuple[str, ...]:
        if self._index is not None:
            self._closed[self._index] = self._open_photo().ledger.is_closed
        self._tell(ids)
        return ids

    def _tell(self, ids: tuple[str, ...]) -> None:
        for listener in tuple(self._listeners):
            listener(ids)

    def _was_closed(self, file: PhotoFile) -> bool:
        """Tell whether this person has closed a photo before, whatever it was called then."""
        folder = self._folders.of(file.path)
        sha256 = file_sha256(file.path) if folder.is_dir() else ""
        for path in find_reviews(folder, sha256) if sha256 else ():
            try:
                _, reviewed, person = whose_review(path)
                if person == self.who and reviewed == sha256:
                    return is_closed(read_review(path).actions)
            except ReviewError:  # it is said when it is opened
                continue
        return False

    @contextmanager
    def _hidden(self, index: int) -> Iterator[None]:
        """Let errors of a blind review name a photo as it is shown."""
        try:
            yield
        except SporecountError as error:
            if self.is_revealed:
                raise
            raise type(error)(self.names[index], error.wrong, error.remedy) from None
