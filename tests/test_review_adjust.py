"""The tool learns from reviews only what helps on other photos, and never at blanks' cost."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from PIL import Image
from reviewing import Drawn, drawn, review_in_full, seen_truth

from sporecount.cli import main
from sporecount.counting import PhotoCount, count_photo
from sporecount.detect.table import SPORE_STATES
from sporecount.microscope import Adjustment, Microscope, microscope_for
from sporecount.photo.folder import find_photos
from sporecount.review.adjust import LEAST_BLANKS, refit
from sporecount.review.errors import ReviewError
from sporecount.review.learned import Learned, learned_from
from sporecount.review.measure import adjusted, all_reviews, learned_photos
from sporecount.review.own import (
    forget_microscope,
    go_back,
    keep_microscope,
    load_microscopes,
    microscope_named,
    microscopes_path,
)
from sporecount.review.quality import misread_from_judged, rates_from
from sporecount.review.record import FOLDER, ReviewFile
from sporecount.review.sample import Judged
from sporecount.scale.saved import CONFIG_DIR_VARIABLE
from sporecount.settings import DetectSettings, Settings

DETECT = DetectSettings()


def learned(number: int, finds: list[tuple[float, float, str]], missed: int = 0) -> Learned:
    """Return a photo from (chance, chance of damage, truth) of each place."""
    table = pd.DataFrame(finds, columns=["spore", "damaged", "truth"])
    table = table.assign(is_fragment=False, fragment=0.0, possible=True)
    blank = Judged(f"{number}", f"{number}", "Ann", 0.5, 1.0, True, np.zeros((4, 4)))
    photo = Learned(blank, table, ("intact",) * missed)
    return replace(photo, judged=replace(blank, table=photo.table(Adjustment(), DETECT)))


def microscope(shift: float, photos: int, blanks: int, seed: int = 1) -> list[Learned]:
    """Simulate photos on a microscope where the tool's logits are too low by ``shift``."""
    rng = np.random.default_rng(seed)
    out = []
    for number in range(photos + blanks):
        spores = 0 if number >= photos else 25
        logit = np.concatenate([rng.normal(3.0, 1.5, spores), rng.normal(-5.0, 1.2, 15)]) - shift
        truth = ["intact"] * spores + ["nothing"] * 15
        chance = 1 / (1 + np.exp(-logit))
        out.append(learned(number, [(c, 0.1, t) for c, t in zip(chance.tolist(), truth)]))
    return out


def mistakes(photos: list[Learned], adjustment: Adjustment) -> float:
    tables = [photo.table(adjustment, DETECT) for photo in photos]
    return sum(float(t[:2, 2:].sum() + t[2:, :2].sum()) for t in tables)


def test_a_shifted_microscope_is_learned_and_helps_on_others() -> None:
    found = refit(microscope(3.0, 8, 3), DETECT)
    assert found.adjustment is not None
    assert found.adjustment.shift > 1.5
    assert found.adjustment.least_damaged is None
    assert found.after.recall.share > found.before.recall.share + 0.2
    assert found.false_on_blanks[1] <= found.false_on_blanks[0]
    others = microscope(3.0, 8, 3, seed=2)
    assert mistakes(others, found.adjustment) < 0.5 * mistakes(others, Adjustment())
    assert "mistakes before" in found.why[0]
    assert "After: of what is counted as spores" in found.as_text()


def test_without_a_gain_nothing_changes() -> None:
    kept = [refit(microscope(0.0, 8, 3, seed), DETECT).adjustment for seed in range(20)]
    # By chance alone, each of the two parts may seem to help one time in twenty.
    assert sum(one is not None for one in kept) <= 2


def test_without_blanks_nothing_is_counted_more_readily() -> None:
    found = refit(microscope(3.0, 10, LEAST_BLANKS - 1), DETECT)
    assert found.adjustment is None
    assert found.after.recall.share == found.before.recall.share


def test_where_too_much_is_counted_no_blanks_are_needed() -> None:
    found = refit(microscope(-5.0, 10, 0), DETECT)
    assert found.adjustment is not None
    assert found.adjustment.shift < -1.0
    assert found.after.precision.share > found.before.precision.share


