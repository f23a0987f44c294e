"""What a review leaves behind for others: the page of a tape, and its tables."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sporecount.photo.folder import PhotoFile
from sporecount.photo.read import read_photo
from sporecount.report.files import utf8, write_whole
from sporecount.report.names import marked_names
from sporecount.report.run_record import now
from sporecount.report.samples_table import sample_detections_csv, samples_csv
from sporecount.report.tables import photos_csv
from sporecount.scoring import SampleScore
from sporecount.settings import Settings


def save_report(
    score: SampleScore, files: Sequence[PhotoFile], folder: Path, settings: Settings
) -> list[Path]:
    """Write the page of a tape and its tables into a folder; what is there is replaced.

    Parameters
    ----------
    score : SampleScore
        What the tape says.
    files : sequence of PhotoFile
        Its photos.
    folder : Path
        Where to write; made when missing.
    settings : Settings
        Those of the score.

    Returns
    -------
    list of Path
        The page first, then the tables.
    """
    from sporecount.report.html.gather import sample_data
    from sporecount.report.html.sample import write_sample_report

    paths = {file.name: file.path for file in files}

    def pixels_of(photo: str) -> NDArray[np.uint8] | None:
        return read_photo(paths[photo], photo).pixels if photo in paths else None

    sample = str(score.summary["sample"])
    stem = Path(marked_names([f"{sample}.jpg"])[f"{sample}.jpg"]).stem
    data = sample_data(score, pixels_of, made_at=f"{now():%Y-%m-%d %H:%M} UTC", settings=settings)
    folder.mkdir(parents=True, exist_ok=True)
    page = folder / f"{stem}.html"
    write_sample_report(page, data)
    tables = {
        f"{stem}-sample.csv": samples_csv([score.summary]),
        f"{stem}-photos.csv": photos_csv(score.photos),
        f"{stem}-detections.csv": sample_detections_csv([(sample, score.detections)]),
    }
    for name, text in tables.items():
        write_whole(folder / name, utf8(text))
    return [page, *(folder / name for name in tables)]
