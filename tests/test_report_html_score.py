"""`sporecount score` leaves a report for each sample, and makes it again where it is gone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.report.html.gather import sample_data
from sporecount.report.html.sample import sample_report
from sporecount.scoring import score


def run(folder: Path) -> Result:
    given = ["score", folder / "season", "--um-per-px", 0.9, "--out", folder / "out"]
    return CliRunner().invoke(main, [str(one) for one in [*given, "--jobs", 1]])


def speckled(level: int, seed: int) -> np.ndarray:
    """Return a photo of even tape with grain."""
    grain = np.random.default_rng(seed).normal(0, 2, (300, 400, 3))
    return np.clip(level + grain, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def scored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("reports")
    for sample, photos in {"A <1>": {"clear & bright": 200}, "B2": {"dark": 8}}.items():
        (folder / "season" / sample).mkdir(parents=True)
        for seed, (name, level) in enumerate(photos.items()):
            Image.fromarray(speckled(level, seed)).save(folder / f"season/{sample}/{name}.png")
    (folder / "season/A <1>/cut.png").write_bytes(b"\x89PNG\r\n\x1a\n cut")
    result = run(folder)
    assert result.exit_code == 1, result.output
    assert "Reports to read and print" in result.output
    return folder


def test_each_sample_has_a_report_also_one_that_was_refused(scored: Path) -> None:
    names = sorted(path.name for path in (scored / "out/reports").iterdir())
    assert names == ["A <1>.html", "B2.html"]
    clear = (scored / "out/reports/A <1>.html").read_text("utf-8")
    assert "A &lt;1&gt;" in clear
    assert "<1>" not in clear
    assert "clear &amp; bright.png" in clear
    refused = (scored / "out/reports/B2.html").read_text("utf-8")
    assert "That is not a zero" in refused


def test_a_photo_that_cannot_be_read_is_listed(scored: Path) -> None:
    clear = (scored / "out/reports/A <1>.html").read_text("utf-8")
    photos = clear[clear.index('id="photos"') : clear.index('id="contest"')]
    assert "cut.png" in photos
    assert "unreadable: " in photos


def test_a_report_that_is_gone_is_written_again_and_others_stay(scored: Path) -> None:
    gone, stays = scored / "out/reports/B2.html", scored / "out/reports/A <1>.html"
    before = stays.stat().st_mtime_ns
    gone.unlink()
    run(scored)
    assert "That is not a zero" in gone.read_text("utf-8")
    assert stays.stat().st_mtime_ns == before


def test_a_report_from_python_shows_the_result() -> None:
    pixels = speckled(200, 3)
    result = score([pixels], um_per_px=0.9, sample="A7")
    kept = result.views[0].picture.copy()
    page = sample_report(sample_data(result, lambda _: pixels, made_at="2026-07-04"))
    assert "A7" in page
    assert f'<td class="number">{result.summary["spores"]}</td>' in page
    assert str(result.photos[0]["sha256"]) in page
    np.testing.assert_array_equal(result.views[0].picture, kept)
