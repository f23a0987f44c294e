"""Picture of followed spores: what became of those that were intact, slide by slide."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from sporecount.report.html.trial_charts import INK, LEFT, PALE, RIGHT, picture, short
from sporecount.report.html.trial_rows import points, span
from sporecount.report.html.words import several, visible

if TYPE_CHECKING:
    from markupsafe import Markup

    from sporecount.trial.followed.result import FateShare
    from sporecount.trial.result import TrialResult

#: Fates of spores that were intact before, the least harmed first; each with its filling.
FATES = {
    "intact": "#fff",
    "damaged": "url(#fate-damaged)",
    "fragment": "url(#fate-fragment)",
    "gone": INK,
}

#: What a reader calls them.
WORDS = {"intact": "still intact", "damaged": "damaged", "fragment": "in pieces", "gone": "gone"}

#: A space at which no line ends.
NO_BREAK = "\u00a0"

_BAR, _HEAD = 17, 24


def fates(followed: pd.DataFrame) -> Markup | None:
    """Draw the fates on each slide as a bar from 0 to 100 %; None where none was followed.

    Parameters
    ----------
    followed : DataFrame
        Columns ``arm``, ``slide`` and those of :data:`FATES`: numbers of spores that were
        intact before. Several rows of a slide are added up.
    """
    from markupsafe import Markup

    table = by_slide(followed)
    if table.empty:
        return None
    parts, told, y = [_fillings()], [], 0
    for arm, slides in table.groupby("arm", sort=False):
        total = slides[list(FATES)].to_numpy().sum(axis=0)
        label = several(int(total.sum()), "spore")
        parts.append(
            Markup(
                '<text x="{a}" y="{y}" class="strong">{arm}</text>'
                '<text x="{b}" y="{y}" text-anchor="end">{label}</text>'
            ).format(a=LEFT, b=RIGHT, y=y + 16, arm=visible(short(str(arm))), label=label)
        )
        y += _HEAD
        for row in slides[list(FATES)].to_numpy(float):
            parts += _bar(row / row.sum(), y)
            y += _BAR + 3
        y += 6
        fated = (f"{WORDS[f]} {n:.0f}" for f, n in zip(FATES, total, strict=True))
        told.append(f"{arm}: {', '.join(fated)}")
    for place, fate in enumerate(FATES):
        x = LEFT + (0, 104, 204, 300)[place]
        parts.append(
            Markup(
                '<rect x="{x}" y="{y}" width="14" height="14" fill="{fill}" stroke="{ink}"/>'
                '<text x="{t}" y="{ty}">{words}</text>'
            ).format(x=x, y=y + 4, fill=FATES[fate], ink=INK, t=x + 20, ty=y + 16,
                     words=WORDS[fate])
        )  # fmt: skip
    return picture(y + 26, "What became of intact spores. " + "; ".join(told), parts)


def by_slide(followed: pd.DataFrame) -> pd.DataFrame:
    """Return a row for each slide with spores that were followed, arms as they come."""
    if followed.empty:
        return followed
    table = followed.groupby(["arm", "slide"], sort=False)[list(FATES)].sum().reset_index()
    return table[table[list(FATES)].sum(axis=1) > 0]


def rows(result: TrialResult) -> list[dict[str, str]]:
    """Return what became of the followed spores of each arm, as text."""
    found = []
    for one in result.arms:
        fates_of = one.followed
        if fates_of is None:
            continue
        row = {
            "name": one.arm,
            "spores": f"{fates_of.spores}",
            "slides": f"{fates_of.slides}",
            "unmatched": f"{sum(fates_of.unmatched.values())}",
            "new": f"{fates_of.new}",
            "left_out": f"{fates_of.left_out} of {fates_of.left_out + fates_of.fields}"
            if fates_of.left_out
            else "",
            "against": points(
                fates_of.harmed.effect, fates_of.harmed.effect_low, fates_of.harmed.effect_high
            ),
        }
        for fate in FATES:
            share = fates_of.shares.get(fate)
            row[fate] = _cell(share) if share else ""
        found.append(row)
    return found


def _cell(share: FateShare) -> str:
    """Return a share with its limits, which stay on one line."""
    limits = (share.corrected, share.corrected_low, share.corrected_high)
    first, _, rest = span(*(round(value, 2) for value in limits)).partition(" (")
    return first + (" (" + rest.replace(" ", NO_BREAK) if rest else "")


def _bar(shares: list[float], y: int) -> list[Markup]:
    from markupsafe import Markup

    parts, x = [], float(LEFT)
    for fate, share in zip(FATES, shares, strict=True):
        wide = (RIGHT - LEFT) * float(share)
        if wide > 0:
            parts.append(
                Markup(
                    '<rect class="fate" x="{x:.1f}" y="{y}" width="{w:.1f}" height="{h}" '
                    'fill="{fill}" stroke="{ink}"/>'
                ).format(x=x, y=y, w=wide, h=_BAR, fill=FATES[fate], ink=INK)
            )
        x += wide
    return parts


def _fillings() -> Markup:
    """Return hatched fillings, which can be told apart without colour."""
    from markupsafe import Markup

    return Markup(
        '<defs><pattern id="fate-damaged" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="6" height="6" fill="#fff"/>'
        '<line x1="0" x2="0" y1="0" y2="6" stroke="{pale}" stroke-width="2.5"/></pattern>'
        '<pattern id="fate-fragment" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<rect width="6" height="6" fill="#d7dde2"/><circle cx="3" cy="3" r="1.7" fill="{ink}"/>'
        "</pattern></defs>"
    ).format(pale=PALE, ink=INK)
