"""What `sporecount review` does: check first, then open the window."""

from __future__ import annotations

import getpass
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from sporecount.cli.count_run import scale_request
from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE
from sporecount.cli.settings_file import read_settings
from sporecount.review.errors import ReviewError
from sporecount.review.opening import ScaleChoice, ToReview, from_log, from_paths, from_trial
from sporecount.settings import Settings

#: Packages without which there is no window, and how to get them.
_NEEDED = ("napari", "qtpy")
_INSTALL = 'python -m pip install "sporecount[review]"'


@dataclass(frozen=True)
class ReviewOptions:
    """Options of `sporecount review`, as given."""

    paths: tuple[Path, ...] = ()
    sheet: Path | None = None
    trial_file: Path | None = None
    key: Path | None = None
    log_file: Path | None = None
    sample: str | None = None
    um_per_px: float | None = None
    calibration: str | None = None
    field_number: float | None = None
    objective: float | None = None
    blind: bool = False
    seed: str | None = None
    who: str | None = None
    reviews: Path | None = None
    as_shipped: bool = False
    settings_file: Path | None = None

    def settings(self) -> Settings:
        """Return all settings: the defaults, with what the settings file says."""
        return read_settings(self.settings_file) if self.settings_file else Settings()

    def person(self) -> str:
        """Return the person's name."""
        who = " ".join((self.who or _account()).split())
        if not who:
            raise click.UsageError("say who you are with --who NAME; it is kept with what you say.")
        return who

    def photos(self) -> ToReview | None:
        """Return what is to be reviewed; None where it is to be chosen in the window.

        Raises
        ------
        UsageError
            If options do not go together.
        """
        request = scale_request(self, {})
        scale = ScaleChoice(None, request.um_per_px, request.saved_name, request.eyepiece)
        if (self.log_file is None) != (self.sample is None):
            raise click.UsageError("--log and --sample are given together or not at all.")
        if self.trial_file is not None:
            if self.log_file is not None:
                raise click.UsageError("give --trial or --log, not both.")
            if len(self.paths) > 1:
                raise click.UsageError("give one FOLDER at most with --trial.")
            folder = self.paths[0] if self.paths else None
            return from_trial(self.trial_file, scale, photos=folder, sheet=self.sheet, key=self.key)
        if self.key is not None:
            raise click.UsageError("--key goes with --trial.")
        if not self.paths:
            if self.log_file is not None or self.sheet is not None:
                raise click.UsageError("give the FOLDER that the photos are in.")
            return None
        if self.log_file is not None and self.sample is not None:
            return from_log(self.log_file, self.sample, self.paths, scale, blind=self.blind)
        return from_paths(self.paths, scale, sheet=self.sheet, blind=self.blind)


def run_review(options: ReviewOptions) -> int:
    """Open the window; return the exit code when it is closed."""
    check_window()
    who, settings, photos = options.person(), options.settings(), options.photos()
    for note in photos.notes if photos is not None else ():
        click.echo(one_line(f"Note: {note}"), err=True)
    open_window(options, photos, who, settings)
    return DONE


def check_window() -> None:
    """Refuse where what the window is made of is not installed.

    Raises
    ------
    ReviewError
        If so.
    """
    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        raise ReviewError("the window", f"{missing[0]} is not installed", f"run: {_INSTALL}")
    try:
        __import__("qtpy.QtWidgets")
    except Exception as error:
        wrong = f"the window system cannot be loaded ({error})"
        raise ReviewError("the window", wrong, f"run: {_INSTALL}") from error


def open_window(
    options: ReviewOptions, photos: ToReview | None, who: str, settings: Settings
) -> Any:
    """Open the window, and return when it is closed."""
    import napari

    from sporecount.review.widget.dock import ReviewDock

    viewer = napari.Viewer(title="sporecount review")
    dock = ReviewDock(viewer, settings, options.reviews, options.seed, options.as_shipped)
    viewer.window.add_dock_widget(dock, name="Review spores", area="right")
    dock.photos_panel.who.setText(who)
    if photos is not None:
        dock.start(photos, who)
        if len(photos.files) == 1:
            dock.open_photo(0)
    napari.run()
    dock.forget()


def _account() -> str:
    try:
        return getpass.getuser()
    except Exception:  # there is no user database everywhere
        return ""
