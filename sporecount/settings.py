"""All settings, in one frozen value that is stored with every result."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

from sporecount.errors import SettingsError
from sporecount.literature import HEAVILY_INFECTED_FROM_CLASS, LOAD_CLASS_LOWER_BOUNDS


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
        Value above which a picture with hardly any edge is washed out, not clean, where most of
        it is.
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
    heat_floor: float = 0.3
    least_confidence: float = 0.5
    least_fragment_confidence: float = 0.5
    least_damaged: float = 0.7
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
class LoadSettings:
    """How the load of the whole tape is worked out from the fields seen.

    Attributes
    ----------
    prevalence : float
        Chance, before anything is seen, that the tape holds any spore at all.
    most_spores : int
        Most spores a tape is thought to hold, unless more are seen; loads up to it are
        spread evenly by their logarithm.
    clumping_k : float
        Typical dispersion k of the negative binomial law between places of a tape:
        small is clumped, beyond 20 is as good as even.
    clumping_spread : float
        Standard deviation of ln k: how unsure that is; 0 takes k as known.
    patch_mm2 : float
        Area over which the density of one tape is about the same.

    Raises
    ------
    SettingsError
        If a value makes no sense.
    """

    prevalence: float = 0.5
    most_spores: int = 100_000
    clumping_k: float = 0.6
    clumping_spread: float = 1.2
    patch_mm2: float = 10.0

    def __post_init__(self) -> None:
        rules: tuple[tuple[str, bool, str, str], ...] = (
            ("prevalence", 0.0 < self.prevalence < 1.0, "lies between 0 and 1", "0.5"),
            ("most_spores", self.most_spores >= 10_000, "is 10000 or more", "100000"),
            ("clumping_k", self.clumping_k > 0.0, "is larger than 0", "1.0"),
            ("clumping_spread", self.clumping_spread >= 0.0, "is 0 or more", "1.0"),
            ("patch_mm2", self.patch_mm2 > 0.0, "is larger than 0", "10.0"),
        )
        _check_rules(self, "load", rules)


@dataclass(frozen=True)
class DecisionSettings:
    """Which risks are taken when an adult is scored before its release.

    Attributes
    ----------
    risk_release : float
        Largest chance, for an adult called clear, that its load is heavier than
        ``releasable_up_to``.
    risk_call : float
        Largest chance, for an adult called infected, that its load is lighter than said.
    releasable_up_to : int
        Heaviest load class that the programme releases.
    heavy_from : int
        Lightest load class that is called heavily infected.
    least_fields : int
        Separate fields to look at before anything is called settled.

    Raises
    ------
    SettingsError
        If a value makes no sense.
    """

    risk_release: float = 0.05
    risk_call: float = 0.05
    releasable_up_to: int = 0
    heavy_from: int = HEAVILY_INFECTED_FROM_CLASS
    least_fields: int = 3

    def __post_init__(self) -> None:
        most = self.heavy_from - 1
        rules: tuple[tuple[str, bool, str, str], ...] = (
            ("risk_release", 0.0 < self.risk_release < 0.5, "lies between 0 and 0.5", "0.05"),
            ("risk_call", 0.0 < self.risk_call < 0.5, "lies between 0 and 0.5", "0.05"),
            ("heavy_from", self.heavy_from >= 1, "is a class from 1 up", "4"),
            (
                "releasable_up_to",
                0 <= self.releasable_up_to <= most,
                f"is a class from 0 to {most}, below decision.heavy_from",
                "0",
            ),
            ("least_fields", self.least_fields >= 1, "is 1 or more", "3"),
        )
        _check_rules(self, "decision", rules)


def _check_rules(
    group: LoadSettings | DecisionSettings, name: str, rules: tuple[tuple[str, bool, str, str], ...]
) -> None:
    """Raise SettingsError for the first setting of a group that breaks its rule."""
    for part, kept, rule, example in rules:
        if not kept:
            given = f"{name}.{part} {getattr(group, part)!r}"
            raise SettingsError(given, f"it {rule}", f"give a number such as {example}")


@dataclass(frozen=True)
class TapeSettings:
    """When photos of one tape are joined, and what overlap may go unnoticed.

    Attributes
    ----------
    least_agreeing : int
        Landmarks, of both photos together, that must be found again at their place.
    least_share : float
        Least share of the landmarks in the overlap that must be found again, 0 to 1.
    most_angle_deg : float
        Largest turn between two photos, degrees.
    most_hidden_overlap : float
        Photos that match nowhere are apart if no more than this share of one could
        overlap unnoticed, 0 to 1.
    taken_apart : bool
        Photos that match nowhere are apart even where too little lies on them to tell:
        for whoever moved the slide on by more than a photo each time.
    repeat_overlap : float
        From this overlap on, a photo repeats another and is left out, 0 to 1.
    same_spore_um : float
        Finds of two photos nearer than this are one spore, um.

    Raises
    ------
    SettingsError
        If a value makes no sense.
    """

    least_agreeing: int = 8
    least_share: float = 0.6
    most_angle_deg: float = 5.0
    most_hidden_overlap: float = 0.2
    taken_apart: bool = False
    repeat_overlap: float = 0.9
    same_spore_um: float = 5.0

    def __post_init__(self) -> None:
        rules = (
            ("least_agreeing", self.least_agreeing >= 4, "is 4 or more", "8"),
            ("least_share", 0.3 <= self.least_share <= 1.0, "lies between 0.3 and 1", "0.6"),
            ("most_angle_deg", 0.0 <= self.most_angle_deg <= 20.0, "is 0 to 20 degrees", "5"),
            ("most_hidden_overlap", 0.0 <= self.most_hidden_overlap <= 1.0, "is 0 to 1", "0.2"),
            ("repeat_overlap", 0.5 <= self.repeat_overlap <= 1.0, "is 0.5 to 1", "0.9"),
            ("same_spore_um", 0.0 < self.same_spore_um <= 20.0, "is above 0, up to 20", "5"),
        )
        for name, holds, rule, example in rules:
            if not holds:
                raise SettingsError(
                    f"tape.{name} {getattr(self, name)!r}",
                    f"this {rule}",
                    f"give a number such as {example}",
                )


@dataclass(frozen=True)
class FollowSettings:
    """Which spore after treatment is which before, in two photos of one field.

    How much two photos must have in common is in :class:`TapeSettings`.

    Attributes
    ----------
    same_place_um : float
        A spore found within this distance of where one lay before is that one, um.
    pieces_within_um : float
        Pieces within this distance of where a spore lay, which is no longer there, are
        its pieces, um.
    most_angle_deg : float
        Largest turn between the two photos, degrees.

    Raises
    ------
    SettingsError
        If a value makes no sense.
    """

    same_place_um: float = 5.0
    pieces_within_um: float = 10.0
    most_angle_deg: float = 10.0

    def __post_init__(self) -> None:
        rules = (
            ("same_place_um", 0.0 < self.same_place_um <= 20.0, "is above 0, up to 20", "5"),
            (
                "pieces_within_um",
                self.same_place_um <= self.pieces_within_um <= 40.0,
                "lies between same_place_um and 40",
                "10",
            ),
            ("most_angle_deg", 0.0 <= self.most_angle_deg <= 20.0, "is 0 to 20 degrees", "10"),
        )
        for name, holds, rule, example in rules:
            if not holds:
                raise SettingsError(
                    f"follow.{name} {getattr(self, name)!r}",
                    f"this {rule}",
                    f"give a number such as {example}",
                )


@dataclass(frozen=True)
class Settings:
    """Everything that can change a result, apart from the photo and its scale."""

    field: FieldSettings = dataclasses.field(default_factory=FieldSettings)
    detect: DetectSettings = dataclasses.field(default_factory=DetectSettings)
    count: CountSettings = dataclasses.field(default_factory=CountSettings)
    tape: TapeSettings = dataclasses.field(default_factory=TapeSettings)
    follow: FollowSettings = dataclasses.field(default_factory=FollowSettings)
    load: LoadSettings = dataclasses.field(default_factory=LoadSettings)
    decision: DecisionSettings = dataclasses.field(default_factory=DecisionSettings)

    def as_dict(self) -> dict[str, Any]:
        """Return the settings as nested plain dictionaries, ready for JSON."""
        return dataclasses.asdict(self)
