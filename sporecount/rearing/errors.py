"""What can be wrong with a rearing log."""

from __future__ import annotations

from sporecount.errors import SporecountError


class LogError(SporecountError):
    """A log that cannot be used, or something that cannot be written into it."""