def test_blanks_are_never_worse() -> None:
    """Litter of these blanks looks like the spores that are missed."""
    photos = microscope(3.0, 8, 0)
    blanks = [learned(20 + n, [(0.3, 0.1, "nothing")] * 4) for n in range(3)]
    found = refit([*photos, *blanks], DETECT)
    whole = found.adjustment or Adjustment()
    assert sum(blank.table(whole, DETECT)[:, :2].sum() for blank in blanks) == 0
    # The same without blanks that tell: the litter would be counted.
    harmless = [learned(30 + n, [(0.001, 0.1, "nothing")]) for n in range(3)]
    careless = refit([*photos, *harmless], DETECT).adjustment
    assert careless is not None
    assert blanks[0].table(careless, DETECT)[3, 0] == 4


def test_states_are_learned_apart_from_numbers() -> None:
    rng = np.random.default_rng(3)
    photos = []
    for number in range(8):
        whole = [(0.99, float(rng.uniform(0.0, 0.3)), "intact")] * 10
        broken = [(0.99, float(rng.uniform(0.5, 0.75)), "damaged") for _ in range(6)]
        photos.append(learned(number, [*whole, *broken]))
    found = refit(photos, DETECT)
    assert found.adjustment is not None
    assert (found.adjustment.slope, found.adjustment.shift) == (1.0, 0.0)
    assert found.adjustment.least_damaged is not None
    assert 0.3 < found.adjustment.least_damaged <= 0.55
    assert found.after.states[1][1].events > found.before.states[1][1].events


def test_few_photos_teach_nothing() -> None:
    found = refit(microscope(3.0, 4, 1), DETECT)
    assert found.adjustment is None
    assert found.why[0].startswith("Nothing is learned from 5 photos in full with 100 spores")


def test_settings_find_what_the_adjustment_keeps() -> None:
    one = Adjustment(slope=0.8, shift=1.2)
    least = one.settings(DETECT).least_confidence
    assert float(one.confidence(least)) == pytest.approx(DETECT.least_confidence)
    assert one.settings(DETECT).least_damaged == DETECT.least_damaged
    assert Adjustment(least_damaged=0.6).settings(DETECT).least_damaged == 0.6
    with pytest.raises(ValueError, match="slope above 0"):
        Adjustment(slope=0.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        Adjustment(least_damaged=1.0)


def squeezed(pixels: np.ndarray) -> np.ndarray:
    """Return a photo as a camera makes it that squeezes files far too much."""
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 20])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))


@pytest.fixture(scope="module")
def shifted() -> list[Drawn]:
    seeds = [(n, n >= 8) for n in range(11)]
    return [drawn("4x", n, (600, 450), squeezed, microscope=4, blank=blank) for n, blank in seeds]


def test_a_camera_that_squeezes_is_learned_from_rendered_photos(shifted: list[Drawn]) -> None:
    teaching, others = [*shifted[:7], *shifted[8:]], shifted[7:8]
    photos = [learned_from(review_in_full(one), one.counted.field, DETECT) for one in teaching]
    found = refit([photo for photo in photos if photo is not None], DETECT)
    assert found.adjustment is not None, found.as_text()
    assert found.after.recall.share > found.before.recall.share + 0.1
    assert found.false_on_blanks[1] <= found.false_on_blanks[0]
    # Counted with it, other photos of that camera show more of their spores.
    own = Microscope("mine", (1.0, 1.5), "2024-05-01", adjustment=found.adjustment)
    before, after, true = 0, 0, 0
    for one in others:
        again = counted_again(one, own)
        before += int(one.counted.summary["spores"])
        after += int(again.summary["spores"])
        true += int(seen_truth(one)["state"].isin(SPORE_STATES).sum())
        assert "adjustment of mine (2024-05-01)" in again.summary["notes"]
        spores = again.detections["state"].isin(SPORE_STATES)
        assert again.detections.loc[spores, "confidence"].min() >= DETECT.least_confidence
    assert abs(after - true) < abs(before - true)


def counted_again(one: Drawn, own: Microscope) -> PhotoCount:
    return count_photo(one.photo, one.counted.field.calibration, Settings(), own)


