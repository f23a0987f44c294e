"""One photo that is open for review: what stands, what is done to it, and what that amounts to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sporecount import __version__
from sporecount.counting import PhotoCount
from sporecount.counts.detector_error import spores_range
from sporecount.counts.loadclass import load_class
from sporecount.counts.rates import DetectorRates
from sporecount.counts.summary import COUNTED, doubtful_of
from sporecount.detect.table import SPORE_STATES, STATES
from sporecount.microscope import Microscope
from sporecount.photo.photo import Photo
from sporecount.report.weights import weights_sha256
from sporecount.review.actions import (
    ADD,
    CLOSE,
    CONFIRM,
    JOIN,
    PART,
    REDO,
    REJECT,
    REOPEN,
    STATE,
    UNDO,
    Action,
)
from sporecount.review.errors import ReviewError
from sporecount.review.ledger import Ledger, detections_of
from sporecount.review.queue import open_spots
from sporecount.review.record import Counted, Review, ReviewFile, find_reviews, whose_review
from sporecount.review.second_look import SecondLook, no_second_look, second_look
from sporecount.review.settlement import Settlement, settled
from sporecount.review.use import rates_of
from sporecount.settings import Settings

#: Detections that are regarded around a place.
_NEIGHBOURS = 80


@dataclass(frozen=True)
class Totals:
    """What a photo amounts to as it stands.

    Attributes
    ----------
    spores : int
        Spores that stand.
    low, high : int or None
        Limits of how many there really are; None where they were not asked for.
    load_class : int
        The photo's load class.
    states : dict of str to int
        Detections of each state.
    looked_at : int
        How many of them a person has judged.
    in_full : bool
        Whether the whole photo was looked through.
    """

    spores: int
    low: int | None
    high: int | None
    load_class: int
    states: Mapping[str, int]
    looked_at: int
    in_full: bool


class PhotoReview:
    """A person's review of one photo, open for writing.

    Parameters
    ----------
    photo : Photo
        The photo.
    counted : PhotoCount
        What the tool says of it.
    folder : Path
        Where its review is kept; what was done there before is there again.
    who : str
        The person.
    settings : Settings
        Those it was counted with.
    microscope : Microscope, optional
        What is known of the user's own, if the photo was counted with that.

    Attributes
    ----------
    photo, counted, settings
        As given.
    ledger : Ledger
        What stands.
    second : SecondLook
        What a second search says; nothing before it is put here.

    Raises
    ------
    ReviewError
        If another program has the review open, or it cannot be read or written.
    """

    def __init__(
        self,
        photo: Photo,
        counted: PhotoCount,
        folder: Path,
        who: str,
        settings: Settings,
        microscope: Microscope | None = None,
    ) -> None:
        self.photo, self.counted, self.settings = photo, counted, settings
        self.who = who
        self._microscope = microscope
        self.second = no_second_look(counted.detections)
        facts = _facts(counted, settings, microscope)
        tool = Counted(counted.detections, counted.field.calibration.um_per_px, facts)
        name = _name_in_review(folder, photo, who)
        self._file = ReviewFile(folder, name, photo.sha256, who, tool)
        try:
            self.ledger = Ledger(counted.detections, self._file.review.actions)
        except BaseException:
            self._file.close()
            raise

    @property
    def path(self) -> Path:
        """Where the review is kept."""
        return self._file.path

    @property
    def kept(self) -> Review:
        """The review as it is on the disk; it does not change any more."""
        return self._file.review

    @property
    def notes(self) -> tuple[str, ...]:
        """What was wrong with the review's file when it was opened."""
        return self._file.review.notes

    @property
    def actions(self) -> tuple[Action, ...]:
        """All that was done, undone actions and all."""
        return self._file.review.actions

    @property
    def table(self) -> pd.DataFrame:
        """All detections that there ever were, as `sporecount.review.reviewed.everything`."""
        return self.ledger.table()

    def row(self, name: str) -> Mapping[str, Any]:
        """Return one detection's row of the table.

        Raises
        ------
        ReviewError
            If there is none.
        """
        try:
            return dict(self.ledger.rows[name])
        except KeyError:
            raise ReviewError(f"detection {name}", "there is none", "choose another") from None

    def act(
        self,
        kind: str,
        targets: Sequence[str] = (),
        *,
        state: str | None = None,
        made: Sequence[Mapping[str, Any]] = (),
        note: str = "",
    ) -> tuple[str, ...]:
        """Do one action, and keep it.

        Parameters
        ----------
        kind : str
            One of ``sporecount.review.actions.KINDS``.
        targets, state, made, note
            As for `sporecount.review.actions.Action`.

        Returns
        -------
        tuple of str
            Ids of the detections that changed; none where there is nothing to undo or redo.

        Raises
        ------
        ReviewError
            If the photo was refused, the action does not fit or cannot be written; then
            nothing was done.
        """
        self._check_counted()
        if kind in (REJECT, PART, JOIN):
            self.ledger.check(targets)
        elif kind in (CONFIRM, STATE):  # of what was rejected: it stands again
            self.ledger.check_there(targets)
        if (kind == UNDO and self.ledger.undoable is None) or (
            kind == REDO and self.ledger.redoable is None
        ):
            return ()
        now = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
        action = Action(kind, tuple(targets), state, tuple(made), self.who, now, note)
        changed = self.ledger.do(action)
        try:
            self._file.append(action)
        except ReviewError:
            # What is not on the disk was not done: told again from what is.
            self.ledger = Ledger(self.counted.detections, self.actions)
            raise
        return changed

    def confirm(self, *names: str) -> tuple[str, ...]:
        """Agree with detections."""
        return self.act(CONFIRM, names)

    def reject(self, *names: str) -> tuple[str, ...]:
        """Say that detections are none."""
        return self.act(REJECT, names)

    def set_state(self, state: str, *names: str) -> tuple[str, ...]:
        """Say what state detections are in."""
        return self.act(STATE, names, state=state)

    def undo(self) -> tuple[str, ...]:
        """Take back the last action that holds."""
        return self.act(UNDO)

    def redo(self) -> tuple[str, ...]:
        """Bring back the last action that was undone."""
        return self.act(REDO)

    def close_photo(self) -> None:
        """Say that the whole photo was looked through: what stands was agreed with."""
        if not self.ledger.is_closed:
            self.act(CLOSE)

    def reopen_photo(self) -> None:
        """Take back that the whole photo was looked through."""
        if self.ledger.is_closed:
            self.act(REOPEN)

    def add_at(self, x_px: float, y_px: float, state: str | None = None) -> str:
        """Add a missed spore whose outline grows from a place; return its id.

        Parameters
        ----------
        x_px, y_px : float
            The place, in photo pixels.
        state : str, optional
            Its state; by default what it looks like.

        Raises
        ------
        ReviewError
            If the place was not examined, or a detection is there.
        """
        from sporecount.review.grow import grown

        self._check_counted()
        near, _ = self._near(x_px, y_px)
        new = grown(self.counted.field, near, x_px, y_px, self.settings.detect)
        return self._make(ADD, (), [new if state is None else {**new, "state": state}])[0]

    def add_drawn(self, outline_px: Sequence[Sequence[float]], state: str = "intact") -> str:
        """Add a spore whose outline a person drew; return its id.

        Parameters
        ----------
        outline_px : array_like, shape (n, 2)
            Corners, x and y in photo pixels; three or more.
        state : str
            Its state.

        Raises
        ------
        ReviewError
            If the outline encloses nothing or lies outside of what was examined.
        """
        from sporecount.review.grow import drawn

        self._check_counted()
        new = drawn(self.counted.field, np.asarray(outline_px, float), state)
        return self._make(ADD, (), [new])[0]

    def part(self, name: str, parts: int = 2) -> tuple[str, ...]:
        """Part a detection that is several spores; return the ids of those."""
        from sporecount.review.regroup import parted

        self._check_counted()
        self.ledger.check([name])
        row = self.row(name)
        near, places = self._near(row["x_px"], row["y_px"], [name])
        new = parted(self.counted.field, near, places[name], parts, self.settings.detect)
        return self._make(PART, (name,), new)

    def join(self, *names: str) -> str:
        """Join detections that are one spore; return the id of that."""
        from sporecount.review.regroup import joined

        self._check_counted()
        self.ledger.check(names)
        row = self.row(names[0]) if names else {"x_px": 0.0, "y_px": 0.0}
        near, places = self._near(row["x_px"], row["y_px"], names)
        chosen = [places[name] for name in dict.fromkeys(names)]
        new = joined(self.counted.field, near, chosen, self.settings.detect)
        return self._make(JOIN, tuple(dict.fromkeys(names)), [new])[0]

    def totals(self, *, limits: bool = True) -> Totals | None:
        """Return what the photo amounts to now; None where it was refused.

        Parameters
        ----------
        limits : bool
            Work out ``low`` and ``high`` too: with thousands of spores that takes longer than
            all the rest.
        """
        if self.counted.summary["status"] != COUNTED:
            return None
        states, closed = self.ledger.states, self.ledger.is_closed
        spores = sum(states[state] for state in SPORE_STATES)
        kind = load_class(spores, self.settings.count.class_lower_bounds)
        if not limits:
            return Totals(spores, None, None, kind, states, self.ledger.looked_at, closed)
        confidences = [
            1.0 if closed else row["confidence"]
            for row in self.ledger.rows.values()
            if row["standing"] and row["state"] in SPORE_STATES
        ]
        low, high = spores_range(
            spores,
            self.counted.field.examined_mm2,
            self.rates,
            confidences=confidences,
            doubtful=doubtful_of(self.counted.summary),
            level=self.settings.count.level,
        )
        return Totals(spores, low, high, kind, states, self.ledger.looked_at, closed)

    @property
    def rates(self) -> DetectorRates:
        """The rates of mistakes that what stands now may still have."""
        closed, own = self.ledger.is_closed, self._microscope
        if closed or own is None or own.rates is None:
            return rates_of(closed)
        return own.rates

    def settlement(self, risk: float) -> Settlement | None:
        """Say whether more review can change the photo's class; None where it was refused."""
        if self.counted.summary["status"] != COUNTED:
            return None
        spots = open_spots(self.ledger.rows, self.second, self.um_per_px)
        return settled(
            [spots],
            self.rates,
            risk=risk,
            class_lower_bounds=self.settings.count.class_lower_bounds,
            in_full=[self.ledger.is_closed],
        )

    def look_again(self) -> SecondLook:
        """Search for what the count may have missed, to be put at ``second``.

        As long as counting; safe in a thread beside the window's.
        """
        counted = self.counted
        own = self._microscope
        return second_look(
            counted.field,
            counted.detections,
            self.settings.detect,
            adjustment=None if own is None else own.adjustment,
        )

    @property
    def um_per_px(self) -> float:
        """The photo's scale."""
        return self.counted.field.calibration.um_per_px

    def leave(self) -> None:
        """Let other programs open the review; all that was done is kept already."""
        self._file.close()

    def _make(
        self, kind: str, targets: tuple[str, ...], new: Sequence[Mapping[str, Any]]
    ) -> tuple[str, ...]:
        first = int(self.ledger.next_id()[1:])
        made = [{"id": f"p{first + place}", **row} for place, row in enumerate(new)]
        self.act(kind, targets, made=made)
        return tuple(str(row["id"]) for row in made)

    def _near(
        self, x_px: float, y_px: float, names: Sequence[str] = ()
    ) -> tuple[pd.DataFrame, dict[str, int]]:
        """Return some that are named and those that stand nearest to a place.

        They tell how large spores usually are there, and where lines of parting run; a table
        of thousands would cost more time than the outline.

        Returns
        -------
        DataFrame
            The columns of detections.
        dict of str to int
            Id to row of that.
        """
        rows = self.ledger.rows
        standing = [row for row in rows.values() if row["standing"]]
        places = np.array([(row["x_px"], row["y_px"]) for row in standing]).reshape(-1, 2)
        nearest = np.argsort(np.hypot(*(places - (x_px, y_px)).T), kind="stable")[:_NEIGHBOURS]
        ids = dict.fromkeys([*names, *(standing[k]["id"] for k in nearest)])
        return detections_of([rows[name] for name in ids]), {name: k for k, name in enumerate(ids)}

    def _check_counted(self) -> None:
        if self.counted.summary["status"] != COUNTED:
            raise ReviewError(
                "this photo",
                f"it was refused ({self.counted.summary['reason']})",
                "take it again; nobody could count on it",
            )


def _facts(
    counted: PhotoCount, settings: Settings, microscope: Microscope | None
) -> dict[str, Any]:
    """Return what makes the tool's count again."""
    calibration = counted.field.calibration
    kept = ("status", "examined_mm2", "spores", "spores_low", "spores_high", "load_class", *STATES)
    return {
        "version": __version__,
        "settings": settings.as_dict(),
        "scale_source": calibration.source,
        "weights": weights_sha256(),
        "adjusted": microscope is not None and microscope.adjustment is not None,
        "summary": {name: counted.summary[name] for name in kept},
    }


def _name_in_review(folder: Path, photo: Photo, who: str) -> str:
    """Return the name under which the person reviewed this photo before: it may be renamed."""
    for path in find_reviews(folder, photo.sha256):
        try:
            name, sha256, person = whose_review(path)
        except ReviewError:  # said when it is opened under the photo's own name, or not ours
            continue
        if person == who and sha256 == photo.sha256:
            return name
    return photo.name
