"""Counting many photos at once: one that fails never stops the others."""

from __future__ import annotations

import os
import threading
import traceback
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from sporecount.cli.parts import Parts, PhotoResult, part_key
from sporecount.cli.scales import ScaleRequest
from sporecount.counting import count_photo
from sporecount.counts.summary import unreadable_summary
from sporecount.detect.table import empty_detections
from sporecount.errors import SporecountError
from sporecount.microscope import Microscope, microscope_for, shared_microscope
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import read_photo
from sporecount.report.files import write_whole
from sporecount.report.run_record import now
from sporecount.review.use import ReviewFolders, stamp, with_reviews
from sporecount.settings import Settings

#: Reports of photos that failed, within the folder of results.
PROBLEMS_FILE = "problems.log"


@dataclass(frozen=True)
class Batch:
    """What is the same for all photos of a run.

    Attributes
    ----------
    out : Path
        Folder of results.
    scales : ScaleRequest
        Where each photo's scale comes from.
    settings : Settings
        All settings.
    marked : mapping of str to str
        Photo name to the path of its marked copy, relative to ``out``; empty
        where no copies are wanted.
    afresh : bool
        Count photos again that are finished already.
    jobs : int
        Photos worked on at once.
    reviews : ReviewFolders or None
        Where people's reviews are; None where the tool's own results are wanted.
    microscopes : tuple of Microscope
        What was measured on the user's own; empty where the tool is wanted as it comes.
    """

    out: Path
    scales: ScaleRequest
    settings: Settings
    marked: Mapping[str, str]
    afresh: bool = False
    jobs: int = 1
    reviews: ReviewFolders | None = None
    microscopes: tuple[Microscope, ...] = ()

    def key(self, file: PhotoFile, sha256: str) -> str:
        """Return the name under which the result of a photo of these bytes is kept."""
        said = "" if self.reviews is None else stamp(self.reviews.of(file.path), sha256)
        return part_key(
            file.name,
            sha256,
            self.scales.asked(file.name),
            self.settings,
            said,
            [asdict(one) for one in self.microscopes],
        )

    def microscope_of(self, rows: Iterable[Mapping[str, Any]]) -> Microscope | None:
        """Return the microscope that all of some counted photos are of, if it is one."""
        return shared_microscope(self.microscopes, rows)


def count_batch(
    batch: Batch, files: Sequence[PhotoFile], done: Callable[[PhotoResult], None]
) -> list[PhotoResult]:
    """Count photos, several at once.

    Parameters
    ----------
    batch : Batch
        What is the same for all.
    files : sequence of PhotoFile
        The photos.
    done : callable
        Called with each result as it comes.

    Returns
    -------
    list of PhotoResult
        In the order of ``files``.

    Raises
    ------
    KeyboardInterrupt
        On Ctrl-C, once the photos under way are finished and kept. A second
        Ctrl-C ends the process at once.
    """
    with Counting(batch, done) as counting:
        return counting.results(counting.begin(files))


class Counting:
    """Counts photos in the background; to be left by the end of a ``with``.

    Parameters
    ----------
    batch : Batch
        What is the same for all photos.
    done : callable
        Called with each result as it comes.
    views : bool
        Reduce each photo for the layout of its tape while it is there. Photos that are
        finished already are not read for that.
    """

    def __init__(
        self, batch: Batch, done: Callable[[PhotoResult], None], *, views: bool = False
    ) -> None:
        self._batch, self._done, self._views = batch, done, views
        self._problems = Problems(batch.out / PROBLEMS_FILE)
        self._pool = ThreadPoolExecutor(batch.jobs, initializer=_one_thread_each(batch.jobs))

    def __enter__(self) -> Counting:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self._pool.shutdown()
        else:
            _stop(self._pool)

    def begin(self, files: Sequence[PhotoFile]) -> list[Future[PhotoResult]]:
        """Begin with photos, after those begun before."""
        return [
            self._pool.submit(
                count_safely, self._batch, file, self._problems, with_view=self._views
            )
            for file in files
        ]

    def results(self, begun: Sequence[Future[PhotoResult]]) -> list[PhotoResult]:
        """Wait for photos that were begun, and return them in their order."""
        for future in as_completed(begun):
            self._done(future.result())
        return [future.result() for future in begun]


