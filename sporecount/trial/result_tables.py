"""The table of arms of a judged trial."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from sporecount.trial.result import ArmResult
from sporecount.trial.tables import ARM_COLUMNS

#: What follows the promised columns.
MORE_COLUMNS = (
    "role",
    "agent",
    "seen_share",
    "seen_low",
    "seen_high",
    "seen_effect",
    "abbott",
    "abbott_low",
    "abbott_high",
    "equivalent",
    "icc",
    "naive_p",
    "permutation_p",
    "fragment_equivalents",
    "area_mm2",
    "reduction",
    "reduction_low",
    "reduction_high",
    "log10_corrected",
    "log10_corrected_low",
    "log10_corrected_high",
    "eggs_dipped",
    "eggs_hatched",
    "egg_difference",
    "egg_difference_low",
    "egg_difference_high",
    "egg_word",
    "fed",
    "adults",
    "infected",
    "infected_low",
    "infected_high",
    "feeding_p",
    "followed",
    "followed_unmatched",
    "followed_fields_left_out",
    *(
        f"followed_{fate}{end}"
        for fate in ("intact", "damaged", "fragment", "gone")
        for end in ("", "_low", "_high")
    ),
    "followed_effect",
    "followed_effect_low",
    "followed_effect_high",
    "followed_p",
    "followed_p_adjusted",
    "followed_new",
)


def arms_table(arms: Sequence[ArmResult]) -> pd.DataFrame:
    """Return a row for each arm: :data:`.ARM_COLUMNS`, then :data:`MORE_COLUMNS`.

    What is not known is nan, and None where it is no number.
    """
    columns = [*ARM_COLUMNS, *MORE_COLUMNS]
    return pd.DataFrame([_row(one) for one in arms], columns=columns)


def _row(one: ArmResult) -> dict[str, Any]:
    broken, seen = one.broken, one.seen
    intact, damaged, fragment, pieces = (
        sum(getattr(slide, name) for slide in one.slides)
        for name in ("intact", "damaged", "fragment", "equivalents")
    )
    known = [slide for slide in one.slides if slide.area_mm2 > 0]
    area = sum(slide.area_mm2 for slide in known)
    return {
        "arm": one.arm,
        "slides": len(one.slides),
        "spores": int(intact + damaged),
        "intact": int(intact),
        "damaged": int(damaged),
        "fragment": int(fragment),
        "broken_share": broken.share,
        "broken_low": broken.low,
        "broken_high": broken.high,
        "effect": broken.effect,
        "effect_low": broken.effect_low,
        "effect_high": broken.effect_high,
        "p_value": broken.p_value,
        "p_adjusted": broken.p_adjusted,
        "intact_per_mm2": sum(slide.intact for slide in known) / area if known else math.nan,
        **_reduction(one),
        "verdict": one.verdict.code,
        "role": one.role,
        "agent": one.agent,
        "seen_share": seen.share,
        "seen_low": seen.low,
        "seen_high": seen.high,
        "seen_effect": seen.effect,
        "abbott": broken.abbott,
        "abbott_low": broken.abbott_low,
        "abbott_high": broken.abbott_high,
        "equivalent": broken.equivalent,
        "icc": broken.icc,
        "naive_p": broken.naive_p,
        "permutation_p": broken.permutation_p,
        "fragment_equivalents": float(pieces),
        "area_mm2": area if known else math.nan,
        **_eggs(one),
        **_feeding(one),
        **_followed(one),
    }


def _reduction(one: ArmResult) -> dict[str, float]:
    row = {}
    if one.vanished is not None:
        found = one.vanished
        row = {
            "log10_reduction": found.log10,
            "log10_low": found.log10_low,
            "log10_high": found.log10_high,
            "reduction": found.reduction,
            "reduction_low": found.low,
            "reduction_high": found.high,
        }
    if one.vanished_corrected is not None:
        found = one.vanished_corrected
        row |= {
            "log10_corrected": found.log10,
            "log10_corrected_low": found.log10_low,
            "log10_corrected_high": found.log10_high,
        }
    return row


def _eggs(one: ArmResult) -> dict[str, Any]:
    if one.eggs is None:
        return {"egg_word": None}
    return {
        "eggs_dipped": one.eggs.dipped,
        "eggs_hatched": one.eggs.hatched,
        "egg_difference": one.eggs.difference,
        "egg_difference_low": one.eggs.difference_low,
        "egg_difference_high": one.eggs.difference_high,
        "egg_word": one.eggs.word or None,
    }


def _feeding(one: ArmResult) -> dict[str, Any]:
    if one.feeding is None:
        return {}
    return {
        "fed": one.feeding.fed,
        "adults": one.feeding.adults,
        "infected": one.feeding.infected,
        "infected_low": one.feeding.low,
        "infected_high": one.feeding.high,
        "feeding_p": one.feeding.p_value,
    }


def _followed(one: ArmResult) -> dict[str, Any]:
    fates = one.followed
    if fates is None:
        return {}
    row: dict[str, Any] = {
        "followed": fates.spores,
        "followed_unmatched": sum(fates.unmatched.values()),
        "followed_fields_left_out": fates.left_out,
        "followed_effect": fates.harmed.effect,
        "followed_effect_low": fates.harmed.effect_low,
        "followed_effect_high": fates.harmed.effect_high,
        "followed_p": fates.harmed.p_value,
        "followed_p_adjusted": fates.harmed.p_adjusted,
        "followed_new": fates.new,
    }
    for fate, share in fates.shares.items():
        row |= {
            f"followed_{fate}": share.corrected,
            f"followed_{fate}_low": share.corrected_low,
            f"followed_{fate}_high": share.corrected_high,
        }
    return row
