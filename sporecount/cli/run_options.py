"""What all commands that count photos are given."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import click

from sporecount.cli.settings_file import read_settings
from sporecount.microscope import Microscope
from sporecount.review.own import load_microscopes
from sporecount.review.use import ReviewFolders
from sporecount.settings import Settings


class ScaleOptions(Protocol):
    """Options about the scale, of any command."""

    @property
    def um_per_px(self) -> float | None:
        """Scale of all photos."""

    @property
    def calibration(self) -> str | None:
        """Name of a saved scale."""

    @property
    def field_number(self) -> float | None:
        """Field number of the eyepiece, mm."""

    @property
    def objective(self) -> float | None:
        """Magnification of the objective."""


@dataclass(frozen=True, kw_only=True)
class RunOptions:
    """Options of `sporecount count`, as given; other commands add theirs."""

    out: Path
    paths: tuple[Path, ...] = ()
    um_per_px: float | None = None
    sheet: Path | None = None
    calibration: str | None = None
    field_number: float | None = None
    objective: float | None = None
    settings_file: Path | None = None
    no_marked: bool = False
    jobs: int = 1
    afresh: bool = False
    reviews: Path | None = None
    no_reviews: bool = False
    as_shipped: bool = False

    def microscopes(self) -> tuple[Microscope, ...]:
        """Return what was measured on the user's own microscopes, unless it is not wanted."""
        return () if self.as_shipped else load_microscopes()

    def review_folders(self) -> ReviewFolders | None:
        """Return where reviews are, or None where they are not wanted.

        Raises
        ------
        UsageError
            If a folder is given and reviews are not wanted.
        """
        if not self.no_reviews:
            return ReviewFolders(self.reviews)
        if self.reviews is not None:
            raise click.UsageError("give --reviews or --no-reviews, not both.")
        return None

    def as_dict(self) -> dict[str, Any]:
        """Return the options for the record of the run."""
        known = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {**known, "paths": [str(path) for path in self.paths]}

    def settings(self) -> Settings:
        """Return all settings: the defaults, with what the settings file says."""
        return read_settings(self.settings_file) if self.settings_file else Settings()