class Problems:
    """The log of photos that failed: made only where one does.

    Parameters
    ----------
    path : Path
        The file; one of an earlier run is taken away.
    go_on : bool
        Add to the file that is there.
    """

    def __init__(self, path: Path, *, go_on: bool = False) -> None:
        self._path = path
        self._lock = threading.Lock()
        if not go_on:
            path.unlink(missing_ok=True)

    def add(self, name: str, error: Exception) -> None:
        """Add what went wrong with a photo, with the place in the program."""
        report = "".join(traceback.format_exception(error))
        with self._lock, self._path.open("a", encoding="utf-8", newline="\n") as file:
            file.write(f"{now().isoformat()} {name!r}\n{report}\n")


def count_safely(
    batch: Batch, file: PhotoFile, problems: Problems, *, with_view: bool = False
) -> PhotoResult:
    """Count one photo; whatever goes wrong becomes its row."""
    try:
        return _count_or_recall(batch, file, with_view=with_view)
    except Exception as error:  # one photo must not stop the others
        problems.add(file.name, error)
        if isinstance(error, SporecountError):
            reason = f"{error.wrong}; {error.remedy}"
        else:
            reason = f"it could not be worked on ({type(error).__name__}); see {PROBLEMS_FILE}"
        return PhotoResult(unreadable_summary(file.name, reason), empty_detections())


def recall(batch: Batch, file: PhotoFile) -> PhotoResult | None:
    """Return a photo's result where it is finished already."""
    if batch.afresh:
        return None
    key = batch.key(file, file_sha256(file.path))
    return Parts(batch.out).load(key, batch.marked.get(file.name))


def keep(batch: Batch, file: PhotoFile, result: PhotoResult, like: str) -> None:
    """Keep the result of a photo under its new name, its marked copy too.

    Parameters
    ----------
    batch, file, result
        The photo under its new name.
    like : str
        Path of the marked copy under the old name, relative to the folder of results.
    """
    marked = batch.marked.get(file.name)
    try:
        if marked is not None:
            (batch.out / like).replace(batch.out / marked)
        key = batch.key(file, result.summary["sha256"])
        Parts(batch.out).save(key, result, marked)
    except OSError:
        pass  # it is counted again at the next start


def _count_or_recall(batch: Batch, file: PhotoFile, *, with_view: bool) -> PhotoResult:
    """Count one photo, or return its result where it is finished already."""
    kept = recall(batch, file)
    if kept is not None:
        return kept
    parts, marked = Parts(batch.out), batch.marked.get(file.name)
    photo = read_photo(file.path, file.name)
    # Of the bytes that were read: a camera may have gone on writing since the hash was taken.
    key = batch.key(file, photo.sha256)
    scale = batch.scales.choose(photo)
    own = microscope_for(batch.microscopes, scale.um_per_px)
    counted = count_photo(photo, scale, batch.settings, own)
    if batch.reviews is not None:
        rates = None if own is None else own.rates
        counted = with_reviews(counted, batch.reviews.of(file.path), batch.settings.count, rates)
    if marked is not None:
        from sporecount.report.marked import draw_marked, jpeg_bytes

        picture = draw_marked(
            photo.pixels,
            counted.detections,
            counted.summary,
            examined=counted.field.examined,
            lower_bounds=batch.settings.count.class_lower_bounds,
        )
        write_whole(batch.out / marked, jpeg_bytes(picture))
    result = PhotoResult(counted.summary, counted.detections)
    parts.save(key, result, marked)
    if not with_view:
        return result
    from sporecount.tape.view import make_view

    return replace(result, view=make_view(photo, counted))


def _one_thread_each(jobs: int) -> Callable[[], None] | None:
    """Keep the picture library from starting threads of its own beside the jobs."""
    if jobs == 1:
        return None

    def one_thread() -> None:
        import cv2

        from sporecount.threads import set_threads

        cv2.setNumThreads(1)
        set_threads(1)

    return one_thread


def _stop(pool: ThreadPoolExecutor) -> None:
    """Drop the photos not begun and let those under way finish."""
    try:
        pool.shutdown(wait=True, cancel_futures=True)
    except KeyboardInterrupt:
        os._exit(130)
