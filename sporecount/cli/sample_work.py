"""From the counted photos of one sample to its result: the work shared by score and watch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from sporecount.cli.batch import PROBLEMS_FILE, Batch, Problems
from sporecount.cli.parts import PhotoResult
from sporecount.cli.sample_parts import SampleParts, SampleResult, sample_key
from sporecount.counts.sample_summary import failed_row
from sporecount.counts.summary import UNREADABLE
from sporecount.photo.digest import file_sha256
from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import read_photo
from sporecount.photo.samples import SampleFiles
from sporecount.report.files import write_whole
from sporecount.report.names import marked_names
from sporecount.report.run_record import now
from sporecount.report.samples_table import sample_detections_csv
from sporecount.scoring import SampleScore, score_sample, view_of
from sporecount.tape.pairs import Known
from sporecount.tape.view import View

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: Folder of the layout pictures, within the folder of results.
LAYOUT_FOLDER = "layouts"

#: Folder of the reports, within the folder of results.
REPORT_FOLDER = "reports"


@dataclass(frozen=True)
class SampleWork:
    """What is the same for all samples of a run.

    Attributes
    ----------
    batch : Batch
        What is the same for all photos.
    tapes_mm2 : mapping of str to float
        Sample name to the area of its whole tape.
    layouts : mapping of str to str
        Sample name to the path of its layout picture, relative to the folder of results.
    views : dict
        Photos that are reduced already, by hash; filled where ``keep_views``. Those that
        come with a photo's result are used anyway, so that a photo is decoded once.
    registrations : dict
        What is known of pairs of photos; filled as they are registered.
    keep_views : bool
        Keep them for the next time: for a sample that grows photo by photo.
    """

    batch: Batch
    tapes_mm2: Mapping[str, float]
    layouts: Mapping[str, str]
    views: dict[str, View] = field(default_factory=dict)
    registrations: Known = field(default_factory=dict)
    keep_views: bool = False

    def score(
        self, sample: SampleFiles, photos: Mapping[str, PhotoResult], *, grows: bool = False
    ) -> SampleResult:
        """Score a sample, or return its result where it is finished already.

        Whatever goes wrong becomes its row: one sample must not stop the others.

        Parameters
        ----------
        sample : SampleFiles
            Its photos.
        photos : mapping of str to PhotoResult
            Their results, by name.
        grows : bool
            More photos are awaited: its report is written only once it is settled.
        """
        own = [photos[file.name] for file in sample.files]
        try:
            return self._score_or_recall(sample, own, grows=grows)
        except Exception as error:
            Problems(self.batch.out / PROBLEMS_FILE, go_on=True).add(sample.name, error)
            reason = f"it could not be worked on ({type(error).__name__}); see {PROBLEMS_FILE}"
            rows = [dict(photo.summary) for photo in own]
            row = failed_row(sample.name, rows, self.tapes_mm2[sample.name], reason)
            return SampleResult(row, rows, sample_detections_csv([]), None)

    def _score_or_recall(
        self, sample: SampleFiles, photos: Sequence[PhotoResult], *, grows: bool
    ) -> SampleResult:
        batch, parts = self.batch, SampleParts(self.batch.out)
        keys = [batch.key(file, file_sha256(file.path)) for file in sample.files]
        status = [(photo.summary["status"], photo.summary["reason"]) for photo in photos]
        key = sample_key(sample.name, keys, self.tapes_mm2[sample.name], batch.settings, status)
        kept = None if batch.afresh else parts.load(key)
        if kept is not None and (kept.report or (grows and not kept.is_settled)):
            return kept
        own = batch.microscope_of(photo.summary for photo in photos)
        scored = score_sample(
            sample.name,
            [photo.summary for photo in photos],
            self._views(sample.files, photos),
            tape_mm2=self.tapes_mm2[sample.name],
            settings=batch.settings,
            known=self.registrations if self.keep_views else None,
            rates=None if own is None else own.rates,
        )
        if own is not None:
            scored.summary["notes"] = "; ".join(filter(None, (scored.summary["notes"], own.note)))
        picture = self._draw(scored)
        result = SampleResult(
            summary=scored.summary,
            photos=list(scored.photos),
            detections=sample_detections_csv([(sample.name, scored.detections)]),
            decision=scored.decision.as_text() if scored.decision else None,
        )
        if not grows or result.is_settled:
            result = replace(result, report=self._report_or_none(scored, sample.files, picture))
        parts.save(key, result)
        return result

    def forget_report(self, sample: str) -> None:
        """Take away the report of a sample that says something else by now."""
        (self.batch.out / report_name(self.layouts[sample])).unlink(missing_ok=True)

    def _views(self, files: Sequence[PhotoFile], photos: Sequence[PhotoResult]) -> list[View]:
        """Reduce each photo that could be read."""
        readable = [
            (file, photo)
            for file, photo in zip(files, photos, strict=True)
            if photo.summary["status"] != UNREADABLE
        ]
        with ThreadPoolExecutor(self.batch.jobs) as pool:
            return list(pool.map(lambda pair: self._view(*pair), readable))

    def _view(self, file: PhotoFile, result: PhotoResult) -> View:
        known, settings = result.summary["sha256"], self.batch.settings
        if known in self.views:
            return replace(self.views[known], photo=file.name)
        view = result.view
        if view is None:
            photo = read_photo(file.path, file.name)
            calibration = self.batch.scales.choose(photo)
            view = view_of(photo, calibration, result.summary, result.detections, settings)
        if self.keep_views:
            self.views[known] = view
        return view

    def _draw(self, scored: SampleScore) -> NDArray[np.uint8] | None:
        """Draw the layout, and enter its path into the summary."""
        scored.summary["layout"] = ""
        if not scored.tape.regions:
            return None
        from sporecount.report.marked import jpeg_bytes
        from sporecount.tape.picture import draw_layout

        name = self.layouts[scored.summary["sample"]]
        picture = draw_layout(scored.views, scored.tape)
        write_whole(self.batch.out / name, jpeg_bytes(picture))
        scored.summary["layout"] = name
        return picture

    def _report_or_none(
        self,
        scored: SampleScore,
        files: Sequence[PhotoFile],
        picture: NDArray[np.uint8] | None,
    ) -> str:
        """Write the report; a fault there must not cost the result itself."""
        try:
            return self._report(scored, files, picture)
        except Exception as error:
            name = f"report of {scored.summary['sample']}"
            Problems(self.batch.out / PROBLEMS_FILE, go_on=True).add(name, error)
            return ""

    def _report(
        self,
        scored: SampleScore,
        files: Sequence[PhotoFile],
        picture: NDArray[np.uint8] | None,
    ) -> str:
        """Write the report; return its path relative to the folder of results."""
        from sporecount.report.html.gather import sample_data
        from sporecount.report.html.sample import write_sample_report

        paths = {file.name: file.path for file in files}
        data = sample_data(
            scored,
            lambda photo: read_photo(paths[photo], photo).pixels,
            made_at=f"{now():%Y-%m-%d %H:%M} UTC",
            settings=self.batch.settings,
            layout=picture,
        )
        name = report_name(self.layouts[scored.summary["sample"]])
        write_sample_report(self.batch.out / name, data)
        return name


def report_name(layout: str) -> str:
    """Return the path of a sample's report, from that of its layout picture.

    Examples
    --------
    >>> report_name("layouts/tray 2/B.7.jpg")
    'reports/tray 2/B.7.html'
    """
    return f"{REPORT_FOLDER}/{layout.removeprefix(f'{LAYOUT_FOLDER}/').removesuffix('.jpg')}.html"


def layout_names(samples: Sequence[str]) -> dict[str, str]:
    """Return the path of each sample's layout picture, relative to the folder of results.

    Examples
    --------
    >>> layout_names(["A1", "tray 2/B.7"])
    {'A1': 'layouts/A1.jpg', 'tray 2/B.7': 'layouts/tray 2/B.7.jpg'}
    """
    # The ending is there to be taken off, so that a dot in a name stays.
    names = marked_names(f"{sample}.jpg" for sample in samples)
    return {sample: f"{LAYOUT_FOLDER}/{names[f'{sample}.jpg']}" for sample in samples}
