"""All settings, in one frozen value that is stored with every result."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class FieldSettings:
    """How the part of a photo that is sample is found and lit evenly, and judged.

    Attributes
    ----------
    work_um_per_px : float
        The fixed scale at which spores are searched, in um per pixel.
    """

    work_um_per_px: float = 0.9


@dataclass(frozen=True)
class DetectSettings:
    """How spores are found, parted, outlined and told apart."""


@dataclass(frozen=True)
class CountSettings:
    """How detections become counts, intervals and a load class.

    Attributes
    ----------
    level : float
        Confidence level of every interval, between 0 and 1.
    """

    level: float = 0.95


@dataclass(frozen=True)
class Settings:
    """Everything that can change a result, apart from the photo and its scale."""

    field: FieldSettings = field(default_factory=FieldSettings)
    detect: DetectSettings = field(default_factory=DetectSettings)
    count: CountSettings = field(default_factory=CountSettings)

    def as_dict(self) -> dict[str, Any]:
        """Return the settings as nested plain dictionaries, ready for JSON."""
        return asdict(self)
