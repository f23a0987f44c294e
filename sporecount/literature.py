"""Every number taken from outside the project: value, unit, source key.

The keys in square brackets are entries of docs/bibliography.md; a test checks
that each exists there. "memory" marks a value nobody could check at the source.
"""

from __future__ import annotations

#: Lower bounds of load classes 0-5, spores on the whole tape sample [altizer2000]; memory.
LOAD_CLASS_LOWER_BOUNDS: tuple[int, ...] = (0, 1, 2, 21, 101, 1001)

#: Area of a tape sample, mm2: 1 cm by 1 cm (university programme pages; common practice).
TAPE_MM2: float = 100.0

#: Least k thought possible between places of one tape; hosts' k lie mostly above it (memory).
LEAST_CLUMPING_K: float = 0.1

#: Spore length accepted, um: weakly known, varies by strain and host [sander2013]; memory.
SPORE_LENGTH_UM: tuple[float, float] = (9.0, 17.0)

#: Median lengths outside this range make the scale suspect, um (common practice, no source).
PLAUSIBLE_MEDIAN_LENGTH_UM: tuple[float, float] = (8.0, 18.0)

#: Usual division of a stage micrometer, um: 1 mm in 100 parts (common practice, no source).
STAGE_MICROMETER_DIVISION_UM: float = 10.0

#: um per inch and per centimetre, for TIFF ResolutionUnit 2 and 3 [tiff6].
UM_PER_INCH: float = 25_400.0
UM_PER_CM: float = 10_000.0

#: Household bleach, percent sodium hypochlorite: what the trade's "bleach" mostly is [cdc2008].
HOUSEHOLD_BLEACH_PERCENT: tuple[float, float] = (5.25, 6.15)

#: Egg baths as they are done, percent by volume of household bleach, and seconds. The weak and
#: long one is on a programme's page; the strong and short one is common practice, no source.
EGG_BATH_LONG_PERCENT_BY_VOLUME: float = 2.0
EGG_BATH_LONG_S: float = 120.0
EGG_BATH_SHORT_PERCENT_BY_VOLUME: float = 5.0
EGG_BATH_SHORT_S: float = 60.0

#: Load class from which an adult counts as heavily infected: over 100 spores [altizer2000]; memory.
HEAVILY_INFECTED_FROM_CLASS: int = 4
