"""What can be wrong with a trial."""

from __future__ import annotations

from sporecount.errors import SettingsError, SporecountError


class TrialError(SporecountError):
    """A trial that cannot be judged, or something asked of it that makes no sense."""


class TrialFileError(TrialError, SettingsError):
    """A trial file, or a value in it, that cannot be used."""
