"""Count the spores of *Ophryocystis elektroscirrha* on photos of tape samples."""

from __future__ import annotations

__version__ = "0.1.0"
