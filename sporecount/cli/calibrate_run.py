"""What `sporecount calibrate` and `sporecount calibrations` do."""

from __future__ import annotations

import math
from pathlib import Path

import click

from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE
from sporecount.errors import RulingError
from sporecount.photo.read import read_photo
from sporecount.scale.calibration import Calibration
from sporecount.scale.saved import list_calibrations as saved_calibrations
from sporecount.scale.saved import save_calibration


def run_calibrate(
    path: Path, division_um: float, *, save_as: str | None, replace: bool, marked: Path | None
) -> int:
    """Measure a ruling, print its scale, and save and draw it as asked."""
    from sporecount.scale.ruling import measure_ruling

    if replace and save_as is None:
        raise click.UsageError("--replace goes with --save NAME.")
    photo = read_photo(path)
    try:
        ruling = measure_ruling(photo.pixels, division_um)
    except RulingError as error:
        raise RulingError(f"{path}, {error.given}", error.wrong, error.remedy) from error
    click.echo(
        f"{ruling.um_per_px:.4f} um/px, standard error {ruling.standard_error:.4f} "
        f"({ruling.lines_used} lines, {ruling.division_um:g} um apart, {ruling.pattern})"
    )
    if marked is not None:
        from sporecount.report.files import write_whole
        from sporecount.report.marked import jpeg_bytes
        from sporecount.scale.ruling_marked import draw_ruling_marked

        write_whole(marked, jpeg_bytes(draw_ruling_marked(photo.pixels, ruling)))
        click.echo(one_line(f"Picture: {marked}"))
    if save_as is not None:
        calibration = Calibration(
            ruling.um_per_px,
            f"stage micrometer, {ruling.division_um:g} um divisions, photo {photo.name}",
            ruling.standard_error,
        )
        height, width = photo.pixels.shape[:2]
        saved = save_calibration(save_as, calibration, width, height, replace=replace)
        click.echo(one_line(f"Saved as: {saved.name}"))
    return DONE


def list_calibrations() -> int:
    """Print each saved scale on a line."""
    saved = saved_calibrations()
    if not saved:
        click.echo("No saved scales. Save one with `sporecount calibrate PHOTO --save NAME`.")
    for one in saved:
        error = (
            "" if math.isnan(one.standard_error) else f", standard error {one.standard_error:.4f}"
        )
        click.echo(
            one_line(
                f"{one.name}: {one.um_per_px:.4f} um/px{error}; photos of {one.width_px} x "
                f"{one.height_px} px; {one.date}; {one.source}"
            )
        )
    return DONE
