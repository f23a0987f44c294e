"""From a sample's score to the data of its report: the layout drawn, the crops cut."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sporecount.report.html.pictures import gallery
from sporecount.report.html.sample import SampleData
from sporecount.settings import Settings

if TYPE_CHECKING:
    from sporecount.scoring import SampleScore


def sample_data(
    score: SampleScore,
    pixels_of: Callable[[str], NDArray[np.uint8] | None],
    *,
    made_at: str,
    settings: Settings | None = None,
    layout: NDArray[np.uint8] | None = None,
) -> SampleData:
    """Put together what a sample's report shows.

    Parameters
    ----------
    score : SampleScore
        From `sporecount.scoring.score_sample`.
    pixels_of : callable
        Returns a photo's pixels, shape (height, width, 3), by its name; None where they
        cannot be had. Only photos that are shown in the gallery are asked for, each once.
    made_at : str
        When, as it is to be shown.
    settings : Settings, optional
        Those of the result.
    layout : ndarray, shape (rows, columns, 3), uint8, optional
        The layout where it is drawn already.

    Returns
    -------
    SampleData
        For :func:`sporecount.report.html.sample.sample_report`.
    """
    from sporecount.tape.picture import draw_layout

    if layout is None and score.tape.regions:
        layout = draw_layout(score.views, score.tape)
    scales = {view.photo: view.photo_um_per_px for view in score.views}
    return SampleData(
        row=score.summary,
        made_at=made_at,
        photos=score.photos,
        tape=score.tape,
        decision=score.decision,
        layout=layout,
        crops=gallery(score.detections, scales, pixels_of),
        settings=settings or Settings(),
    )