def test_what_a_photo_teaches_is_what_was_counted(shifted: list[Drawn]) -> None:
    one = shifted[0]
    photo = learned_from(review_in_full(one), one.counted.field, DETECT)
    assert photo is not None
    spores = one.counted.detections["state"].isin(SPORE_STATES).sum()
    assert photo.judged.table[:, :2].sum() == pytest.approx(spores, abs=1)
    real = seen_truth(one)["state"].isin(SPORE_STATES).sum()
    assert photo.judged.table[:2].sum() == real
    part = replace(review_in_full(one), actions=())
    assert learned_from(part, one.counted.field, DETECT) is None


def test_own_rates_take_the_place_of_the_usual_ones(shifted: list[Drawn]) -> None:
    one = shifted[0]
    rates, _ = rates_from([photo.judged for photo in microscope(3.0, 6, 0)])
    own = Microscope("mine", (1.0, 1.5), "2024-05-01", rates=rates)
    again = counted_again(one, own)
    assert again.summary["spores"] == one.counted.summary["spores"]
    assert again.summary["spores_high"] > one.counted.summary["spores_high"]
    assert "rates of mistakes of mine (2024-05-01)" in again.summary["notes"]


def test_microscopes_are_kept_found_by_scale_and_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path))
    assert load_microscopes() == ()
    judged = [
        replace(photo.judged, table=photo.judged.table + np.eye(4) * 5)
        for photo in microscope(1.0, 6, 0)
    ]
    rates, misread = rates_from(judged)[0], misread_from_judged(judged)[0]
    assert rates is not None
    assert misread is not None
    plain = Microscope("10x Ümlaut", (0.6, 0.7), "2024-05-01", rates, misread)
    full = replace(plain, adjustment=Adjustment(1.1, 0.4, 0.7), rates=None, before=plain)
    keep_microscope(full)
    keep_microscope(Microscope("4x", (1.2, 1.2), "2024-05-02"))
    assert load_microscopes() == (full, Microscope("4x", (1.2, 1.2), "2024-05-02"))
    assert microscope_for(load_microscopes(), 0.75) == full
    assert microscope_for(load_microscopes(), 0.95) is None
    assert go_back("10x Ümlaut") == plain == microscope_named("10x Ümlaut")
    with pytest.raises(ReviewError, match="it has no adjustment"):
        go_back("10x Ümlaut")
    forget_microscope("10x Ümlaut")
    with pytest.raises(ReviewError, match="Give one of 4x"):
        microscope_named("10x Ümlaut")
    microscopes_path().write_text("{", "utf-8")
    with pytest.raises(ReviewError, match="count with --as-shipped"):
        load_microscopes()


def test_the_command_looks_again_at_photos_that_were_reviewed_in_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shifted: list[Drawn]
) -> None:
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path / "config"))
    one = shifted[0]
    photo = tmp_path / "a.png"
    Image.fromarray(one.photo.pixels).save(photo)
    sha256 = hashlib.sha256(photo.read_bytes()).hexdigest()
    said = review_in_full(one)
    with ReviewFile(tmp_path / FOLDER, "old.png", sha256, "Ann", said.counted) as file:
        for action in said.actions:
            file.append(action)
    reviews, warnings = all_reviews([tmp_path])
    assert warnings == ()
    (found,) = learned_photos(reviews, find_photos([tmp_path]), Settings())
    again = learned_from(said, one.counted.field, DETECT)
    assert again is not None
    assert found.judged.table.tolist() == again.judged.table.tolist()
    done = CliRunner().invoke(main, ["microscope", "adjust", str(tmp_path), "--name", "4x"])
    assert done.exit_code == 0, done.output
    assert "Nothing is learned from 1 photos in full" in done.output
    assert "Nothing is changed." in done.output
    assert load_microscopes() == ()


def test_an_adjustment_is_kept_with_its_rates_and_what_was_before() -> None:
    found, one = adjusted(microscope(3.0, 8, 3), "mine", Settings())
    assert one is not None
    assert one.adjustment == found.adjustment
    assert one.before is not None
    assert one.before.adjustment is None
    assert one.rates is not None
    assert one.before.rates is not None
    assert one.rates.recall_mean > one.before.rates.recall_mean + 0.2
    assert adjusted(microscope(0.0, 8, 3), "mine", Settings())[1] is None
