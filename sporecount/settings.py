"""All settings, in one frozen value that is stored with every result."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

from sporecount.errors import SettingsError
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS


@dataclass(frozen=True)
class FieldSettings:
    """How the part of a photo that is sample is found and lit evenly, and judged.

    Attributes
    ----------
    work_um_per_px : float
        The fixed scale at which spores are searched, in um per pixel.
    coarsest_um_per_px : float
        Photos coarser than this are refused: a spore is then too few pixels.
    least_examined_mm2, least_examined_share : float
        Least sample, as an area and as a share of the picture.
    least_brightness : float
        Least value (0-255) of the clear background.
    most_burnt_share : float
        Largest share of the sample that may be burnt out to white.
    most_blank_brightness : float
        Background above which a picture without any edge is washed out, not clean.
    least_edges : int
        With fewer edges than this there is nothing to judge focus by.
    least_sharpness : float
        Least sharpness of the sharpest edges: steepest slope over height, per working pixel.
    smear_weight : float
        How much sharper edges must be that all run in one direction.
    """

    work_um_per_px: float = 0.9
    coarsest_um_per_px: float = 2.2
    least_examined_mm2: float = 0.002
    least_examined_share: float = 0.1
    least_brightness: float = 45.0
    most_burnt_share: float = 0.8
    most_blank_brightness: float = 246.0
    least_edges: int = 40
    least_sharpness: float = 0.175
    smear_weight: float = 0.25


@dataclass(frozen=True)
class DetectSettings:
    """How spores are found, parted, outlined and told apart.

    Attributes
    ----------
    typical_length_um, typical_width_um : float
        A usual spore, where the photo shows none whole.
    heat_floor : float
        Places where the search network's heat is below this are not looked at.
    least_confidence, least_fragment_confidence : float
        Finds surer than this to be a spore, or a piece of one, are kept, 0 to 1.
    least_damaged : float
        A spore counts as damaged from this chance on, 0 to 1.
    outline_um_per_px : float
        Scale at which outlines are traced, in um per pixel.
    check_scale : bool
        Where few spores are found, search again at other scales for what a wrong scale
        would hide.
    """

    typical_length_um: float = 12.5
    typical_width_um: float = 8.0
    heat_floor: float = 0.1
    least_confidence: float = 0.65
    least_fragment_confidence: float = 0.5
    least_damaged: float = 0.4
    outline_um_per_px: float = 0.4
    check_scale: bool = True


@dataclass(frozen=True)
class CountSettings:
    """How detections become counts, intervals and a load class.

    Attributes
    ----------
    level : float
        Confidence level of every interval, between 0 and 1.
    class_lower_bounds : tuple of int
        Smallest number of spores of each load class, from class 0 up.

    Raises
    ------
    SettingsError
        If the level or the bounds make no sense.
    """

    level: float = 0.95
    class_lower_bounds: tuple[int, ...] = LOAD_CLASS_LOWER_BOUNDS

    def __post_init__(self) -> None:
        if not 0.0 < self.level < 1.0:
            raise SettingsError(
                f"count.level {self.level!r}",
                "a confidence level lies between 0 and 1",
                "give a number such as 0.95",
            )
        bounds = self.class_lower_bounds
        if bounds[:1] != (0,) or any(b <= a for a, b in zip(bounds, bounds[1:])):
            raise SettingsError(
                f"count.class_lower_bounds {list(bounds)}",
                "the smallest count of each class starts at 0 and rises",
                f"give a list such as {list(LOAD_CLASS_LOWER_BOUNDS)}",
            )


@dataclass(frozen=True)
class Settings:
    """Everything that can change a result, apart from the photo and its scale."""

    field: FieldSettings = dataclasses.field(default_factory=FieldSettings)
    detect: DetectSettings = dataclasses.field(default_factory=DetectSettings)
    count: CountSettings = dataclasses.field(default_factory=CountSettings)

    def as_dict(self) -> dict[str, Any]:
        """Return the settings as nested plain dictionaries, ready for JSON."""
        return dataclasses.asdict(self)
