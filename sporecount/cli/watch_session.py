"""The state of one watched sample: counts what is new, scores, writes, records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from sporecount.cli.arrivals import Arrivals, Arrived, Signature
from sporecount.cli.batch import PROBLEMS_FILE, Batch, Problems, count_safely, keep, recall
from sporecount.cli.edge import one_line
from sporecount.cli.parts import PhotoResult
from sporecount.cli.sample_parts import SampleResult
from sporecount.cli.sample_results import record_results, write_results
from sporecount.cli.sample_work import SampleWork
from sporecount.counts.summary import COUNTED, UNREADABLE, unreadable_summary
from sporecount.detect.table import empty_detections
from sporecount.errors import SporecountError
from sporecount.photo.read import read_photo
from sporecount.photo.samples import SampleFiles
from sporecount.report.names import marked_paths

Counted = tuple[Arrived, PhotoResult]


class WatchSession:
    """One sample that grows photo by photo.

    After each photo all results are on the disk. They depend on what is in the folder
    alone, so that a stopped or killed watch comes to the same when it is started again.

    Parameters
    ----------
    name : str
        The sample's name.
    arrivals : Arrivals
        The folder.
    work : SampleWork
        How to score; with ``keep_views``.
    log_file : Path or None
        Rearing log to record in.
    marked : bool
        Whether marked copies are wanted.
    say : callable
        Called with what happens, line by line.
    show : callable
        Called with the session whenever there is something new to show.
    """

    def __init__(
        self,
        name: str,
        arrivals: Arrivals,
        work: SampleWork,
        *,
        log_file: Path | None,
        marked: bool,
        say: Callable[[str], None],
        show: Callable[[WatchSession], None] = lambda _: None,
    ) -> None:
        self.name = name
        self._show, self._working = show, ""
        self.result: SampleResult | None = None
        self.unsettled: tuple[str, ...] = ()
        self._arrivals, self._work = arrivals, work
        self._log_file, self._marked, self._say = log_file, marked, say
        self._counted: dict[tuple[str, Signature], Counted] = {}
        self._shown: tuple[tuple[str, Signature], ...] = ()
        self._recorded: SampleResult | None = None
        self._repeats: dict[str, str] = {}
        self._problems = Problems(work.batch.out / PROBLEMS_FILE)

    @property
    def waiting(self) -> dict[str, str]:
        """Photos that would count if they changed, and why they do not yet."""
        unread = {
            arrived.file.name: str(photo.summary["reason"])
            for arrived, photo in self._counted.values()
            if photo.summary["status"] == UNREADABLE
        }
        working = {self._working: "it is being counted"} if self._working else {}
        return {**working, **dict.fromkeys(self.unsettled, "may still be being written"), **unread}

    def look(self) -> bool:
        """Take up what is new in the folder; say whether the result changed."""
        seen = self._arrivals.look()
        self.unsettled = seen.unsettled
        for name in sorted(seen.repeats.keys() - self._repeats.keys()):
            self._tell(f"{name} is the same photo as {seen.repeats[name]}: not counted again")
        self._repeats = seen.repeats
        here = {(one.file.name, one.signature): one for one in seen.whole}
        gone = {key: self._counted.pop(key) for key in set(self._counted) - set(here)}
        new = {key: one for key, one in here.items() if key not in self._counted}
        # What needs no counting comes in at one go, so that a restart neither shows nor
        # records again what was there before.
        for key, arrived in new.items():
            quick = self._renamed(arrived, gone) or self._without_counting(arrived)
            if quick is not None:
                self._counted[key] = (arrived, quick)
        names = {name for name, _ in here} | set(seen.unsettled) | set(seen.repeats)
        for arrived, _ in gone.values():
            if arrived.file.name not in names:
                self._tell(f"{arrived.file.name} is gone from the folder: no longer counted")
        changed = self._update()
        for key, arrived in new.items():
            if key not in self._counted:
                self._counted[key] = (arrived, self._count(arrived))
                # What is done is on the disk before the next begins.
                changed = self._update() or changed
        return changed

    @property
    def is_recorded(self) -> bool:
        """Whether the result is in the log, where one is wanted."""
        return self._log_file is None or self._recorded is self.result

    def finish(self) -> SampleResult | None:
        """Make sure that all that was counted is written and recorded, and a report of it."""
        self._update()
        if self.result is not None and not self.result.report:
            reported = self._score(grows=False)
            if self._recorded is self.result:
                self._recorded = reported
            self.result = reported
        return self.result

    def _renamed(
        self, arrived: Arrived, gone: dict[tuple[str, Signature], Counted]
    ) -> PhotoResult | None:
        """Return the result of a photo that has only got another name."""
        for key, (before, photo) in gone.items():
            if before.sha256 == arrived.sha256 and photo.summary["status"] != UNREADABLE:
                del gone[key]
                name = arrived.file.name
                self._tell(f"{before.file.name} is called {name} now")
                photo = PhotoResult({**photo.summary, "photo": name}, photo.detections)
                keep(self._for_photo(name), arrived.file, photo, like=self._copy(before.file.name))
                return photo
        return None

    def _without_counting(self, arrived: Arrived) -> PhotoResult | None:
        """Return the result of a photo that is finished, or that cannot be read."""
        file = arrived.file
        kept = recall(self._for_photo(file.name), file)
        if kept is not None:
            return kept
        try:
            self._work.batch.scales.choose(read_photo(file.path, file.name))
        except SporecountError as error:
            reason = f"{error.wrong}; {error.remedy}"
            self._tell(f"{file.name} cannot be used unless it changes: {reason}")
            return PhotoResult(unreadable_summary(file.name, reason), empty_detections())
        return None

    def _count(self, arrived: Arrived) -> PhotoResult:
        name = self._working = arrived.file.name
        self._show(self)
        photo = count_safely(self._for_photo(name), arrived.file, self._problems, with_view=True)
        self._working = ""
        row = photo.summary
        if row["status"] == COUNTED:
            self._tell(f"{name}: {row['spores']} spore{'' if row['spores'] == 1 else 's'}")
        else:
            self._tell(f"{name}: {row['status']}: {row['reason']}")
        return photo

    def _for_photo(self, name: str) -> Batch:
        if not self._marked:
            return self._work.batch
        return replace(self._work.batch, marked={name: self._copy(name)})

    def _copy(self, name: str) -> str:
        """Return the path of a marked copy; the photo's own ending stays in its name."""
        return marked_paths([f"{name}.jpg"])[f"{name}.jpg"]

    def _update(self) -> bool:
        """Score, write and record what is counted, where that is news."""
        shown = tuple((one.file.name, one.signature) for one, _ in self._in_order())
        changed = shown != self._shown
        if changed:
            self.result = self._score(grows=True)
            if not self.result.report:
                self._work.forget_report(self.name)
            write_results(self._work.batch.out, [self.result])
            self._shown = shown
            self._show(self)
        self._record()
        return changed

    def _in_order(self) -> list[Counted]:
        return sorted(
            self._counted.values(),
            key=lambda one: (one[0].file.name.casefold(), one[0].file.name),
        )

    def _score(self, *, grows: bool) -> SampleResult:
        own = self._in_order()
        sample = SampleFiles(self.name, tuple(one.file for one, _ in own))
        photos = {photo.summary["photo"]: photo for _, photo in own}
        return self._work.score(sample, photos, grows=grows)

    def _record(self) -> None:
        if self._log_file is None or self.result is None or self.result is self._recorded:
            return
        if self.result.summary["status"] == UNREADABLE:
            return  # files that nobody could read yet are no result of this adult
        try:
            kept = record_results(
                self._log_file, [self.result], self._work.batch.settings, say=self._say
            )
        except SporecountError as error:  # tried again at the next look
            self._tell(f"Not in the log yet: {error}")
            return
        if kept:
            self._recorded = self.result

    def _tell(self, text: str) -> None:
        self._say(one_line(text))
