"""What can be wrong with a bath."""

from __future__ import annotations

from sporecount.errors import SporecountError


class BathError(SporecountError):
    """A strength, volume or time that cannot be used, or could mean two things."""
