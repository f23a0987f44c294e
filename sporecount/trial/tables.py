"""The tables of a trial: their columns, declared once."""

from __future__ import annotations

#: What a person who counted by hand must give, one row for each slide.
SLIDE_REQUIRED = ("arm", "slide", "intact", "damaged", "fragment")

#: What else may be known of a slide.
SLIDE_OPTIONAL = ("area_mm2", "fragment_area_um2", "spore_area_um2", "photos", "reviewed")

#: First columns of ``arms.csv``, in order; others may follow.
ARM_COLUMNS = (
    "arm",
    "slides",
    "spores",
    "intact",
    "damaged",
    "fragment",
    "broken_share",
    "broken_low",
    "broken_high",
    "effect",
    "effect_low",
    "effect_high",
    "p_value",
    "p_adjusted",
    "intact_per_mm2",
    "log10_reduction",
    "log10_low",
    "log10_high",
    "verdict",
)

#: Eggs dipped and hatched, one row for each batch (a day, a female) of an arm.
EGG_COLUMNS = ("arm", "batch", "dipped", "hatched")

#: Larvae fed treated spores, and what the adults turned out to be.
FEEDING_COLUMNS = ("arm", "batch", "fed", "adults", "infected")
