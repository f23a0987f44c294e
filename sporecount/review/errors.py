"""What can go wrong in a review."""

from __future__ import annotations

from sporecount.errors import SporecountError


class ReviewError(SporecountError):
    """A review, or something said in one, cannot be used."""
